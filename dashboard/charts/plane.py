"""A plain pair of axes with round numbers and no grid: what the funnel, learning and cost charts are drawn on."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.dots import ticks

Figure = dict[str, Any]
HEIGHT = 290


def plane(
    x: tuple[float, float],
    y: tuple[float, float],
    *,
    x_words: str,
    y_words: str,
    x_ticks: Sequence[float] | None = None,
    right: int = 12,
    write_x: Callable[[float], str] | None = None,
    write_y: Callable[[float], str] | None = None,
    height: int = HEIGHT,
    narrow: bool = False,
) -> Figure:
    """The layout: y in words over the chart, x in words under it; a right margin for figures that stand at the end of a
    line.
    """
    margin = (40, 12 if narrow else right, 26, 52)
    xs = list(x_ticks) if x_ticks is not None else ticks(*x, 4 if narrow else 6)
    ys = ticks(*y, 5)
    tickfont = {"size": 12, "color": style.INK2}
    layout = style.layout(
        height,
        margin,
        narrow=narrow,
        shapes=[],
        annotations=[],
        xaxis=style.axis(
            *x, showticklabels=True, tickvals=xs, ticktext=[(write_x or _plain(xs))(t) for t in xs], tickfont=tickfont
        ),
        yaxis=style.axis(
            *y, showticklabels=True, tickvals=ys, ticktext=[(write_y or _plain(ys))(t) for t in ys], tickfont=tickfont
        ),
    )
    layout["annotations"] += [
        style.words(0, 1, y_words, size=12, colour=style.INK3, xref="paper", yref="paper", xshift=-40, yshift=15),
        style.words(0, 0, x_words, size=12, colour=style.INK3, xref="paper", yref="paper", yshift=-41),
    ]
    return layout


def _plain(values: Sequence[float]) -> Callable[[float], str]:
    step = min((b - a for a, b in itertools.pairwise(values)), default=1)
    decimals = 0 if step >= 1 else 1 if step >= 0.1 else 2
    return lambda v: numbers.plain(v, decimals)


def curve(x: Sequence[float], y: Sequence[float], colour: str, width: float) -> Figure:
    """A line that is only looked at."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": list(x),
        "y": list(y),
        "line": {"color": colour, "width": width},
        "hoverinfo": "skip",
    }


def area(x: Sequence[float], low: Sequence[float], high: Sequence[float], colour: str) -> Figure:
    """The area between two lines; colour may carry two digits of opacity."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [*x, *list(x)[::-1]],
        "y": [*high, *list(low)[::-1]],
        "fill": "toself",
        "fillcolor": colour,
        "line": {"width": 0, "color": colour[:7]},
        "hoverinfo": "skip",
    }


def points(
    x: Sequence[float],
    y: Sequence[float],
    marker: Figure,
    told: Sequence[str] | None = None,
    keys: Sequence[str] | None = None,
) -> Figure:
    """Markers with what the pointer is told of each."""
    said = list(told) if told is not None else [""] * len(x)
    hover: Figure = {"hovertemplate": "%{customdata[1]}<extra></extra>"} if told is not None else {"hoverinfo": "skip"}
    data = [[key, text] for key, text in zip(keys or [""] * len(x), said, strict=True)]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": list(x),
        "y": list(y),
        "marker": {"opacity": 1, **marker},
        "customdata": data,
        **hover,
    }
