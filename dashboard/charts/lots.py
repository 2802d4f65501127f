"""Lot strip: one dot a neck stacked on the board, crosses outside, rings on the limit; beside it the neck under the
straightedge, n of N, and the plan's word.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.dots import ticks
from dashboard.charts.glyphs import glyph
from dashboard.charts.stacks import stacked

Figure = dict[str, Any]
DEEP = 60  # px of drawn hollow a millimetre of bow
PITCH, HEAD = 62, 50
PLACES = {
    "wide": (155, 318, 770, 790, 935),
    "paper": (122, 228, 436, 448, 583),
}  # px: profile, strip from and to, figures, the plan's word
PAPER = 688
NARROW_PITCH = 130


@dataclass(frozen=True)
class LotRow:
    """One lot: readings (one a neck, in the shown unit; hollow above 0), limits in force, and its figures in words."""

    supplier: str
    lot: str
    received: str  # "2 Nov"
    values: Sequence[float]
    necks: Sequence[str]  # serial or neck number, for the pointer
    lower: float | None
    upper: float | None
    mean: float | None
    half: float | None  # half of the mean's 95 % interval
    outside: str  # "6 of 50 outside"
    interval: str  # "5 to 24 % in the lot"
    verdict: str = ""  # take | bring | too-few | ""
    verdict_words: str = ""  # "take", "bring to the supplier", "measure 19 more"
    in_question: bool = False
    href: str = ""
    on_limit: str = ""  # "9 on the limit", on a line of its own
    marks: str | None = None  # a letter a reading: x outside, = on the limit, - inside; None: nothing is said of them


@dataclass(frozen=True)
class LotsView:
    """Lots as they are to stand, one supplier's together. px_of_mm is 60 where the unit is mm, 60 x 25.4 where it is
    inches.
    """

    lots: Sequence[LotRow]
    unit: str = "mm"
    decimals: int = 2
    px_of_unit: float = DEEP
    low_word: str = "hump"
    zero_word: str = "straight"
    high_word: str = "hollow"


def lots(view: LotsView, *, narrow: bool = False, paper: bool = False) -> Figure:
    """The strip of all lots on one axis; `paper` for the width of a printed page."""
    real = [lot for lot in view.lots if len(lot.values)]
    if not real:
        return style.empty("No neck of these lots has been measured yet.", narrow=narrow)
    width = style.NARROW if narrow else PAPER if paper else style.WIDE
    profile, strip_from, strip_to, figures, verdicts = PLACES["paper" if paper else "wide"]
    head, pitch = (38, NARROW_PITCH) if narrow else (HEAD, PITCH)
    left, right = (10, width - 10) if narrow else (strip_from, strip_to)
    ends = (
        [v for lot in real for v in lot.values]
        + [x for lot in real for x in (lot.lower, lot.upper) if x is not None]
        + [0.0]
    )
    low, high = min(ends), max(ends)
    pad = (high - low) * 0.05 or 0.1
    low, high = low - pad, high + pad

    axis = _Axis(low, high, left, right)
    figure = style.sheet_of_pixels(width, head + pitch * len(real) + 4)
    shapes, texts = figure["shapes"], figure["annotations"]
    _figures(view, real, texts, axis, narrow=narrow)
    if not narrow:
        texts.append(style.words(profile, 12, "mean", colour=style.INK3))
        if any(lot.verdict for lot in real):
            texts.append(style.words(verdicts, 12, "agreed plan" if paper else "by the agreed plan", colour=style.INK3))
    dots: tuple[list[Any], ...] = ([], [], [])
    crosses: tuple[list[Any], ...] = ([], [], [])
    rings: tuple[list[Any], ...] = ([], [], [])
    before = None
    for k, lot in enumerate(real):
        top = head + pitch * k
        first = lot.supplier != before
        if first and k:
            shapes.append(style.line(0, top, width, top, style.LINE, layer="below"))
        before = lot.supplier
        strip_top, strip_bottom = (top + 44, top + 86) if narrow else (top + 8, top + 50)
        _strip(lot, shapes, axis, strip_top, strip_bottom)
        _stack(lot, {"-": dots, "x": crosses, "=": rings}, axis.px, strip_bottom, view)
        places = None if narrow else (profile, figures, verdicts)
        _said(view, lot, figure, top, width, first=first, places=places)
    data = [_marks(dots, "circle", 5, style.INK2), _marks(crosses, "x-thin", 7, style.INK)]
    return {"data": [*data, _marks(rings, "circle-open", 6, style.INK)], "layout": figure}


@dataclass(frozen=True)
class _Axis:
    """Values of all strips: low stands at px `left`, high at `right`."""

    low: float
    high: float
    left: float
    right: float

    def px(self, value: float) -> float:
        """Where a value stands."""
        return self.left + (self.right - self.left) * (value - self.low) / (self.high - self.low)


def _figures(view: LotsView, real: Sequence[LotRow], texts: list[Figure], axis: _Axis, *, narrow: bool) -> None:
    """Figures of the axis on top: limits in the board's colour, 0 by its word, round numbers where there is room."""
    limits = sorted({x for lot in real for x in (lot.lower, lot.upper) if x is not None})
    wanted = [(x, 0) for x in limits] + [(0.0, 1)] + [(t, 2) for t in ticks(axis.low, axis.high, 5)]
    taken: list[float] = []
    for value, rank in wanted:
        x = axis.px(value)
        if any(abs(x - other) < (46 if rank < 2 else 56) for other in taken):
            continue
        taken.append(x)
        board = rank == 0
        texts.append(
            style.words(
                x,
                10,
                numbers.plain(value, view.decimals) if rank != 1 else "0",
                size=12 if narrow else 13,
                at="center",
                bold=board,
                colour=style.BOARDTEXT if board else style.INK3,
            )
        )
        word = (
            view.zero_word
            if rank == 1
            else view.low_word
            if board and value < 0
            else view.high_word
            if board and value > 0
            else ""
        )
        if word and not narrow:
            unit = f", {view.unit}" if word == view.high_word else ""
            texts.append(style.words(x, 26, word + unit, size=12, at="center", colour=style.INK3))


