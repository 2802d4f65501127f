"""Two groups of readings side by side on one scale: each in the order read, its mean on the interval of the mean, on
the board of what was asked of both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style
from dashboard.charts.plane import curve, plane, points

Figure = dict[str, Any]
GAP = 0.08  # between the two halves, each 1 wide
MOST = 600  # dots of a half; of more every so-manieth is drawn


@dataclass(frozen=True)
class SideView:
    """One half: values (n,) in time order in the unit shown, a word a reading for the pointer, its mean and the 95 % of
    it (None: too few), and its name.
    """

    name: str
    values: Sequence[float]
    told: Sequence[str]
    mean: float | None
    low: float | None
    high: float | None
    first: str = ""  # when its first and last reading were taken
    last: str = ""
    short: str = ""  # its name where there is little room


def against(
    a: SideView, b: SideView, *, lower: float | None, upper: float | None, unit: str, narrow: bool = False
) -> Figure:
    """Both halves; `lower` and `upper` are limits that hold for all readings, None where they differ."""
    if not len(a.values) and not len(b.values):
        return style.empty("No reading on either side.", narrow=narrow)
    ends = [*a.values, *b.values, *[x for x in (lower, upper) if x is not None]]
    pad = (max(ends) - min(ends)) * 0.08 or 0.1
    low, high = min(ends) - pad, max(ends) + pad
    whole = 2 + GAP
    layout = plane((0, whole), (low, high), x_words="", y_words=unit, x_ticks=[], height=300, narrow=narrow)
    if lower is not None or upper is not None:
        bottom, top = (lower if lower is not None else low), (upper if upper is not None else high)
        layout["shapes"].append(style.box(0, bottom, whole, top, style.BOARD))
        layout["shapes"] += [
            style.line(0, y, whole, y, style.BOARDEDGE, 2, layer="below") for y in (lower, upper) if y is not None
        ]
    data = []
    for side, start, colour in ((a, 0.0, style.FOCUS), (b, 1 + GAP, style.INK)):
        data += _half(side, start, colour)
        layout["shapes"] += _mean(side, start, colour)
        layout["annotations"] += _words(side, start, narrow=narrow)
    layout["shapes"].append(style.line(1 + GAP / 2, low, 1 + GAP / 2, high, style.RULE, 1.4, layer="below"))
    return {"data": data, "layout": layout}


def _half(side: SideView, start: float, colour: str) -> list[Figure]:
    n = len(side.values)
    step = -(-n // MOST) if n else 1
    kept = range(0, n, step)
    at = [start + (k + 0.5) / n for k in kept]
    look = {"size": 5, "color": colour, "symbol": "circle" if start == 0 else "diamond"}
    values = [side.values[k] for k in kept]
    line = [curve(at, values, style.LINE, 0.8)] if n else []
    return [*line, points(at, values, look, [side.told[k] for k in kept])]


def _mean(side: SideView, start: float, colour: str) -> list[Figure]:
    if side.mean is None:
        return []
    drawn = [style.line(start, side.mean, start + 1, side.mean, colour, 3)]
    if side.low is not None and side.high is not None:
        drawn.insert(0, style.box(start, side.low, start + 1, side.high, f"{style.SKY}66", layer="below"))
    return drawn


def _words(side: SideView, start: float, *, narrow: bool) -> list[Figure]:
    name = side.short or side.name if narrow else side.name
    said = [style.words(start, 1, name, yref="paper", size=14, xshift=4, yshift=8)]
    if side.first:
        days = side.first if side.first == side.last else f"{side.first} to {side.last}"
        said.append(style.words(start, 0, days, yref="paper", size=12, colour=style.INK3, xshift=4, yshift=-14))
    return said
