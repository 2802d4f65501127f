"""What moved: a row a matter, a dot a stream, light as far as the matter reaches; all that ran true as one heap.

One axis for every stream, in per cent of the tolerance, on which each line doubles the one before: it never clips, and
forty models are forty dots.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]
PITCH, HEAD, HEAP = 76, 44, 92  # a row of two lines; more lines make it taller, for what a shift costs is said last
RIGHT = 5  # lines at the right: since when, three of what it moves together with, and who has it
AXIS = (400, 870)  # px of the axis' ends
FIRST, KNEE = 10, 5  # per cent: the first line of the axis, and where it turns from even to doubling
DOT = 7.0
BELOW = 15  # px of a line below the light, on a phone
BOLD = 6.9  # px of a bold letter of 12 px, on the safe side


@dataclass(frozen=True)
class Moved:
    """One stream: per cent of its tolerance, what the pointer is told, the key of the way to it."""

    percent: float
    told: str
    key: str
    limited: bool = True  # False: nothing is asked, shares of six sigma


@dataclass(frozen=True)
class MatterRow:
    """A matter: its words at the left and at the right, its streams, the name of the farthest."""

    name: str
    under: str
    right: Sequence[str]  # the first is bold
    streams: Sequence[Moved]
    farthest: str
    key: str = ""
    chosen: bool = False
    nearer: bool = False  # it moved to its target: drawn without the colour of what asks for something


@dataclass(frozen=True)
class MovedView:
    """Rows, the per cents of all that ran true, and their words."""

    rows: Sequence[MatterRow]
    steady: Sequence[float]
    steady_words: str
    thin_words: str


def place(percent: float) -> float:
    """Where a per cent stands: even near 0, doubling from there on."""
    return math.copysign(math.log2(1 + abs(percent) / KNEE), percent)


def end_of(view: MovedView) -> float:
    """Per cent at the end of the axis: the next doubling past the largest."""
    largest = max([abs(s.percent) for row in view.rows for s in row.streams] + [abs(p) for p in view.steady] + [FIRST])
    end = 2.0 * FIRST
    while end < largest:
        end *= 2
    return end


def moved(view: MovedView, *, narrow: bool = False) -> Figure:
    """The chart."""
    if not view.rows and not view.steady:
        return style.empty("No series has readings enough to run true or to move.", narrow=narrow)
    width = style.NARROW if narrow else style.WIDE
    left, right = (10, width - 10) if narrow else AXIS
    said = [_said(row, width if narrow else AXIS[0] - 24) for row in view.rows]
    lasts = [_last(row, width) if narrow else [] for row in view.rows]
    pitches = [
        _pitch(row, one, narrow) + BELOW * max(0, len(last) - 1)
        for row, one, last in zip(view.rows, said, lasts, strict=True)
    ]
    foot = HEAD + sum(pitches)
    figure = style.sheet_of_pixels(width, foot + HEAP + (84 if narrow else 26))
    shapes, texts = figure["shapes"], figure["annotations"]
    end = end_of(view)

    def px(percent: float) -> float:
        return (left + right) / 2 + (right - left) / 2 * place(percent) / place(end)

    bottom = foot + HEAP
    if view.steady:
        shapes.append(style.box(px(min(view.steady)), HEAD - 8, px(max(view.steady)), bottom, style.SUNK))
    _axis(shapes, texts, px, end, bottom)
    spots: list[tuple[float, float, str, str]] = []
    for k, row in enumerate(view.rows):
        top, pitch = HEAD + sum(pitches[:k]), pitches[k]
        shapes.append(style.line(0, top, width, top, style.LINE, layer="below"))
        if narrow:  # no line of the axis runs through the words
            lines = 19 * len(said[k][0]) + 17 * len(said[k][1])
            shapes.append(style.box(4, top + 4, width - 4, top + lines + 12, style.CARD, layer="above"))
        if row.chosen:
            frame = style.box(1, top + 2, width - 1, top + pitch - 2, "rgba(0,0,0,0)", layer="above", edge=style.FOCUS)
            frame["line"]["width"] = 2
            shapes.append(frame)
        _words(row, said[k], texts, top, narrow)
        below = BELOW * max(0, len(lasts[k]) - 1)
        for n, text in enumerate(lasts[k]):
            at = top + pitch - 10 - below + BELOW * n
            texts.append(style.words(8, at, text, size=12, colour=style.INK2, halo=style.CARD))
        y = top + (pitch - 48 - below if narrow else pitch / 2)
        spots += _streams(row, shapes, texts, y, (px, width if narrow else AXIS[1]))
        spots.append((20, top + 16, row.key, f"{row.name}: {row.under}"))
    _heap(view, shapes, texts, px, (foot, bottom, narrow))
    return {"data": [style.touch("streams", 24, spots)], "layout": figure}


def _axis(shapes: list[Figure], texts: list[Figure], px: Any, end: float, bottom: float) -> None:
    shapes.append(style.line(px(0), HEAD - 10, px(0), bottom, style.INK, 1.4))
    texts.append(style.words(px(0), 16, "0", size=12, colour=style.INK2, at="center"))
    tick, last = float(FIRST), 0.0
    while tick <= end * 1.001:
        for way in (-1, 1):
            x = px(way * tick)
            shapes.append(style.line(x, HEAD - 8, x, bottom, style.LINE, layer="below"))
            if abs(px(tick) - last) > 34:
                sign = "\u2212" if way < 0 else "+"
                texts.append(style.words(x, 16, f"{sign}{tick:g}", size=12, colour=style.INK2, at="center"))
        if abs(px(tick) - last) > 34:
            last = px(tick)
        tick *= 2


def _said(row: MatterRow, room: float) -> tuple[list[str], list[str]]:
    """A row's name and what stands below it, in lines."""
    return style.wrap_to(row.name, room, 2, 7.4), style.wrap_to(row.under, room, 4, 6.6)


