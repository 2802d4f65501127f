"""Is it a normal week? Thirteen weeks as dots, this one large, on the usual range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]


@dataclass(frozen=True)
class WeeksView:
    """Figures of the last weeks, oldest first, this week last (NaN where a week has none); usual range and its ends in
    words.
    """

    values: Sequence[float]
    low: float | None
    high: float | None
    low_words: str = ""
    high_words: str = ""
    weeks: Sequence[str] = ()  # "week of 9 Nov", for the pointer
    words: Sequence[str] = ()  # the figure of each week in words


def normal_week(view: WeeksView, *, narrow: bool = False, width: int = 340) -> Figure:
    """A strip of 54 px with the usual range in grey."""
    width, height, right = (style.NARROW, 54, 280) if narrow else (width, 54, width - 60)
    real = [v for v in view.values if not math.isnan(v)]
    if not real:
        return style.empty("No week yet.", height=height, narrow=narrow)
    ends = real + [x for x in (view.low, view.high) if x is not None]
    low, high = min(ends), max(ends)
    if high - low < 1e-12:
        low, high = low - 1, high + 1

    def y(value: float) -> float:
        return 8 + 36 * (high - value) / (high - low)

    figure = style.sheet_of_pixels(width, height)
    shapes, texts = figure["shapes"], figure["annotations"]
    if view.low is not None and view.high is not None:
        shapes.append(style.box(0, min(y(view.high), y(view.low) - 2), right, y(view.low), style.SUNK))
        places = style.push_apart([y(view.high), y(view.low)], 8, height - 8)
        for place, text in zip(places, (view.high_words, view.low_words), strict=True):
            texts.append(style.words(right + 10, place, text, size=12, colour=style.INK3))
    n = len(view.values)
    spots = [(8 + (right - 18) * k / max(n - 1, 1), v, k) for k, v in enumerate(view.values) if not math.isnan(v)]
    told = [f"{view.weeks[k] if view.weeks else ''}<br>{view.words[k] if view.words else v}" for _, v, k in spots]
    last = [k == n - 1 for _, _, k in spots]
    trace = {
        "type": "scatter",
        "mode": "markers",
        "x": [s[0] for s in spots],
        "y": [y(s[1]) for s in spots],
        "cliponaxis": False,
        "marker": {
            "opacity": 1,
            "size": [11 if now else 6 for now in last],
            "color": [style.INK if now else style.INK3 for now in last],
        },
        "customdata": [[text] for text in told],
        "hovertemplate": "%{customdata[0]}<extra></extra>",
    }
    return {"data": [trace], "layout": figure}
