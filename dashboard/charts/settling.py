"""Settling: the mean change over the rest with its interval, from an upright 0; light where the interval leaves 0
out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.dots import DotRow, dots

Figure = dict[str, Any]
FEW = 30  # pairs: below it an interval stands without a wedge


@dataclass(frozen=True)
class SettlingRow:
    """First final reading minus the last before the rest: mean and 95 % interval over n pairs."""

    name: str
    mean: float | None
    low: float | None
    high: float | None
    n: int
    left_out: int
    key: str = ""


def settling(
    rows: Sequence[SettlingRow], *, unit: str = "mm", decimals: int = 2, width: int = style.WIDE, narrow: bool = False
) -> Figure:
    """One row a model, characteristic and position, all in one unit; pairs and left out at the right."""
    drawn = []
    for row in rows:
        moved = row.low is not None and row.high is not None and (row.low > 0 or row.high < 0)
        pairs = f"{numbers.count(row.n)} pair{'' if row.n == 1 else 's'}{', few' if row.n < FEW else ''}"
        told = (
            f"{row.name}: {numbers.with_unit(numbers.signed(row.mean, decimals), unit)} "
            f"({numbers.span(row.low, row.high, decimals)})"
        )
        drawn.append(
            DotRow(
                row.name,
                row.mean,
                row.low,
                row.high,
                f"{pairs}, {numbers.count(row.left_out)} left out",
                pairs,
                line=style.INK2,
                wedge=moved and row.n >= FEW,
                key=row.key,
                told=told,
            )
        )

    def write(x: float) -> str:
        return "0" if abs(x) < 1e-12 else numbers.with_unit(numbers.signed(x, decimals), unit)

    return dots(drawn, write=write, zero=True, grid=True, pitch=34, width=width, narrow=narrow)
