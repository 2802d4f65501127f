"""Readings as bars on the board of their limits, with the curve they follow: how they lie between what was asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.dots import ticks
from dashboard.charts.plane import curve

Figure = dict[str, Any]
HEIGHT, HEAD, FOOT = 250, 44, 46
SIDE = 34  # px at the left for the numbers of readings


@dataclass(frozen=True)
class HistogramView:
    """In the unit shown. edges (k + 1,), counts and outside (k,), told (k,) what the pointer is told of a bar; curve
    and its heights, empty where none is drawn; limits and target, None where nothing is asked.
    """

    edges: Sequence[float]
    counts: Sequence[int]
    outside: Sequence[int]
    told: Sequence[str]
    x: Sequence[float]
    y: Sequence[float]
    target: float | None
    lower: float | None
    upper: float | None
    decimals: int
    unit: str


def histogram(view: HistogramView, *, narrow: bool = False) -> Figure:
    """The chart: bars in ink, their part outside the limits in the colour of what moved, the curve as a blue line."""
    if not sum(view.counts):
        return style.empty("No reading to draw.", narrow=narrow)
    width = style.NARROW if narrow else style.WIDE
    figure = style.sheet_of_pixels(width, HEIGHT)
    shapes, texts = figure["shapes"], figure["annotations"]
    limits = [one for one in (view.lower, view.upper) if one is not None]
    low, high = min([view.edges[0], *limits, *view.x[:1]]), max([view.edges[-1], *limits, *view.x[-1:]])
    pad = (high - low) * 0.03
    low, high = low - pad, high + pad
    tallest = max([*view.counts, *view.y])
    left, right, base = SIDE, width - 8, HEIGHT - FOOT

    def px(value: float) -> float:
        return left + (right - left) * (value - low) / (high - low)

    def py(count: float) -> float:
        return base - (base - HEAD - 10) * count / tallest

    _board(view, shapes, texts, px, (left, right, base))
    for count in ticks(0, tallest, 4):
        if count and count == int(count):
            shapes.append(style.line(left, py(count), right, py(count), style.LINE, layer="below"))
            texts.append(style.words(left - 6, py(count), f"{count:,.0f}", size=12, colour=style.INK3, at="right"))
    texts.append(style.words(0, 12, "readings", size=12, colour=style.INK3))
    spots = []
    for k, (count, out) in enumerate(zip(view.counts, view.outside, strict=True)):
        a, b = px(view.edges[k]), px(view.edges[k + 1])
        gap = 1 if b - a > 5 else 0
        if count - out:
            shapes.append(style.box(a + gap, py(count - out), b - gap, base, style.INK3, layer="above"))
        if out:
            edge = {"edge": style.MOVED, "layer": "above"}
            shapes.append(style.box(a + gap, py(count), b - gap, py(count - out), style.MOVED, **edge))
        spots.append(((a + b) / 2, py(count / 2), "", view.told[k]))
    shapes.append(style.line(left, base, right, base, style.RULE, 1.2))
    for value in ticks(low, high, 4 if narrow else 8):
        shapes.append(style.line(px(value), base, px(value), base + 5, style.RULE))
        texts.append(style.words(px(value), base + 16, numbers.plain(value, view.decimals), size=12, at="center"))
    texts.append(style.words(right, base + 36, view.unit, size=12, colour=style.INK3, at="right"))
    line = [curve([px(x) for x in view.x], [py(y) for y in view.y], style.FOCUS, 2.4)] if len(view.x) else []
    return {"data": [*line, style.touch("bars", 16, spots)], "layout": figure}


def _board(
    view: HistogramView, shapes: list[Figure], texts: list[Figure], px: Any, where: tuple[float, float, float]
) -> None:
    """What was asked: the board with its limits and the target, their figures above."""
    left, right, base = where
    if view.lower is None and view.upper is None:
        return
    a = left if view.lower is None else px(view.lower)
    b = right if view.upper is None else px(view.upper)
    shapes.append(style.box(a, HEAD, b, base, style.BOARD))
    for limit, at, shift in ((view.lower, "right", 4), (view.upper, "left", -4)):
        if limit is None:
            continue
        shapes.append(style.line(px(limit), HEAD - 6, px(limit), base, style.BOARDEDGE, 2, layer="below"))
        beside = px(limit) + (shift if b - a > 150 else 0)
        side = ("left" if at == "right" else "right") if b - a > 150 else at
        text = numbers.plain(limit, view.decimals)
        texts.append(style.words(beside, HEAD - 12, f"limit {text}", size=12, colour=style.BOARDTEXT, at=side))
    if view.target is not None and b - a > 260:
        shapes.append(
            style.line(px(view.target), HEAD, px(view.target), base, style.BOARDEDGE, 1, dash="2px,3px", layer="below")
        )
        text = f"asked {numbers.plain(view.target, view.decimals)}"
        texts.append(style.words(px(view.target), HEAD - 12, text, size=12, colour=style.BOARDTEXT, at="center"))
