"""All streams at a glance: a straightedge a stream, characteristics by models, all on one scale.

One trace a kind for the whole rack, cut by nulls, so that a hundred streams cost a handful of traces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]
ROW, HEAD = 30, 46  # px
NARROW_ROW, NARROW_HEAD = 46, 42


@dataclass(frozen=True)
class RackRow:
    """A characteristic at a position; `within` sets it in under the row above ("string 2" under "In tune at 12, string
    1").
    """

    name: str
    within: bool = False


@dataclass(frozen=True)
class RackColumn:
    """A model, and below it a short note ("tenor ukulele, 81")."""

    name: str
    note: str = ""


@dataclass(frozen=True)
class RackCell:
    """One stream: `line` is its average over the weeks as shares of the scale (1 = the scale's end: a fifth of the
    tolerance, or two sigma).
    """

    row: int
    column: int
    state: str  # steady | moved | thin
    line: Sequence[float | None] = ()  # evenly spread in time, oldest first, None before its first reading
    light_from: int | None = None  # place in `line` where the light begins
    key: str = ""  # handed back when the cell is clicked
    words: str = ""  # what the pointer is told


@dataclass(frozen=True)
class RackView:
    """The rack; `chosen` is the key of the cell in the blue frame."""

    rows: Sequence[RackRow]
    columns: Sequence[RackColumn]
    cells: Sequence[RackCell]
    chosen: str = ""


def rack(view: RackView, *, narrow: bool = False) -> Figure:
    """The rack; on a phone each row's name stands above its cells."""
    if not view.cells:
        return style.empty("No series has a reading yet.", narrow=narrow)
    width = style.NARROW if narrow else style.WIDE
    names = max((len(row.name) for row in view.rows), default=0)
    left = 0 if narrow else min(230, max(110, int(names * style.CHARACTER) + 14))
    pitch = (width - left) / len(view.columns)
    inner = pitch - (6 if narrow else 16)
    height = (NARROW_HEAD + NARROW_ROW * len(view.rows)) if narrow else (HEAD + ROW * len(view.rows) + 4)
    figure = style.sheet_of_pixels(width, height)
    shapes, texts = figure["shapes"], figure["annotations"]
    shallow = 11 if narrow else 12  # px at the end of the scale

    def middle(row: int) -> float:
        return NARROW_HEAD + NARROW_ROW * row + 30 if narrow else HEAD + ROW * row + ROW / 2

    _heads(view, texts, left, pitch, inner, narrow)
    for number, row in enumerate(view.rows):
        top = middle(number) - (30 if narrow else ROW / 2)
        shapes.append(style.line(left if row.within and not narrow else 0, top, width, top, style.LINE, layer="below"))
        if narrow:
            texts.append(style.words(0, top + 13, _full(view.rows, number), size=12))
        else:
            at, start = ("right", left - 26) if row.within else ("left", 0)
            texts.append(style.words(start, middle(number), row.name, size=14, at=at))

    edge, steady, before, moved, thin = _Line(), _Line(), _Line(), _Line(), _Line()
    light_x: list[float | None] = []
    light_y: list[float | None] = []
    spots: list[tuple[float, float, str, str]] = []
    for cell in view.cells:
        x0, y0 = left + pitch * cell.column, middle(cell.row)
        edge.add([x0, x0 + inner], [y0, y0])
        n = len(cell.line)
        places = [x0 + inner * k / max(n - 1, 1) for k in range(n)]
        seen = [k for k, v in enumerate(cell.line) if v is not None]
        x = [places[k] for k in seen]
        y = [y0 - shallow * min(max(v, -1.15), 1.15) for v in cell.line if v is not None]
        if cell.state == "thin":
            thin.add([x0 + inner - 4 - k * (3.4 if narrow else 7) for k in (2, 1, 0)], [y0] * 3)
        elif cell.state == "moved" and cell.light_from is not None and seen:
            k = min(sum(place < cell.light_from for place in seen), len(seen) - 1)
            light_x += [*x[k:], *x[k:][::-1], None]
            light_y += [*y[k:], *([y0] * (len(y) - k)), None]
            before.add(x[: k + 1], y[: k + 1])
            moved.add(x[k:], y[k:])
        else:
            (before if cell.state == "moved" else steady).add(x, y)
        for share in (0.08, 0.3, 0.5, 0.7, 0.92):
            spots.append((x0 + inner * share, y0, cell.key, cell.words))
        if view.chosen and cell.key == view.chosen:
            half = (NARROW_ROW - 18) / 2 if narrow else ROW / 2
            shapes.append(
                style.box(
                    x0 - 4, y0 - half, x0 + inner + 4, y0 + half, "rgba(0,0,0,0)", layer="above", edge=style.FOCUS
                )
            )
            shapes[-1]["line"]["width"] = 2
    data = [
        {
            "type": "scatter",
            "mode": "lines",
            "x": light_x,
            "y": light_y,
            "fill": "toself",
            "fillcolor": style.LIGHT_FILL,
            "line": {"width": 0, "color": style.LIGHT_FILL},
            "hoverinfo": "skip",
        },
        edge.trace(style.RULE, 1),
        steady.trace(style.INK2, 1.2),
        before.trace(style.INK, 1.6),
        moved.trace(style.MOVED, 2.6),
        {
            "type": "scatter",
            "mode": "markers",
            "x": thin.x,
            "y": thin.y,
            "marker": {"size": 3.4, "color": style.INK3},
            "hoverinfo": "skip",
        },
        {
            "type": "scatter",
            "mode": "markers",
            "name": "cells",
            "x": [s[0] for s in spots],
            "y": [s[1] for s in spots],
            "marker": {"size": 24, "symbol": "square", "opacity": 0, "color": style.INK},
            "customdata": [[s[2], s[3]] for s in spots],
            "hovertemplate": "%{customdata[1]}<extra></extra>",
        },
    ]
    return {"data": data, "layout": figure}


class _Line:
    """Many lines in one trace, a null between two."""

    def __init__(self) -> None:
        self.x: list[float | None] = []
        self.y: list[float | None] = []

    def add(self, x: Sequence[float], y: Sequence[float]) -> None:
        if x:
            self.x += [*x, None]
            self.y += [*y, None]

    def trace(self, colour: str, width: float) -> Figure:
        line = {"color": colour, "width": width}
        return {"type": "scatter", "mode": "lines", "x": self.x, "y": self.y, "line": line, "hoverinfo": "skip"}


def _heads(view: RackView, texts: list[Figure], left: float, pitch: float, inner: float, narrow: bool) -> None:
    """Names of the models; two steps on a phone, shortened where a column is too small for them."""
    for number, column in enumerate(view.columns):
        x = left + pitch * number
        size = 12 if narrow or style.width_of(column.name, 14) > inner else 14
        room = pitch * 2 if narrow else pitch
        last = number == len(view.columns) - 1
        name = _cut(column.name, pitch if narrow and last else room - 4, size)
        y = 12 + 16 * (number % 2) if narrow else 12
        texts.append(style.words(x, y, name, size=size, colour=style.INK, bold=True))
        if column.note and not narrow:
            texts.append(style.words(x, 30, _cut(column.note, pitch - 4, 12), size=12, colour=style.INK3))


def _cut(text: str, room: float, size: int) -> str:
    fits = int(room / (style.CHARACTER * size / 13 * 0.93))
    return text if len(text) <= fits else text[: max(fits - 1, 1)].rstrip(" ,-") + "."


def _full(rows: Sequence[RackRow], number: int) -> str:
    """On a phone a set-in row says whose it is."""
    if not rows[number].within:
        return rows[number].name
    head = next((rows[k].name for k in range(number - 1, -1, -1) if not rows[k].within), "")
    return f"{head.rpartition(',')[0] or head}, {rows[number].name}"
