"""What removing it would save: a row a change, its name above, blue dot and interval, the figure in words at the
right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.dots import DotRow, dots

Figure = dict[str, Any]


@dataclass(frozen=True)
class Saving:
    """Hours a change would save over the period, with its interval, and the figure in words ("22.8 h, 866 EUR")."""

    change: str
    hours: float | None
    low: float | None
    high: float | None
    words: str
    key: str = ""


def savings(rows: Sequence[Saving], *, width: int = style.HALF, narrow: bool = False) -> Figure:
    """All on one axis of hours from 0."""
    drawn = [DotRow(r.change, r.hours, r.low, r.high, r.words, bold=True, colour=style.FOCUS, key=r.key) for r in rows]
    return dots(
        drawn,
        write=lambda x: numbers.hours(x) if x % 1 else numbers.with_unit(numbers.plain(x, 0), "h"),
        low=_low(rows),
        above=True,
        pitch=48,
        width=width,
        narrow=narrow,
    )


def _low(rows: Sequence[Saving]) -> float:
    return min([0.0, *[r.low for r in rows if r.low is not None]])
