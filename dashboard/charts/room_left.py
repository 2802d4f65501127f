"""Room left: a row a characteristic, a dot a model at the share of its tolerance that it needs, the board what it has.

Forty models are forty dots in the same row. The largest of a row is in blue with its name; a ring is no promise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]
PITCH, NARROW_PITCH, NARROW_LINES = 42, 74, 3
LEFT, RIGHT = 220, 330  # px of the names and of the words
BEYOND = 0.06  # of the axis, kept for what no tolerance would hold


@dataclass(frozen=True)
class Need:
    """One model: tolerances it needs with their interval (None: more than any), a promise or not."""

    model: str
    need: float | None
    low: float | None
    high: float | None
    promise: bool
    key: str = ""
    told: str = ""


@dataclass(frozen=True)
class NeedRow:
    """A characteristic, its models with the hungriest first, and its words at the right."""

    name: str
    needs: Sequence[Need]
    words: str


def room_left(rows: Sequence[NeedRow], *, end: float = 2.0, narrow: bool = False) -> Figure:
    """The chart; `end` is the tolerances at the end of the axis, past the largest dot."""
    if not rows:
        return style.empty("No series has limits asked and readings yet.", narrow=narrow)
    width = style.NARROW if narrow else style.WIDE
    left, right = (6, width - 8) if narrow else (LEFT, width - RIGHT)
    pitch, head = (NARROW_PITCH, 52) if narrow else (PITCH, 56)
    words = [style.wrap_to(row.words, width - 4, NARROW_LINES, 6.4) if narrow else [] for row in rows]
    pitches = [pitch + 17 * max(len(lines) - 1, 0) for lines in words]
    height = head + sum(pitches) + 8
    figure = style.sheet_of_pixels(width, height)
    shapes, texts = figure["shapes"], figure["annotations"]
    inner = (right - left) * (1 - BEYOND)

    def px(need: float | None) -> float:
        return right - 8 if need is None or need > end * 1.001 else left + inner * need / end

    one = px(1.0)
    if not narrow:
        shapes.append(style.box(left, head, one, height - 8, style.BOARD))
    shapes.append(style.line(one, head - 4, one, height - 4, style.BOARDEDGE, 2, layer="below"))
    texts.append(style.words(one, 12, "the whole tolerance", size=13, colour=style.BOARDTEXT, bold=True, at="center"))
    texts.append(style.words(one - 8, 34, "has room", colour=style.BOARDTEXT, at="right", size=12 if narrow else 13))
    texts.append(
        style.words(one + 8, 34, "needs more" if narrow else "needs more than it has", size=12 if narrow else 13)
    )
    step = 1 if end <= 6 else 5 if end <= 30 else 25
    for times in range(1 + step, int(end) + 1, step):
        x = px(float(times))
        shapes.append(style.line(x, head, x, height - 8, style.LINE, layer="below"))
        if x - one > (110 if narrow else 190):
            texts.append(style.words(x, 34, f"{times} times it", size=12, colour=style.INK3, at="center"))
    spots: list[tuple[float, float, str, str]] = []
    looks: dict[str, list[tuple[float, float]]] = {"dot": [], "ring": [], "first": [], "first ring": []}
    for k, row in enumerate(rows):
        top = head + sum(pitches[:k])
        y = top + (pitches[k] - 20 if narrow else 24)
        shapes.append(style.line(0, top + pitches[k], width, top + pitches[k], style.LINE, layer="below"))
        if narrow:
            shapes.append(style.box(left, y - 12, one, y + 12, style.BOARD))
        if narrow:
            texts.append(style.words(0, top + 14, row.name, bold=True, colour=style.INK))
            for at_line, line in enumerate(words[k]):
                texts.append(style.words(0, top + 31 + 17 * at_line, line, size=12, halo=style.CARD))
        else:
            texts.append(style.words(0, y, row.name, size=14))
            said = style.wrap_to(row.words, width - right - 22, 2, 7.0)
            for at_line, line in enumerate(said):
                texts.append(style.words(right + 22, y + 17 * at_line - 8.5 * (len(said) - 1), line, size=14))
        for place, need in enumerate(reversed(row.needs)):
            first = place == len(row.needs) - 1
            x, colour = px(need.need), style.FOCUS if first else style.INK
            if need.low is not None:
                at = {"layer": "below"}
                shapes.append(style.line(px(need.low), y, px(need.high), y, colour if first else style.RULE, 1.6, **at))
            looks[("first" if first else "dot") if need.promise else ("first ring" if first else "ring")].append((x, y))
            spots.append((x, y, need.key, need.told))
            if first and not narrow:
                half = style.width_of(need.model) / 2
                middle = min(max(x, left + half), right - half)
                name = style.words(
                    middle, y - 14, need.model, bold=True, colour=style.FOCUSTEXT, at="center", halo=style.CARD
                )
                texts.append(name)
    data = [
        _marks(looks["dot"], 10, style.INK, style.INK),
        _marks(looks["ring"], 9, style.CARD, style.INK),
        _marks(looks["first"], 13, style.FOCUS, style.FOCUS),
        _marks(looks["first ring"], 12, style.CARD, style.FOCUS),
        style.touch("needs", 18, spots),
    ]
    return {"data": data, "layout": figure}


def _marks(places: Sequence[tuple[float, float]], size: float, fill: str, edge: str) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [x for x, _ in places],
        "y": [y for _, y in places],
        "marker": {"size": size, "color": fill, "line": {"width": 1.6, "color": edge}},
        "hoverinfo": "skip",
    }
