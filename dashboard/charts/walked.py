"""One instrument's story: the bench as a line and what came to it, its loops as arrows back, its readings on their
boards.

Above, a dot at each bench it came to, larger where it came more than once. Then a lane a send-back, from where it was
caught back to where it was sent, and a board a reading: limits with their numbers, target, the last value as a dot,
earlier ones as rings. All three stand on one pair of ends, so that the eye need not move.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]
ENDS, WORDS = (220, 780), 804  # px of the bench's ends, and where what is said of a row begins
HEAD, LANE, BOARD_ROW = 64, 40, 32
NARROW_LANE, NARROW_BOARD = 82, 58
PAD = 0.25  # of the width between the limits, left free at each side of a board


@dataclass(frozen=True)
class Loop:
    """One send-back: its fault, from which bench to which (places, 1 is the first; None not known or off the bench)."""

    fault: str
    caught: int | None
    caused: int | None
    confirmed: bool
    words: str  # "play test back to nut slotting, 22 min of work, 1.2 days away"


@dataclass(frozen=True)
class Board:
    """The values of one reading in time order on what is asked of it; `words` say them with their unit, `short` the
    last alone, `low` and `high` the limits.
    """

    name: str
    values: Sequence[float]
    outside: Sequence[bool]
    words: str
    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    short: str = ""
    low: str = ""
    high: str = ""


@dataclass(frozen=True)
class WalkView:
    """stages: names in bench order; came: how often it came to each; last: the place of its last visit."""

    stages: Sequence[str]
    came: Sequence[int]
    last: int | None
    last_words: str
    loops: Sequence[Loop] = field(default=())
    boards: Sequence[Board] = field(default=())


def walked(view: WalkView, *, narrow: bool = False) -> Figure:
    """The picture."""
    width = style.NARROW if narrow else style.WIDE
    ends = (4.0, width - 4.0) if narrow else (float(ENDS[0]), float(ENDS[1]))
    lane, row = (NARROW_LANE, NARROW_BOARD) if narrow else (LANE, BOARD_ROW)
    height = HEAD + lane * len(view.loops) + row * len(view.boards) + 10
    figure = style.sheet_of_pixels(width, height)
    shapes, texts = figure["shapes"], figure["annotations"]
    pitch = (ends[1] - ends[0]) / max(len(view.stages), 1)

    def px(place: int | None) -> float:
        return ends[0] - 10 if place is None else ends[0] + pitch * (place - 0.5)

    _bench(view, shapes, texts, ends, px)
    y = HEAD
    for loop in view.loops:
        _loop(loop, shapes, texts, y, px, width=width, narrow=narrow)
        y += lane
    for board in view.boards:
        _board(board, shapes, texts, y, ends, width=width, narrow=narrow)
        y += row
    return {"data": [], "layout": figure}


def _bench(view: WalkView, shapes: list[Figure], texts: list[Figure], ends: tuple[float, float], px: Any) -> None:
    """The bench with its numbers, a dot where it came, the name of where it stands."""
    top, bottom, y = 22, 40, 52
    shapes.append(style.box(ends[0], top, ends[1], bottom, style.BOARD))
    if ends[0] == ENDS[0]:
        texts.append(style.words(0, (top + bottom) / 2, "The bench", size=14, bold=True, colour=style.INK))
    room = (ends[1] - ends[0]) / max(len(view.stages), 1)
    for place, came in enumerate(view.came, start=1):
        if place > 1:
            x = px(place) - room / 2
            shapes.append(style.line(x, top, x, bottom, style.CARD, 2, layer="below"))
        if room >= 15 or place in (1, view.last, len(view.stages)):
            bold = place == view.last
            look: dict[str, Any] = {"size": 12, "at": "center", "bold": bold, "colour": style.BOARDTEXT}
            texts.append(style.words(px(place), (top + bottom) / 2, str(place), **look))
        if came:
            shapes.append(_spot(px(place), y, 3.0 if came == 1 else 5.0, style.INK))
    if view.last is not None:
        x, at = px(view.last), "center"
        half = style.width_of(view.last_words, 12) / 2
        if x - half < 0:
            x, at = ends[0], "left"
        elif x + half > ends[1]:
            x, at = ends[1], "right"
        texts.append(style.words(x, 10, view.last_words, size=12, bold=True, colour=style.INK, at=at))


def _spot(x: float, y: float, radius: float, fill: str, edge: str = style.INK) -> Figure:
    at = {"xsizemode": "pixel", "ysizemode": "pixel", "xanchor": x, "yanchor": y}
    ends = {"x0": -radius, "x1": radius, "y0": -radius, "y1": radius}
    line = {"width": 1.4, "color": edge}
    return {"type": "circle", "opacity": 1, "layer": "above", **at, **ends, "fillcolor": fill, "line": line}


def _loop(
    loop: Loop, shapes: list[Figure], texts: list[Figure], top: float, px: Any, *, width: float, narrow: bool
) -> None:
    """An arrow from where it was caught back to where it was sent; dashed where nobody confirmed the cause."""
    shapes.append(style.line(0, top, width, top, style.LINE, layer="below"))
    y = top + (NARROW_LANE - 12 if narrow else LANE / 2)
    name_y, words_y = (top + 14, top + 32) if narrow else (y, y)
    room = width if narrow else ENDS[0] - 30
    texts.append(style.words(0, name_y, style.wrap_to(loop.fault, room, 1)[0], size=14, bold=True, colour=style.INK))
    said = style.wrap_to(loop.words, width if narrow else width - WORDS, 2, 6.3)
    for k, line in enumerate(said):
        place = words_y + 17 * k - (0 if narrow else 8.5 * (len(said) - 1))
        texts.append(style.words(0 if narrow else WORDS, place, line, size=13))
    if loop.caught is None:
        return
    start, end = px(loop.caught), px(loop.caused)
    dash = "solid" if loop.confirmed else "4px,3px"
    if abs(start - end) < 12:  # sent back to where it was caught
        shapes.append(_spot(start, y, 5.0, style.BACK, style.BACKMARK))
        return
    shapes.append(style.line(start, y, end + 8, y, style.BACKMARK, 3, dash=dash))
    shapes.append(_spot(start, y, 4.0, style.BACK, style.BACKMARK))
    d = f"M{end:.1f},{y}L{end + 11:.1f},{y - 6}L{end + 11:.1f},{y + 6}Z"
    shapes.append(style.path(d, fill=style.BACK, edge=style.BACKMARK, width=1))
    if loop.caused is not None:
        texts.append(style.words(end - 5, y, str(loop.caused), size=12, colour=style.INK3, at="right"))
    texts.append(style.words(start + 8, y, str(loop.caught), size=12, colour=style.INK3))


def _board(
    board: Board,
    shapes: list[Figure],
    texts: list[Figure],
    top: float,
    ends: tuple[float, float],
    *,
    width: float,
    narrow: bool,
) -> None:
    """Limits as a board, target as its middle line, values on it."""
    shapes.append(style.line(0, top, width, top, style.LINE, layer="below"))
    y = top + (NARROW_BOARD - 16 if narrow else BOARD_ROW / 2)
    name_y = top + 14 if narrow else y
    room = width * 0.52 if narrow else ENDS[0] - 12
    texts.append(style.words(0, name_y, style.wrap_to(board.name, room, 1, 6.8)[0], size=14, colour=style.INK))
    right = width * 0.48 if narrow else width - WORDS
    said = style.wrap_to(board.short if narrow and board.short else board.words, right, 1, 6.3)[0]
    at = "right" if narrow else "left"
    texts.append(style.words(width if narrow else WORDS, name_y, said, size=13, bold=any(board.outside), at=at))
    low, high = _span(board)

    def x(value: float) -> float:
        return ends[0] + (ends[1] - ends[0]) * (value - low) / (high - low)

    left = x(board.lower) if board.lower is not None else ends[0]
    end = x(board.upper) if board.upper is not None else ends[1]
    if board.lower is not None or board.upper is not None:
        shapes.append(style.box(left, y - 9, end, y + 9, style.BOARD))
        for value in (board.lower, board.upper):
            if value is not None:
                shapes.append(style.line(x(value), y - 11, x(value), y + 11, style.BOARDEDGE, 2))
        if board.target is not None:
            at_target = x(board.target)
            shapes.append(style.line(at_target, y - 9, at_target, y + 9, style.BOARDEDGE, 1.4, dash="2px,3px"))
    else:
        shapes.append(style.line(ends[0], y, ends[1], y, style.LINE))
    _limits(board, texts, left, end, y)
    for k, (value, out) in enumerate(zip(board.values, board.outside, strict=True), start=1):
        if out:
            a, b = x(value) - 5, x(value) + 5
            shapes += [style.line(a, y - 5, b, y + 5, style.INK, 2), style.line(a, y + 5, b, y - 5, style.INK, 2)]
        else:
            shapes.append(_spot(x(value), y, 4.0, style.INK if k == len(board.values) else style.CARD))


def _limits(board: Board, texts: list[Figure], left: float, end: float, y: float) -> None:
    """The limits as numbers beside the board's ends; on a side where a value lies beyond, the words say the limit."""
    for limit, words, x, side in ((board.lower, board.low, left - 6, -1), (board.upper, board.high, end + 6, 1)):
        if limit is not None and words and all(side * (value - limit) <= 0 for value in board.values):
            texts.append(style.words(x, y, words, size=12, colour=style.INK3, at="right" if side < 0 else "left"))


def _span(board: Board) -> tuple[float, float]:
    """The ends of a board: its limits and values, with room at each side."""
    known = [v for v in (board.lower, board.upper, board.target, *board.values) if v is not None]
    low, high = min(known), max(known)
    pad = PAD * ((high - low) or abs(high) or 1.0)
    return low - pad, high + pad
