"""Work that came back against what the others would give on the same mix: the funnel in grey, the subject blue, others
as rings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style
from dashboard.charts.plane import area, curve, plane, points

Figure = dict[str, Any]


@dataclass(frozen=True)
class FunnelView:
    """Times expected (1 = as the others) against expected; limits over a grid of expected. Others are never named.

    subject is (expected, ratio, low, high), None where nobody is chosen.
    """

    grid: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    others: Sequence[tuple[float, float]]
    subject: tuple[float, float, float, float] | None = None
    words: str = ""  # "5 came back, 3.1 expected"
    words_narrow: str = ""
    x_words: str = "expected from the same mix by the other people"
    y_words: str = "times expected; 1 is as the others"


def funnel(view: FunnelView, *, narrow: bool = False) -> Figure:
    """The funnel; the vertical axis ends a little above the highest figure, where the funnel's mouth leaves it."""
    expected = [x for x, _ in view.others] + ([view.subject[0]] if view.subject else [])
    if not expected:
        return style.empty("No work of this stage is judged yet.", narrow=narrow)
    ratios = [y for _, y in view.others] + ([view.subject[1], min(view.subject[3], 6.0)] if view.subject else [])
    top = max(2.2, *ratios) * 1.06
    right = max(expected) * 1.12
    inside = [k for k, x in enumerate(view.grid) if x <= right]
    x = [view.grid[k] for k in inside]
    low, high = [min(view.low[k], top) for k in inside], [min(view.high[k], top) for k in inside]
    layout = plane((0, right), (-0.04 * top, top), x_words=view.x_words, y_words=view.y_words, narrow=narrow)
    layout["shapes"].append(style.line(0, 1, right, 1, style.INK, 1.6, layer="below"))
    data = [
        area(x, low, high, style.SUNK),
        curve(x, high, style.RULE, 1.2),
        curve(x, low, style.RULE, 1.2),
        curve([0, right], [1, 1], style.INK, 1.6),
    ]
    ring = {"symbol": "circle", "size": 9, "color": style.CARD, "line": {"width": 1.8, "color": style.INK3}}
    data.append(
        points([a for a, _ in view.others], [b for _, b in view.others], ring, ["another person"] * len(view.others))
    )
    if view.subject:
        a, ratio, lower, upper = view.subject
        data.append(curve([a, a], [lower, min(upper, top)], style.FOCUS, 2.6))
        data.append(points([a], [ratio], {"size": 12, "color": style.FOCUS}, [view.words]))
        words = (view.words_narrow or view.words) if narrow else view.words
        plot = (style.NARROW if narrow else 510) - 52
        near_end = a / right * plot + style.width_of(words, 14) + 12 > plot
        layout["annotations"].append(
            style.words(
                a,
                ratio,
                words,
                size=14,
                bold=True,
                colour=style.FOCUSTEXT,
                at="right" if near_end else "left",
                xshift=-10 if near_end else 10,
                yshift=10,
                halo=style.SUNK,
            )
        )
    return {"data": data, "layout": layout}
