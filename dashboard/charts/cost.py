"""What goes with bow: minutes in steps of the incoming reading, with intervals, a line through them, and what was
agreed as board.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.plane import area, curve, plane, points

Figure = dict[str, Any]


@dataclass(frozen=True)
class CostView:
    """Means with 95 % intervals at steps of x, the fitted line with its band, and the agreed limit."""

    x: Sequence[float]
    mean: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    n: Sequence[int]
    line_x: Sequence[float] = ()
    line: Sequence[float] = ()
    line_low: Sequence[float] = ()
    line_high: Sequence[float] = ()
    agreed: float | None = None
    agreed_words: str = ""  # "agreed: 0.25 mm"
    words: str = ""  # "2.9 min a tenth"
    x_words: str = "bow at receiving, mm"
    y_words: str = "min"


def cost(view: CostView, *, narrow: bool = False) -> Figure:
    """The chart; empty words where no step has enough necks."""
    if not len(view.x):
        return style.empty("Too few necks to say what bow goes with.", narrow=narrow)
    xs, ys = [*view.x, *view.line_x], [*view.low, *view.high, *view.line]
    low, high = min(xs), max(xs)
    pad = (high - low) * 0.06 or 0.05
    bottom, top = min(ys), max(ys)
    room = (top - bottom) * 0.12 or 1
    layout = plane(
        (low - pad, high + pad), (bottom - room, top + room), x_words=view.x_words, y_words=view.y_words, narrow=narrow
    )
    if view.agreed is not None:
        at = {"yref": "paper"}
        layout["shapes"].append(style.box(low - pad, 0, min(view.agreed, high + pad), 1, style.BOARD, **at))
        layout["shapes"].append(style.line(view.agreed, 0, view.agreed, 1, style.BOARDEDGE, 2, layer="below", **at))
        layout["annotations"].append(
            style.words(
                view.agreed,
                1,
                view.agreed_words,
                size=13,
                colour=style.BOARDTEXT,
                at="right",
                yref="paper",
                xshift=-6,
                yshift=-12,
            )
        )
    data = []
    if len(view.line):
        if len(view.line_low):
            data.append(area(view.line_x, view.line_low, view.line_high, style.FOCUS + "2E"))
        data.append(curve(view.line_x, view.line, style.FOCUS, 2.6))
        layout["annotations"].append(
            style.words(
                view.line_x[-1],
                view.line[-1],
                view.words,
                size=14,
                bold=True,
                colour=style.FOCUSTEXT,
                at="right",
                yshift=-20,
                halo=style.CARD,
            )
        )
    bars_x = [v for x in view.x for v in (x, x, None)]
    bars_y = [v for a, b in zip(view.low, view.high, strict=True) for v in (a, b, None)]
    data.append(curve(bars_x, bars_y, style.INK2, 1.8))  # type: ignore[arg-type]
    told = [
        f"{numbers.count(n)} necks<br>{numbers.plain(m, 1)} ({numbers.span(a, b, 1)})"
        for n, m, a, b in zip(view.n, view.mean, view.low, view.high, strict=True)
    ]
    data.append(points(view.x, view.mean, {"size": 9, "color": style.INK}, told))
    return {"data": data, "layout": layout}