def _pitch(row: MatterRow, said: tuple[list[str], list[str]], narrow: bool) -> int:
    """How tall a row is: its lines, and on a phone its light below them."""
    lines = 19 * len(said[0]) + 17 * len(said[1])
    return lines + 97 if narrow else max(PITCH, lines + 23, 16 * len(row.right[:RIGHT]) + 12)


def _last(row: MatterRow, width: float) -> list[str]:
    """What stands at the right, in lines below the light of a phone: since when and with what, then who has it."""
    if len(row.right) < 2:
        return list(row.right)
    since, *why, has = row.right
    return [*style.wrap_to(" ".join([f"{since};" if why else since, *why]), width - 16, RIGHT - 2, 6.4), has]


def _words(row: MatterRow, said: tuple[list[str], list[str]], texts: list[Figure], top: float, narrow: bool) -> None:
    halo = style.CARD if narrow else ""
    name, under = said
    for k, line in enumerate(name):
        texts.append(style.words(8, top + 18 + 19 * k, line, size=14, bold=True, colour=style.INK, halo=halo))
    y = top + 18 + 19 * len(name)
    for k, line in enumerate(under):
        texts.append(style.words(8, y + 17 * k, line, size=13, halo=halo))
    if narrow:
        return
    for k, line in enumerate(row.right[:RIGHT]):
        bold = k in (0, len(row.right) - 1)
        texts.append(style.words(AXIS[1] + 24, top + 14 + 16 * k, line, size=12, bold=bold, colour=style.INK))