def _strip(lot: LotRow, shapes: list[Figure], axis: _Axis, top: float, bottom: float) -> None:
    px, low, high = axis.px, axis.low, axis.high
    if lot.lower is not None or lot.upper is not None:
        a, b = px(lot.lower if lot.lower is not None else low), px(lot.upper if lot.upper is not None else high)
        shapes.append(style.box(a, top, b, bottom, style.BOARD))
        shapes += [
            style.line(px(x), top, px(x), bottom, style.BOARDEDGE, 2, layer="below")
            for x in (lot.lower, lot.upper)
            if x is not None
        ]
    shapes.append(style.line(px(0), top, px(0), bottom, style.RULE, 1.4, layer="below"))
    shapes.append(style.line(px(low), bottom, px(high), bottom, style.LINE, layer="below"))


def _stack(
    lot: LotRow, kinds: dict[str, tuple[list[Any], ...]], px: Callable[[float], float], bottom: float, view: LotsView
) -> None:
    """Readings one on the other, several abreast where there is room; closer where a column would leave its strip."""
    aside, above = stacked([px(value) for value in lot.values], high=38)
    for i, value in enumerate(lot.values):
        x, y, told = kinds[lot.marks[i] if lot.marks else "-"]
        x.append(px(value) + aside[i])
        y.append(bottom - 3.5 - above[i])
        told.append(f"{lot.necks[i]}<br>{lot.lot}: {numbers.with_unit(numbers.plain(value, view.decimals), view.unit)}")


