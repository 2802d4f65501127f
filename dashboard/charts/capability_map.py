"""Capability map: every model and characteristic on its board, one scale in shares of tolerance; no colour by value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]
SHOWN = 1.64  # width of a cell in tolerances; the board takes one of them


@dataclass(frozen=True)
class MapCell:
    """One stream under its limits. Places are shares of the tolerance: 0 is the lower limit, 1 the upper one.

    Where only one side has a limit, whoever fills this sets the other end so that the middle 99.7 % is one tolerance
    wide.
    """

    row: int
    column: int
    low: float | None = None  # middle 99.7 %
    quarter: float | None = None  # middle half
    mean: float | None = None
    three_quarters: float | None = None
    high: float | None = None
    has_lower: bool = True
    has_upper: bool = True
    ppk: str = ""  # "1.52"
    bounds: str = ""  # "1.31 to 1.73"
    flags: str = ""  # "not steady, coarse"
    instead: str = ""  # what stands where there is nothing to draw: "no limits", "11 readings"
    key: str = ""
    told: str = ""


@dataclass(frozen=True)
class MapView:
    """Rows are characteristics at positions, columns are models."""

    rows: Sequence[str]
    columns: Sequence[str]
    cells: Sequence[MapCell]


def capability_map(view: MapView, *, narrow: bool = False) -> Figure:
    """The map; two cells abreast on a phone."""
    if not view.cells:
        return style.empty("No series has limits asked and readings yet.", narrow=narrow)
    if narrow:
        return _narrow(view)
    names = min(210, max(110, max(len(row) for row in view.rows) * 7 + 14))
    pitch = (style.WIDE - names) / len(view.columns)
    tight = pitch < 136
    height = 64 + (18 if tight else 0)
    tops, top = [], 34
    for k in range(len(view.rows)):
        tops.append(top)
        top += height + 16 * max((len(_flag_lines(c, pitch - 18)) for c in view.cells if c.row == k), default=0)
    figure = style.sheet_of_pixels(style.WIDE, top)
    texts, spots = figure["annotations"], []
    for k, column in enumerate(view.columns):
        texts.append(
            style.words(
                names + pitch * k + pitch * 0.02,
                12,
                column,
                size=14 if pitch > 110 else 12,
                bold=True,
                colour=style.INK,
            )
        )
    for k, row in enumerate(view.rows):
        texts.append(style.words(0, tops[k] + 14, row, size=14))
    for cell in view.cells:
        spots.append(_cell(cell, figure, names + pitch * cell.column, tops[cell.row], pitch - 18, tight=tight))
    return {"data": [style.touch("cells", 28, spots)], "layout": figure}


def _narrow(view: MapView) -> Figure:
    pitch, height = style.NARROW / 2, 82
    figure = style.sheet_of_pixels(style.NARROW, 10)
    shapes, texts, spots, top = figure["shapes"], figure["annotations"], [], 4
    for k, row in enumerate(view.rows):
        cells = [cell for cell in view.cells if cell.row == k]
        if not cells:
            continue
        shapes.append(style.line(0, top, style.NARROW, top, style.LINE, layer="below"))
        texts.append(style.words(0, top + 16, row, size=14, bold=True, colour=style.INK))
        top += 32
        for j, cell in enumerate(cells):
            x, y = pitch * (j % 2), top + height * (j // 2)
            texts.append(style.words(x, y + 8, view.columns[cell.column], size=12, bold=True, colour=style.INK2))
            spots.append(_cell(cell, figure, x, y + 18, pitch - 14, tight=False))
        top += height * ((len(cells) + 1) // 2) + 16 * max(len(_flag_lines(c, pitch - 14)) for c in cells)
    figure["height"] = top
    figure["yaxis"]["range"] = [top, 0]
    return {"data": [style.touch("cells", 28, spots)], "layout": figure}


def _cell(
    cell: MapCell, figure: Figure, x: float, y: float, width: float, *, tight: bool
) -> tuple[float, float, str, str]:
    """Draws one cell into a figure; x, y, key and words of the spot that is touched."""
    shapes, texts = figure["shapes"], figure["annotations"]
    a, b = x + width * (SHOWN - 1) / 2 / SHOWN, x + width * (SHOWN + 1) / 2 / SHOWN
    told = (x + width / 2, y + 14, cell.key, cell.told or f"{cell.ppk} {cell.bounds}")
    if cell.mean is None or not (cell.has_lower or cell.has_upper):
        texts.append(style.words(x + width / 2, y + 14, cell.instead or "no limits", at="center", colour=style.INK3))
        return told

    def px(share: float) -> float:
        return min(max(a + (b - a) * share, x + 4), x + width - 4)

    shapes.append(style.box(a if cell.has_lower else x, y + 3, b if cell.has_upper else x + width, y + 25, style.BOARD))
    shapes += [
        style.line(end, y + 3, end, y + 25, style.BOARDEDGE, 2)
        for end, there in ((a, cell.has_lower), (b, cell.has_upper))
        if there
    ]
    if cell.low is not None and cell.high is not None:
        shapes.append(style.line(px(cell.low), y + 14, px(cell.high), y + 14, style.INK2, 1.8))
        for end, out in (
            (px(cell.low), cell.has_lower and cell.low < 0),
            (px(cell.high), cell.has_upper and cell.high > 1),
        ):
            if out:
                at: dict[str, Any] = {"xsizemode": "pixel", "ysizemode": "pixel", "xanchor": end, "yanchor": y + 14}
                shapes.append(style.path("M-3.5,-3.5L3.5,3.5M-3.5,3.5L3.5,-3.5", edge=style.INK, width=1.8, **at))
    if cell.quarter is not None and cell.three_quarters is not None:
        shapes.append(style.line(px(cell.quarter), y + 14, px(cell.three_quarters), y + 14, style.INK, 7))
    hole: dict[str, Any] = {
        "xsizemode": "pixel",
        "ysizemode": "pixel",
        "xanchor": px(cell.mean),
        "yanchor": y + 14,
        "x0": -2.6,
        "x1": 2.6,
        "y0": -2.6,
        "y1": 2.6,
    }
    shapes.append(
        {
            "type": "circle",
            "opacity": 1,
            "layer": "above",
            **hole,
            "fillcolor": style.CARD,
            "line": {"width": 0, "color": style.CARD},
        }
    )
    text_x = a if a + 100 < x + width + 14 else x
    texts.append(style.words(text_x, y + 38, cell.ppk, size=14, bold=True, colour=style.INK))
    if cell.bounds:
        texts.append(
            style.words(
                text_x, y + (54 if tight else 38), cell.bounds, size=12, colour=style.INK3, xshift=0 if tight else 34
            )
        )
    for k, line in enumerate(_flag_lines(cell, width)):
        texts.append(style.words(text_x, y + (70 if tight else 54) + 15 * k, line, size=12, colour=style.INK2))
    return told


def _flag_lines(cell: MapCell, width: float) -> list[str]:
    """Flags in one line where they fit, else each in its own."""
    fits = len(cell.flags) * 6.2 < width
    return [line for line in ([cell.flags] if fits else cell.flags.split(", ")) if line]
