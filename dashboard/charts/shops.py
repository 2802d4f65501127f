"""One figure of many shops, a row each: dot and interval, the shop that looks on in blue, those that stand out bold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.dots import DotRow, dots

Figure = dict[str, Any]
START = date(2000, 1, 1)  # days are counted from here
DAYS, TIMES = "days", "times"


@dataclass(frozen=True)
class ShopRow:
    """One shop, lot or pair of shops; value None draws its name and words only."""

    name: str
    value: float | None
    low: float | None = None
    high: float | None = None
    right: str = ""
    ours: bool = False
    out: bool = False  # told


@dataclass(frozen=True)
class ShopsView:
    """Rows on one axis. unit : of the values (mm, cents, ''), `times`, or `days` since START."""

    rows: Sequence[ShopRow]
    unit: str
    decimals: int = 2
    zero: bool = False  # an upright at nothing


def day_number(when: date) -> float:
    """A day on an axis of days."""
    return float((when - START).days)


def shops(view: ShopsView, *, width: int = style.HALF, narrow: bool = False) -> Figure:
    """All on one axis that begins near the least of them."""
    ends = [x for row in view.rows for x in (row.value, row.low, row.high) if x is not None]
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    if view.zero:
        low, high = min(low, 0.0), max(high, 0.0)
    pad = 0.06 * (high - low) or 1.0

    def write(value: float) -> str:
        if view.unit == DAYS:
            return numbers.day(START + timedelta(days=round(value)))
        if view.unit == TIMES:
            return numbers.plain(value, 1)
        put = numbers.signed if view.zero and value else numbers.plain
        return numbers.with_unit(put(value, view.decimals), view.unit)

    drawn = [
        DotRow(
            row.name,
            row.value,
            row.low,
            row.high,
            row.right,
            bold=row.out,
            colour=style.FOCUS if row.ours else style.INK,
            told=f"{row.name}: {write(row.value) if row.value is not None else row.right}",
        )
        for row in view.rows
    ]
    return dots(drawn, write=write, low=low - pad, high=high + pad, zero=view.zero, width=width, narrow=narrow)
