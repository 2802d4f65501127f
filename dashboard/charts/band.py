"""Target band: a trainee's readings stacked on the band of qualified people, mean with its interval in blue, figures in
the gauge's unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style
from dashboard.charts.plane import points
from dashboard.charts.stacks import stacked

Figure = dict[str, Any]
WIDTH, HEIGHT = 330, 72


@dataclass(frozen=True)
class BandView:
    """All in the unit of the gauge; words are what stands under the band ("12", "14", "16 thou")."""

    values: Sequence[float]
    serials: Sequence[str]
    lower: float | None
    upper: float | None
    target: float | None
    mean: float | None
    low: float | None
    high: float | None
    lower_words: str = ""
    upper_words: str = ""
    target_words: str = ""


def band(view: BandView, *, narrow: bool = False) -> Figure:
    """One band, 72 px high."""
    width = style.NARROW if narrow else WIDTH
    ends = [x for x in (*view.values, view.lower, view.upper, view.target, view.low, view.high) if x is not None]
    if not ends:
        return style.empty("No readings yet.", height=HEIGHT, narrow=narrow)
    low, high = min(ends), max(ends)
    pad = (high - low) * 0.06 or 1.0
    low, high = low - pad, high + pad

    def px(value: float) -> float:
        return 6 + (width - 12) * (value - low) / (high - low)

    figure = style.sheet_of_pixels(width, HEIGHT)
    shapes, texts = figure["shapes"], figure["annotations"]
    if view.lower is not None or view.upper is not None:
        a, b = (
            (px(view.lower) if view.lower is not None else 6),
            (px(view.upper) if view.upper is not None else width - 6),
        )
        shapes.append(style.box(a, 8, b, 48, style.BOARD))
        shapes += [
            style.line(px(x), 8, px(x), 48, style.BOARDEDGE, 2, layer="below")
            for x in (view.lower, view.upper)
            if x is not None
        ]
    if view.target is not None:
        shapes.append(
            style.line(px(view.target), 10, px(view.target), 48, style.BOARDEDGE, 2.4, dash="2.4px,6px", layer="below")
        )
    shapes.append(style.line(6, 48, width - 6, 48, style.LINE, layer="below"))
    under = [
        (v, w)
        for v, w in ((view.lower, view.lower_words), (view.target, view.target_words), (view.upper, view.upper_words))
        if v is not None and w
    ]
    free = -20.0
    for value, words in sorted(under, key=lambda pair: pair[0]):
        half = style.width_of(words, 12) / 2
        x = min(max(px(value), half), width - half)
        if x - half < free:
            continue
        free = x + half + 4
        texts.append(style.words(x, 62, words, size=12, colour=style.BOARDTEXT, at="center"))
    aside, above = stacked([px(v) for v in view.values], high=32, dot=5)
    across = [px(v) + d for v, d in zip(view.values, aside, strict=True)]
    data = [
        points(across, [44 - a for a in above], {"size": 4, "color": style.INK2, "opacity": 0.7}, list(view.serials))
    ]
    if view.mean is not None:
        if view.low is not None and view.high is not None:
            line = {"color": style.FOCUS, "width": 4}
            data.append(
                {
                    "type": "scatter",
                    "mode": "lines",
                    "x": [px(view.low), px(view.high)],
                    "y": [28, 28],
                    "line": line,
                    "hoverinfo": "skip",
                }
            )
        data.append(
            points(
                [px(view.mean)], [28], {"size": 12, "color": style.FOCUS, "line": {"width": 1.5, "color": style.CARD}}
            )
        )
    return {"data": data, "layout": figure}
