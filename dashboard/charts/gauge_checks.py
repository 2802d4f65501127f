"""Checks of one gauge on its master piece, in the order taken: how far each lay from it, half a step either side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style
from dashboard.charts.plane import curve, plane, points

Figure = dict[str, Any]


@dataclass(frozen=True)
class ChecksView:
    """off (n,) from the master piece and the day of each, in time order; half a step of the gauge; one unit."""

    off: Sequence[float]
    days: Sequence[str]
    half_step: float
    unit: str = "mm"


def gauge_checks(view: ChecksView, *, narrow: bool = False) -> Figure:
    """Dots on a board of half a step either side of the master piece, which is the line at 0."""
    n = len(view.off)
    if not n:
        return style.empty("No check on the master piece yet.", narrow=narrow)
    far = 1.15 * max(*(abs(one) for one in view.off), view.half_step, 1e-9)
    layout = plane(
        (0, n + 1),
        (-far, far),
        x_words="checks in the order taken",
        y_words=f"{view.unit} over the master piece",
        x_ticks=[1, n],
        height=200,
        narrow=narrow,
    )
    layout["shapes"].append(style.box(0, -view.half_step, n + 1, view.half_step, style.BOARD))
    layout["shapes"].append(style.line(0, 0, n + 1, 0, style.RULE, 1.4, layer="below"))
    dot = {"size": 6, "color": style.INK}
    return {
        "data": [
            curve(range(1, n + 1), view.off, style.RULE, 0.8),
            points(list(range(1, n + 1)), list(view.off), dot, list(view.days)),
        ],
        "layout": layout,
    }