def _said(
    view: LotsView,
    lot: LotRow,
    figure: Figure,
    top: float,
    width: float,
    *,
    first: bool,
    places: tuple[int, int, int] | None,
) -> None:
    """Name, profile, figures and the plan's word of one lot; without places for them one below the other."""
    shapes, texts = figure["shapes"], figure["annotations"]
    name = f'<a href="{lot.href}" target="_self">{lot.lot}</a>' if lot.href else lot.lot
    mean = "" if lot.mean is None else numbers.plain(lot.mean, view.decimals)
    if lot.half is not None and mean:
        mean = f"{mean} ± {numbers.plain(lot.half, view.decimals)}"
    mean = numbers.with_unit(mean, view.unit) if mean else ""
    if places is None:
        who = f"{lot.supplier}, " if first else ""
        texts.append(
            style.words(0, top + 14, f"{who}<b>{name}</b>, {lot.received}".rstrip(", "), size=14, colour=style.INK2)
        )
        if lot.verdict:
            shapes += glyph(lot.verdict, 9, top + 33)
            texts.append(_verdict(lot, 24, top + 33))
        texts.append(style.words(width, top + 33, mean, size=12, at="right", colour=style.INK2))
        texts.append(style.words(0, top + 102, f"<b>{lot.outside}</b>", size=13, colour=style.INK))
        texts.append(style.words(width, top + 102, lot.interval, size=12, at="right", colour=style.INK2))
        if lot.on_limit:
            texts.append(style.words(width, top + 118, lot.on_limit, size=12, at="right", colour=style.INK2))
        return
    profile, figures, verdicts = places
    if first:
        texts.append(style.words(0, top + 15, lot.supplier, size=13, colour=style.INK3))
    texts.append(style.words(0, top + 36, f"<b>{name}</b>", size=15, colour=style.FOCUSTEXT if lot.href else style.INK))
    texts.append(style.words(style.width_of(lot.lot, 15) * 1.06 + 8, top + 36, lot.received, colour=style.INK3))
    _profile(lot, shapes, profile, top + 8, view.px_of_unit)
    texts.append(style.words(profile, top + 50, mean, colour=style.INK2))
    said, step = (top + 12, 18) if lot.on_limit else (top + 20, 19)
    texts.append(style.words(figures, said, f"<b>{lot.outside}</b>", size=14, colour=style.INK))
    texts.append(style.words(figures, said + step, lot.interval, colour=style.INK2))
    if lot.on_limit:
        texts.append(style.words(figures, said + 2 * step, lot.on_limit, colour=style.INK2))
    if lot.verdict:
        shapes += glyph(lot.verdict, verdicts + 9, top + 29)
        texts.append(_verdict(lot, verdicts + 25, top + 29))


def _verdict(lot: LotRow, x: float, y: float) -> Figure:
    return style.words(
        x, y, lot.verdict_words, size=14, bold=True, colour=style.MOVEDTEXT if lot.verdict == "bring" else style.INK
    )


def _profile(lot: LotRow, shapes: list[Figure], x: float, top: float, deep: float) -> None:
    """A neck under the straightedge, its mean bow drawn `deep` px a unit."""
    if lot.mean is None or math.isnan(lot.mean):
        return
    depth = min(abs(lot.mean) * deep, 20)
    x1, y = x + 92, top + 3
    ends, middle = (0.0, depth) if lot.mean >= 0 else (depth, 0.0)
    curve = f"M{x},{y + ends}Q{(x + x1) / 2},{y + 2 * middle - ends} {x1},{y + ends}"
    shapes.append(
        style.path(
            f"{curve}L{x1},{y + 28}L{x},{y + 28}Z", fill=style.BOARD, edge=style.BOARDEDGE, width=1, layer="below"
        )
    )
    light = style.LIGHT_FILL if lot.in_question else style.SUNK
    shapes.append(
        style.path(
            f"{curve}L{x1},{y}L{x},{y}Z", fill=light, edge=style.MOVED if lot.in_question else style.RULE, width=1
        )
    )
    shapes.append(style.line(x - 3, y - 1, x1 + 3, y - 1, style.INK, 3))


def _marks(spots: tuple[list[Any], ...], symbol: str, size: int, colour: str) -> Figure:
    x, y, told = spots
    marker = {"symbol": symbol, "size": size, "color": colour, "opacity": 0.75 if symbol == "circle" else 1}
    marker["line"] = {"width": 0 if symbol == "circle" else 1.8, "color": colour}
    return {
        "type": "scatter",
        "mode": "markers",
        "x": x,
        "y": y,
        "customdata": [[t] for t in told],
        "marker": marker,
        "hovertemplate": "%{customdata[0]}<extra></extra>",
    }
