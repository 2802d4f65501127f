"""Dot and interval, a row each: the frame that shares, what a shift moves together with, settling and savings are drawn
in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]


@dataclass(frozen=True)
class DotRow:
    """One figure with its interval; value None draws the name and the words only."""

    name: str
    value: float | None
    low: float | None = None
    high: float | None = None
    right: str = ""  # at the right end: "24 of 301"
    right_narrow: str | None = None  # shorter, for a phone
    bold: bool = False
    colour: str = style.INK
    line: str = ""  # colour of the interval where it differs
    wedge: bool = False  # light from 0 to the dot
    key: str = ""
    told: str = ""


def dots(
    rows: Sequence[DotRow],
    *,
    write: Callable[[float], str],
    low: float | None = None,
    high: float | None = None,
    zero: bool = False,
    grid: bool = True,
    pitch: int = 26,
    width: int = style.WIDER_HALF,
    names: float | None = None,
    above: bool = False,
    size: float = 5,
    narrow: bool = False,
) -> Figure:
    """Rows of dot and interval on one axis.

    write puts a tick into words; low and high fix the ends of the axis; zero draws an upright at 0; names is the px the
    names take (from their length unless given); above sets each name over its row. On a phone names always stand above.
    """
    if not rows:
        return style.empty("Nothing to show here yet.", height=60, narrow=narrow)
    above = above or narrow
    width = style.NARROW if narrow else width
    names_of = [style.wrap(row.name, width, style.CHARACTER) if above else [row.name] for row in rows]
    lines = max(map(len, names_of))
    pitch = max(pitch, 44) + 17 * (lines - 1) if above else pitch
    longest = max(len(row.name) for row in rows)
    left = 10 if above else names or min(width * 0.45, longest * style.CHARACTER * 14 / 13 + 16)
    rights = [(row.right_narrow if narrow and row.right_narrow is not None else row.right) for row in rows]
    clash = above and any(
        style.width_of(row.name, 14) * (1.05 if row.bold else 1) + style.width_of(text, 14) + 12 > width
        for row, text in zip(rows, rights, strict=True)
    )
    beside = any(rights) and (clash or not narrow)
    right = width - (max(map(len, rights)) * style.CHARACTER * 14 / 13 + 22 if beside else 16)
    ends = [x for row in rows for x in (row.value, row.low, row.high) if x is not None and math.isfinite(x)] + (
        [0.0] if zero else []
    )
    start = low if low is not None else min(ends, default=0.0)
    end = high if high is not None else max(ends, default=1.0)
    if end - start < 1e-12:
        end = start + 1
    if low is None and start < 0:
        start -= 0.04 * (end - start)
    if high is None:
        end += 0.04 * (end - start)

    def px(value: float) -> float:
        return left + (right - left) * (min(max(value, start), end) - start) / (end - start)

    foot = pitch * len(rows) + 4
    figure = style.sheet_of_pixels(width, foot + 24)
    shapes, texts = figure["shapes"], figure["annotations"]
    for tick in _ticks_with_room(start, end, right - left, write):
        at_zero = zero and abs(tick) < 1e-12
        if (grid and not above) and not at_zero:
            shapes.append(style.line(px(tick), 2, px(tick), foot, style.LINE, layer="below"))
        text = write(tick)
        half = style.width_of(text, 12) / 2 + 3
        texts.append(
            style.words(
                min(max(px(tick), half), width - half), foot + 13, text, size=12, colour=style.INK3, at="center"
            )
        )
    wedges, spots = any(row.wedge for row in rows), []
    for k, row in enumerate(rows):
        y = pitch * k + (pitch - 12 if above else pitch / 2 + 1)
        name_y = pitch * k + 12 + 17 * (lines - 1 - (len(names_of[k]) - 1) / 2) if above else y
        texts.append(
            style.words(
                0,
                name_y,
                "<br>".join(names_of[k]),
                size=14,
                bold=row.bold,
                colour=style.INK if row.bold else style.INK2,
            )
        )
        if rights[k]:
            texts.append(
                style.words(
                    width, y if clash else name_y, rights[k], size=13 if narrow else 14, at="right", colour=style.INK2
                )
            )
        if above and grid:
            shapes.append(style.line(left, y, right, y, style.LINE, layer="below"))
        if row.wedge and row.value is not None:
            x0, x1 = px(0), px(row.value)
            shapes.append(style.path(f"M{x0},{y + 7}L{x1},{y + 7}L{x1},{y - 5}Z", fill=style.LIGHT_FILL, layer="below"))
        if zero:
            reach = 12 if wedges or above else pitch / 2
            shapes.append(
                style.line(px(0), y - reach, px(0), y + reach, style.INK, 2 if wedges else 1.4, layer="below")
            )
        if row.value is None:
            continue
        if row.low is not None and row.high is not None:
            shapes.append(style.line(px(row.low), y, px(row.high), y, row.line or row.colour, size / 2, layer="below"))
        spots.append((px(row.value), y, row))
    trace = {
        "type": "scatter",
        "mode": "markers",
        "name": "dots",
        "x": [s[0] for s in spots],
        "y": [s[1] for s in spots],
        "cliponaxis": False,
        "marker": {"size": 2 * size, "opacity": 1, "color": [s[2].colour for s in spots]},
        "customdata": [[s[2].key, s[2].told or s[2].name] for s in spots],
        "hovertemplate": "%{customdata[1]}<extra></extra>",
    }
    return {"data": [trace], "layout": figure}


def _ticks_with_room(low: float, high: float, px: float, write: Callable[[float], str]) -> list[float]:
    """As many round numbers as have room in words."""
    for about in (12, 8, 6, 5, 4, 3, 2):
        found = ticks(low, high, about)
        apart = px / max((high - low) / (found[1] - found[0]), 1) if len(found) > 1 else px
        if apart >= max(70, max((style.width_of(write(tick), 12) for tick in found), default=0) + 24):
            return found
    return found[:1]


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round numbers from low to high, about so many."""
    span = high - low
    if not span > 0:
        return [low]
    rough = span / max(about, 1)
    unit = 10 ** math.floor(math.log10(rough))
    step = next(k * unit for k in (1, 2, 5, 10) if k * unit >= rough * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [k * step for k in range(first, last + 1)]
