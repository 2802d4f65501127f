"""Run chart of incoming necks: reading after reading in the order measured, lot after lot, on the board of what was
agreed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style
from dashboard.charts.plane import curve, plane, points

Figure = dict[str, Any]


@dataclass(frozen=True)
class RunView:
    """values (n,) in time order; lots as (name, how many readings) in the same order; limits in force for all of them,
    None where they differ.
    """

    values: Sequence[float]
    names: Sequence[str]
    lots: Sequence[tuple[str, int]]
    lower: float | None
    upper: float | None
    unit: str = "mm"
    high_word: str = "hollow above 0"
    marks: str | None = None  # a letter a reading: x outside, = on the limit, - inside; None: nothing is said of them


def run(view: RunView, *, narrow: bool = False) -> Figure:
    """Dots within the limits, crosses outside, rings on a limit; a fret between two lots, their names above where there
    is room.
    """
    n = len(view.values)
    if not n:
        return style.empty("No neck has been measured yet.", narrow=narrow)
    ends = [*view.values, 0.0, *[x for x in (view.lower, view.upper) if x is not None]]
    pad = (max(ends) - min(ends)) * 0.08 or 0.1
    low, high = min(ends) - pad, max(ends) + (2.5 if len(view.lots) > 1 else 1) * pad  # room for the names of lots
    layout = plane(
        (0, n + 1),
        (low, high),
        x_words="necks in the order measured",
        y_words=f"{view.unit}, {view.high_word}",
        x_ticks=[1, n],
        height=240,
        narrow=narrow,
    )
    if view.lower is not None or view.upper is not None:
        a, b = (view.lower if view.lower is not None else low), (view.upper if view.upper is not None else high)
        layout["shapes"].append(style.box(0, a, n + 1, b, style.BOARD))
        layout["shapes"] += [
            style.line(0, y, n + 1, y, style.BOARDEDGE, 2, layer="below")
            for y in (view.lower, view.upper)
            if y is not None
        ]
    layout["shapes"].append(style.line(0, 0, n + 1, 0, style.RULE, 1.4, layer="below"))
    width, start = (style.NARROW if narrow else 640) - 52, 0
    free = -1.0
    for name, count in view.lots:
        x = start / (n + 1) * width
        if start:
            layout["shapes"].append(style.line(start + 0.5, low, start + 0.5, high, style.LINE, layer="below"))
        if x >= free and x + style.width_of(name, 12) <= width:
            layout["annotations"].append(style.words(start + 0.5, 1, name, size=12, yref="paper", xshift=3, yshift=-7))
            free = x + style.width_of(name, 12) + 10
        start += count
    spots = list(enumerate(zip(view.values, view.names, view.marks or "-" * n, strict=True), start=1))
    dot, cross = (
        {"size": 5, "color": style.INK2},
        {"size": 8, "symbol": "x-thin", "line": {"width": 1.8, "color": style.INK}},
    )
    ring = {"size": 6, "symbol": "circle-open", "line": {"width": 1.4, "color": style.INK}}
    kinds = [([s for s in spots if s[1][2] == mark], look) for mark, look in (("-", dot), ("x", cross), ("=", ring))]
    return {
        "data": [
            curve(range(1, n + 1), view.values, style.RULE, 0.8),
            *(points([k for k, _ in own], [s[0] for _, s in own], look, [s[1] for _, s in own]) for own, look in kinds),
        ],
        "layout": layout,
    }
