"""What causes it, where it is caught: a lane a cause, an arrow from where it was caught back to where it was caused.

The arrow is as thick as what is still under way and thins where some was caught; its core is what somebody confirmed.
Nothing can cross: one lane, one label a column. The row goes on as figures. On a phone a lane is a bar cut where it was
caught.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]
PITCH, NARROW_PITCH, HEAD = 44, 66, 124
LAST_PITCH = 38  # px of a row after the lanes: two lines of figures clear of the next row's
THICK, THIN = 34.0, 1.2  # px of the largest lane and of the smallest
NAMES, BENCH_END, COLUMNS = 190, 770, (862, 944, 1022, 1078, 1150)  # px: bench, then right ends of the figures
SLOPE = 7  # px over which an arrow thins
APART = 34  # px between two labels side by side


@dataclass(frozen=True)
class Catch:
    """What one stage caught of a cause: its place on the bench (1 is the first stage), amount, and its figure."""

    place: int
    amount: float
    words: str


@dataclass(frozen=True)
class Lane:
    """A cause: its place (0 supplier, None unknown or handling), its catches, the share of it that is confirmed."""

    name: str
    place: int | None
    catches: Sequence[Catch]
    confirmed: float
    figures: Sequence[str]  # one a column: amount, its 95 %, before, money, sent back, confirmed
    main: bool = True  # of those that make four fifths
    key: str = ""
    told: str = ""

    @property
    def amount(self) -> float:
        """All of it."""
        return sum(catch.amount for catch in self.catches)


@dataclass(frozen=True)
class LanesView:
    """stages: names in bench order; caught: (place, name, words) of those that catch something; lanes most first;
    headings of the figures in two lines; last: name and figures of what is left over, then of all.
    """

    stages: Sequence[str]
    caught: Sequence[tuple[int, str, str]]
    lanes: Sequence[Lane]
    headings: Sequence[str]
    last: Sequence[tuple[str, Sequence[str]]] = field(default=())


def lanes(view: LanesView, *, narrow: bool = False) -> Figure:
    """The chart; says so where nothing came back."""
    if not view.lanes:
        return style.empty("Nothing was sent back.", narrow=narrow)
    return _standing(view) if narrow else _lying(view)


def _lying(view: LanesView) -> Figure:
    height = HEAD + PITCH * len(view.lanes) + LAST_PITCH * len(view.last) + 6
    figure = style.sheet_of_pixels(style.WIDE, height)
    shapes, texts = figure["shapes"], figure["annotations"]
    pitch = (BENCH_END - NAMES - 24) / max(len(view.stages), 1)

    def px(place: int | None) -> float:
        return NAMES + 6 if not place else NAMES + 24 + pitch * (place - 0.5)

    _head(view, shapes, texts, px, pitch)
    foot = HEAD + PITCH * len(view.lanes)
    for place, _, _ in view.caught:
        shapes.append(style.line(px(place), HEAD - 8, px(place), foot, style.LINE, layer="below"))
    largest = max(lane.amount for lane in view.lanes) or 1.0
    spots: list[tuple[float, float, str, str]] = []
    for k, lane in enumerate(view.lanes):
        y = HEAD + PITCH * k + PITCH / 2 + 4
        shapes.append(style.line(0, HEAD + PITCH * k, style.WIDE, HEAD + PITCH * k, style.LINE, layer="below"))
        texts.append(style.words(0, y, lane.name, size=14, bold=lane.main, colour=style.INK))
        _arrow(lane, shapes, texts, y, largest, px)
        _figures(lane.figures, texts, y, bold=True)
        spots += [
            (x, y, lane.key, lane.told) for x in (20, 80, px(lane.place), *(px(catch.place) for catch in lane.catches))
        ]
    for k, (name, figures) in enumerate(view.last):
        y, end = foot + LAST_PITCH * k, k == len(view.last) - 1
        shapes.append(style.line(0, y, style.WIDE, y, style.INK if end else style.LINE, 1.6 if end else 1))
        texts.append(style.words(0, y + LAST_PITCH / 2, name, size=14, bold=end, colour=style.INK))
        _figures(figures, texts, y + LAST_PITCH / 2, bold=end)
    return {"data": [style.touch("lanes", 32, spots)], "layout": figure}


def _head(view: LanesView, shapes: list[Figure], texts: list[Figure], px: Any, pitch: float) -> None:
    """The bench with its frets and numbers, the stages that catch, the headings of the figures."""
    top, bottom = HEAD - 34, HEAD - 14
    texts.append(style.words(0, 72, "caused at", size=12, colour=style.INK3))
    shapes.append(style.box(NAMES + 24, top, BENCH_END, bottom, style.BOARD))
    shapes.append(style.line(NAMES + 22, top - 3, NAMES + 22, bottom + 3, style.INK, 4))
    for k in range(1, len(view.stages)):
        x = NAMES + 24 + pitch * k
        shapes.append(style.line(x, top, x, bottom, style.CARD, 2, layer="below"))
    catching = {place for place, _, _ in view.caught}
    for place in range(1, len(view.stages) + 1):
        if pitch >= 18 or place in catching or place in (1, len(view.stages)):
            look: dict[str, Any] = {"size": 12, "at": "center", "bold": place in catching, "colour": style.BOARDTEXT}
            texts.append(style.words(px(place), (top + bottom) / 2, str(place), **look))
    taken: list[tuple[float, float, float]] = []  # middle, height, half the width
    for place, name, words in view.caught:  # most first: who has no room stands higher, then only as a number
        half, x = max(style.width_of(name, 12), style.width_of(words, 12)) / 2, px(place)
        y = next((y for y in (56, 22) if all(y != at or abs(x - a) > half + b + 6 for a, at, b in taken)), None)
        if y is None:
            continue
        taken.append((x, y, half))
        over: dict[str, Any] = {"size": 12, "at": "center", "colour": style.BACKTEXT, "bold": True}
        texts += [style.words(px(place), y, name, **over), style.words(px(place), y + 16, words, **over)]
        if y == 22:
            shapes.append(style.line(px(place), 48, px(place), top, style.LINE, layer="below"))
    for x, heading in zip(COLUMNS, view.headings, strict=True):
        for line, text in enumerate(heading.split("|")):
            texts.append(style.words(x, 56 + 16 * line, text, size=12, colour=style.INK3, at="right"))


def _arrow(lane: Lane, shapes: list[Figure], texts: list[Figure], y: float, largest: float, px: Any) -> None:
    """The arrow of a lane, its core, and what was caught where."""
    whole, core = (style.BACK, style.BACKMARK) if lane.main else (style.LINE, style.RULE)
    start = px(lane.place)
    number = str(lane.place) if lane.place else ""
    if number:
        texts.append(style.words(start - 5, y, number, size=12, colour=style.INK3, at="right"))
    if not lane.catches:  # no work on what came back is on file yet
        return
    stops = sorted(((max(px(catch.place), start + 14), catch) for catch in lane.catches), key=lambda stop: stop[0])
    left = lane.amount
    upper: list[tuple[float, float]] = []
    x = start + min(14.0, max(stops[0][0] - start - 4, 4))
    for stop, catch in stops:
        half = max(THICK * left / largest, THIN) / 2
        upper += [(x, half), (max(stop - SLOPE, x), half)]
        left, x = left - catch.amount, stop
    upper.append((x, upper[-1][1]))
    body = upper[0][1]
    for share, colour in ((1.0, whole), (min(lane.confirmed, 1.0), core)):
        if share * body * 2 < 0.4:
            continue
        head = max(body * share + 5, 5.5)
        line = [(upper[0][0], head), *((at, half * share) for at, half in upper)]
        points = [(start, 0.0), *line, *((at, -half) for at, half in reversed(line))]
        d = "".join(f"{'L' if k else 'M'}{at:.1f},{y - half:.2f}" for k, (at, half) in enumerate(points)) + "Z"
        shapes.append(style.path(d, fill=colour, edge=style.BACKMARK if lane.main else style.RULE, width=0.6))
    taken: list[tuple[float, float]] = []
    for stop, catch in sorted(stops, key=lambda one: -one[1].amount):
        if catch.words:
            up = y - max(THICK * lane.amount / largest / 2, 2) * (1 if stop == stops[0][0] else 0.6) - 9
            while any(abs(stop - a) < APART and abs(up - b) < 14 for a, b in taken):
                up -= 14
            if up > y - PITCH / 2 - 6:
                look: dict[str, Any] = {"size": 12, "at": "center", "bold": lane.main, "halo": style.CARD}
                colour = style.BACKTEXT if lane.main else style.INK2
                texts.append(style.words(stop, up, catch.words, colour=colour, **look))
                taken.append((stop, up))


def _figures(figures: Sequence[str], texts: list[Figure], y: float, *, bold: bool) -> None:
    """Figures at the right ends of their columns; what stands behind a bar goes below."""
    for k, (x, words) in enumerate(zip(COLUMNS, figures, strict=True)):
        first, _, below = words.partition("|")
        strong = bold and k == 0
        colour = style.INK if strong else style.INK2
        texts.append(style.words(x, y - (8 if below else 0), first, size=14, bold=strong, colour=colour, at="right"))
        if below:
            texts.append(style.words(x, y + 8, below, size=12, colour=style.INK3, at="right"))


def _standing(view: LanesView) -> Figure:
    width = style.NARROW
    figure = style.sheet_of_pixels(width, NARROW_PITCH * len(view.lanes) + 28 * len(view.last) + 4)
    shapes, texts = figure["shapes"], figure["annotations"]
    largest = max(lane.amount for lane in view.lanes) or 1.0
    names = {place: name for place, name, _ in view.caught}
    spots: list[tuple[float, float, str, str]] = []
    for k, lane in enumerate(view.lanes):
        top = NARROW_PITCH * k
        shapes.append(style.line(0, top, width, top, style.LINE, layer="below"))
        texts.append(style.words(0, top + 14, lane.name, size=14, bold=lane.main, colour=style.INK))
        texts.append(style.words(width, top + 14, lane.figures[0].partition("|")[0], size=14, bold=True, at="right"))
        whole, core = (style.BACK, style.BACKMARK) if lane.main else (style.LINE, style.RULE)
        end = width * lane.amount / largest
        shapes.append(style.box(0, top + 26, end, top + 38, whole, layer="above", edge=core))
        if lane.confirmed:
            shapes.append(style.box(0, top + 29, end * min(lane.confirmed, 1), top + 35, core, layer="above"))
        x = 0.0
        for catch in lane.catches[:-1]:
            x += width * catch.amount / largest
            shapes.append(style.line(x, top + 24, x, top + 40, style.CARD, 2))
        told = [f"{names.get(catch.place, catch.place)} {catch.words}" for catch in lane.catches if catch.words]
        if told:
            texts.append(style.words(0, top + 51, _whole(told, width), size=12, colour=style.INK2))
        spots += [(x, top + 30, lane.key, lane.told) for x in (20, width / 2, width - 20)]
    foot = NARROW_PITCH * len(view.lanes)
    for k, (name, figures) in enumerate(view.last):
        y = foot + 28 * k
        shapes.append(style.line(0, y, width, y, style.INK if k == len(view.last) - 1 else style.LINE, 1))
        texts.append(style.words(0, y + 15, name.partition(":")[0], size=14, colour=style.INK))
        texts.append(style.words(width, y + 15, figures[0].partition("|")[0], size=14, bold=True, at="right"))
    return {"data": [style.touch("lanes", 32, spots)], "layout": figure}


def _whole(told: Sequence[str], room: float) -> str:
    """As many catches as a line has room for, each whole; how many are left where some are."""
    for kept in range(len(told), 0, -1):
        left = len(told) - kept
        text = " · ".join([*told[:kept], *([f"{left} more"] if left else [])])
        if kept == 1 or len(text) * 6.4 <= room:
            return text
    return ""