def _streams(
    row: MatterRow, shapes: list[Figure], texts: list[Figure], y: float, axis: tuple[Any, float]
) -> list[tuple[float, float, str, str]]:
    """Light to the farthest stream, and a dot a stream on the side where the light is not. axis : px of a per cent, and
    where the drawing ends at the right.
    """
    if not row.streams:
        return []
    px, end = axis
    far = max(row.streams, key=lambda stream: abs(stream.percent))
    up = far.percent >= 0
    tall = -11.0 if up else 11.0
    x0, x1 = px(0), px(far.percent)
    fill, edge, words = (
        (style.SUNK, style.INK3, style.INK2) if row.nearer else (style.LIGHT_FILL, style.MOVED, style.MOVEDTEXT)
    )
    shapes.append(style.path(f"M{x0:.1f},{y}L{x1:.1f},{y}L{x1:.1f},{y + tall}Z", fill=fill, edge=edge, width=1.2))
    at, short = "right" if up else "left", style.wrap_to(row.farthest, min(end, style.WIDE) - 16, 1, BOLD)[0]
    wide = len(short) * BOLD  # a long name keeps inside the drawing
    x = max(x1, min(8 + wide, end - 8)) if up else min(x1, max(8.0, end - 8 - wide))
    texts.append(style.words(x, y + tall * 1.9, short, size=12, bold=True, colour=words, at=at, halo=style.CARD))
    spots, taken = [], []  # type: list[tuple[float, float, str, str]], list[tuple[float, float]]
    for stream in sorted(row.streams, key=lambda one: -abs(one.percent)):
        x, away = px(stream.percent), (DOT if up else -DOT)
        while any(abs(x - a) < DOT and abs(away - b) < DOT for a, b in taken) and abs(away) < 30:
            away += DOT if up else -DOT
        taken.append((x, away))
        ring = {"xsizemode": "pixel", "ysizemode": "pixel", "xanchor": x, "yanchor": y + away}
        shapes.append(
            {
                "type": "circle",
                "opacity": 1,
                "layer": "above",
                **ring,
                "x0": -2.8,
                "x1": 2.8,
                "y0": -2.8,
                "y1": 2.8,
                "fillcolor": style.INK if stream.limited else style.CARD,
                "line": {"width": 1.4, "color": style.INK},
            }
        )
        spots.append((x, y + away, stream.key, stream.told))
    return spots


def _heap(
    view: MovedView, shapes: list[Figure], texts: list[Figure], px: Any, where: tuple[float, float, bool]
) -> None:
    """All that ran true: a column a few px wide, as tall as there are streams."""
    top, bottom, narrow = where
    width = style.NARROW if narrow else style.WIDE
    shapes.append(style.line(0, top, width, top, style.LINE, layer="below"))
    columns: dict[int, int] = {}
    for percent in view.steady:
        column = round(px(percent) / 4)
        columns[column] = columns.get(column, 0) + 1
    tallest = max(columns.values(), default=1)
    step = min(4.0, (HEAP - 16) / tallest)
    for column, count in sorted(columns.items()):
        shapes.append(style.line(4 * column, bottom - 2, 4 * column, bottom - 2 - step * count, style.INK2, 2.4))
    shapes.append(style.line(px(-end_of(view)), bottom, px(end_of(view)), bottom, style.RULE))
    unit = "% of the tolerance moved; each line doubles the one before"
    if narrow:
        said = [*style.wrap(view.steady_words, width - 8, 6.6), *style.wrap(view.thin_words, width - 8, 6.4)]
        for k, line in enumerate(said[:4]):
            texts.append(style.words(8, bottom + 16 + 17 * k, line, size=12, colour=style.INK))
        return
    for k, line in enumerate(style.wrap(view.steady_words, AXIS[0] - 24, 7.4)[:3]):
        texts.append(style.words(8, top + 20 + 19 * k, line, size=14, bold=k == 0, colour=style.INK))
    for k, line in enumerate(style.wrap(view.thin_words, width - AXIS[1] - 24, 6.8)[:3]):
        texts.append(style.words(AXIS[1] + 24, top + 20 + 17 * k, line, size=13))
    texts.append(style.words(AXIS[1], bottom + 14, unit, size=12, colour=style.INK3, at="right"))
