"""Bench flow: arcs run back along the bench from where work was caught to where it was caused, as wide as their hours
or count.

An arc is `back`, its core `backmark` as wide as the confirmed share. The largest that make four fifths are coloured and
labelled, the rest thin and grey. Supplier, handling and unknown are rings off the bench's end. On a phone the bench
stands upright with the arcs at its right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]
LABELLED = 0.8  # share of the whole that the coloured arcs make


@dataclass(frozen=True)
class Station:
    """A place on the bench, in bench order, or a ring before it (supplier, handling, unknown)."""

    key: str
    name: str
    ring: str = ""  # "" on the bench | "plain" | "dashed"


@dataclass(frozen=True)
class Arc:
    """What one station caught of another's: amount in the unit of the width, of it confirmed, its figure in words
    ("19.2 h").
    """

    caught_at: str
    caused_at: str
    amount: float
    confirmed: float
    words: str
    told: str = ""  # what the pointer is told: "43 sent back, 19.2 hours, 52 % confirmed"
    key: str = ""


@dataclass(frozen=True)
class FlowRow:
    """One line of figures under the bench, a text a station ("" where there is none); `strong` marks those in the
    colour of what came back.
    """

    name: str
    texts: Sequence[str]
    strong: Sequence[int] = ()


@dataclass(frozen=True)
class FlowView:
    """Rings first, then stages in bench order; the rows are not drawn on a phone, where a table stands beside the
    chart.
    """

    stations: Sequence[Station]
    arcs: Sequence[Arc]
    rows: Sequence[FlowRow] = ()


def flow(view: FlowView, *, narrow: bool = False) -> Figure:
    """The flow; says so where nothing came back."""
    if not view.stations:
        return style.empty("No stage on file.", narrow=narrow)
    return _standing(view) if narrow else _lying(view)


def _lying(view: FlowView) -> Figure:
    width, n = style.WIDE, len(view.stations)
    left = 124 if view.rows else 0  # room for the names of the rows
    pitch = (width - left) / n
    place = {station.key: left + pitch * (k + 0.5) for k, station in enumerate(view.stations)}
    arcs = [arc for arc in view.arcs if arc.caught_at in place and arc.caused_at in place and arc.amount > 0]
    tallest = max((0.75 * _rise(abs(place[a.caught_at] - place[a.caused_at])) for a in arcs), default=40)
    base = round(tallest + 44)  # px of the bench's top
    step = any(max(map(len, s.name.split()), default=0) * 6.9 > pitch - 4 for s in view.stations)
    names = base + 36
    room = pitch * (2 if step else 1) - 6
    wrapped = [style.wrap(station.name, room) for station in view.stations]
    drop = 17 * max(map(len, wrapped[::2])) if step else 0  # px from the upper names to the lower ones
    after = names + 15 * max(map(len, wrapped)) + drop + 4
    height = after + 28 * len(view.rows) + 4
    figure = style.sheet_of_pixels(width, height)
    shapes, texts = figure["shapes"], figure["annotations"]

    rings = sum(1 for s in view.stations if s.ring)
    shapes.append(style.box(left + pitch * rings + 4, base + 4, width - 4, base + 22, style.BOARD))
    shapes += [
        style.line(left + pitch * k, base + 4, left + pitch * k, base + 22, style.CARD, 2, layer="below")
        for k in range(rings + 1, n)
    ]
    shapes.append(style.line(left + pitch * rings + 4, base + 4, left + pitch * rings + 4, base + 22, style.INK, 4))
    for k, station in enumerate(view.stations):
        x = place[station.key]
        if station.ring:
            shapes.append(_ring(x, base + 13, station.ring))
        low = step and k % 2 == 1
        if low:
            shapes.append(style.line(x, base + 24, x, names + drop - 8, style.LINE, layer="below"))
        half = max(map(len, wrapped[k])) * 7.4 / 2
        middle = min(max(x, half), width - half)  # the last name stays within the chart
        text = style.words(
            middle, names - 8 + (drop if low else 0), "<br>".join(wrapped[k]), colour=style.INK, bold=True, at="center"
        )
        texts.append({**text, "yanchor": "top"})

    largest, coloured = max((arc.amount for arc in arcs), default=1.0), _main(arcs)
    taken: list[tuple[float, float]] = []
    spots: list[tuple[float, float, str, str]] = []
    for arc in sorted(arcs, key=lambda a: (id(a) in coloured, a.amount)):
        main = id(arc) in coloured
        x0, x1 = place[arc.caught_at] - 4, place[arc.caused_at] + 5
        if arc.caught_at == arc.caused_at:
            x0, x1 = place[arc.caught_at] + 16, place[arc.caught_at] - 10
        rise = _rise(abs(place[arc.caught_at] - place[arc.caused_at]))
        top = base - 4 - rise
        d = f"M{x0},{base}C{x0},{top} {x1},{top} {x1},{base - 6}"
        thick = max(1.6, 18 * arc.amount / largest)
        _draw(shapes, d, thick, arc, main)
        colour = style.BACKMARK if main else style.RULE
        shapes.append(style.path(f"M{x1 - 5.5},{base - 8}L{x1 + 5.5},{base - 8}L{x1},{base + 1}Z", fill=colour))
        crown = base - 3 - 0.75 * rise
        spots += [
            ((x0 + x1) / 2, crown, arc.key, arc.told or arc.words),
            (x1, base - 6, arc.key, arc.told or arc.words),
        ]
    for arc in sorted(arcs, key=lambda a: -a.amount):
        if id(arc) not in coloured:
            continue
        x0, x1 = place[arc.caught_at] - 4, place[arc.caused_at] + 5
        rise = _rise(abs(place[arc.caught_at] - place[arc.caused_at]))
        thick = max(1.6, 18 * arc.amount / largest)
        spot = _room(
            taken, [_on_arc(x0, x1, base, rise, t) for t in (0.5, 0.42, 0.58, 0.34, 0.66, 0.27, 0.73)], thick / 2 + 11
        )
        if spot:
            biggest = arc.amount == largest
            texts.append(
                style.words(
                    *spot,
                    arc.words,
                    size=15 if biggest else 13,
                    colour=style.BACKTEXT,
                    bold=True,
                    at="center",
                    bgcolor=style.CARD,
                )
            )
    for k, row in enumerate(view.rows):
        y = after + 28 * k
        shapes.append(style.line(0, y, width, y, style.LINE, layer="below"))
        for j, words in enumerate(row.texts):
            strong = j in row.strong
            said = style.words(
                left + pitch * (j + 0.5),
                y + 14,
                words or "·",
                size=14,
                at="center",
                colour=style.INK2 if words else style.INK3,
            )
            if strong:
                said["font"].update(color=style.BACKTEXT, weight=650)
            texts.append(said)
        texts.append(style.words(0, y + 14, row.name, colour=style.INK3))
    return {"data": [_touch(spots)], "layout": figure}


def _standing(view: FlowView) -> Figure:
    width, pitch, bench = style.NARROW, 34, 104
    place = {station.key: 18 + pitch * k for k, station in enumerate(view.stations)}
    arcs = [arc for arc in view.arcs if arc.caught_at in place and arc.caused_at in place and arc.amount > 0]
    height = 18 + pitch * len(view.stations)
    figure = style.sheet_of_pixels(width, height)
    shapes, texts = figure["shapes"], figure["annotations"]
    rings = sum(1 for s in view.stations if s.ring)
    top, bottom = 18 + pitch * rings - pitch / 2, 18 + pitch * (len(view.stations) - 0.5)
    shapes.append(style.box(bench - 7, top, bench + 7, bottom, style.BOARD))
    shapes += [
        style.line(bench - 7, top + pitch * k, bench + 7, top + pitch * k, style.CARD, 2, layer="below")
        for k in range(1, len(view.stations) - rings)
    ]
    shapes.append(style.line(bench - 7, top, bench + 7, top, style.INK, 4))
    for station in view.stations:
        y = place[station.key]
        if station.ring:
            shapes.append(_ring(bench, y, station.ring, 6.5))
        wrapped = style.wrap(station.name, 92, 6.9)[:2]
        texts.append(
            style.words(
                bench - 14,
                y,
                "<br>".join(wrapped),
                size=12 if len(wrapped) > 1 else 13,
                colour=style.INK,
                bold=True,
                at="right",
            )
        )
    largest, coloured = max((arc.amount for arc in arcs), default=1.0), _main(arcs)
    longest = max((abs(place[a.caught_at] - place[a.caused_at]) for a in arcs), default=1) or 1
    spots: list[tuple[float, float, str, str]] = []
    reach = {}
    for arc in sorted(arcs, key=lambda a: (id(a) in coloured, a.amount)):
        y0, y1 = place[arc.caught_at] - 4, place[arc.caused_at] + 3
        if arc.caught_at == arc.caused_at:
            y0, y1 = place[arc.caught_at] + 8, place[arc.caught_at] - 8
        reach[id(arc)] = 30 + 218 * abs(y0 - y1) / longest
        far = bench + 12 + reach[id(arc)]
        main = id(arc) in coloured
        _draw(
            shapes,
            f"M{bench + 10},{y0}C{far},{y0} {far},{y1} {bench + 17},{y1}",
            max(1.4, 14 * arc.amount / largest),
            arc,
            main,
        )
        shapes.append(
            style.path(
                f"M{bench + 18},{y1 - 5}L{bench + 18},{y1 + 5}L{bench + 10},{y1}Z",
                fill=style.BACKMARK if main else style.RULE,
            )
        )
        spots += [
            (bench + 12 + 0.75 * reach[id(arc)], (y0 + y1) / 2, arc.key, arc.told or arc.words),
            (bench + 16, y1, arc.key, arc.told or arc.words),
        ]
    taken: list[tuple[float, float]] = []
    for arc in sorted(arcs, key=lambda a: -a.amount):
        if id(arc) not in coloured:
            continue
        y0, y1, r = place[arc.caught_at] - 4, place[arc.caused_at] + 3, reach[id(arc)]
        half = max(1.4, 14 * arc.amount / largest) / 2
        places = [
            (bench + 12 + r * 3 * t * (1 - t) + half + 5 + 20, y0 + (y1 - y0) * (t * t * (3 - 2 * t)))
            for t in (0.5, 0.4, 0.6, 0.3, 0.7)
        ]
        spot = _room(taken, [p for p in places if p[0] + 22 <= width], 0)
        if spot:
            texts.append(
                style.words(*spot, arc.words, colour=style.BACKTEXT, bold=True, at="center", bgcolor=style.CARD)
            )
    return {"data": [_touch(spots)], "layout": figure}


def _rise(distance: float) -> float:
    """How high the handles of an arc stand: long arcs flatter, so that none leaves the chart."""
    return 44 + 0.41 * distance


def _on_arc(x0: float, x1: float, base: float, rise: float, t: float) -> tuple[float, float]:
    """A point of the arc; at t = .5 its crown."""
    return x0 + (x1 - x0) * (t * t * (3 - 2 * t)), base - 4 - 3 * rise * t * (1 - t)


def _main(arcs: Sequence[Arc]) -> set[int]:
    """Identities of the largest arcs that make four fifths of the whole."""
    whole, so_far, chosen = sum(arc.amount for arc in arcs), 0.0, set()
    for arc in sorted(arcs, key=lambda a: -a.amount):
        if so_far >= LABELLED * whole - 1e-9:
            break
        chosen.add(id(arc))
        so_far += arc.amount
    return chosen


def _draw(shapes: list[Figure], d: str, thick: float, arc: Arc, main: bool) -> None:
    if not main:
        shapes.append(style.path(d, edge=style.RULE + "B3", width=min(thick, 3.4)))
        return
    shapes.append(style.path(d, edge=style.BACK + "BF", width=thick))
    core = thick * min(arc.confirmed / arc.amount, 1)
    if core >= 0.4:
        shapes.append(style.path(d, edge=style.BACKMARK, width=core))


def _room(
    taken: list[tuple[float, float]], places: Sequence[tuple[float, float]], above: float
) -> tuple[float, float] | None:
    """The first place with room for a figure (56 by 17 px), which is then taken."""
    for x, y in places:
        if all(abs(x - a) > 56 or abs(y - above - b) > 17 for a, b in taken):
            taken.append((x, y - above))
            return x, y - above
    return None


def _ring(x: float, y: float, kind: str, radius: float = 8) -> Figure:
    """A ring off the end of the bench, round at every width."""
    return {
        "type": "circle",
        "opacity": 1,
        "layer": "above",
        "xsizemode": "pixel",
        "ysizemode": "pixel",
        "xanchor": x,
        "yanchor": y,
        "x0": -radius,
        "x1": radius,
        "y0": -radius,
        "y1": radius,
        "fillcolor": style.CARD,
        "line": {"color": style.INK, "width": 1.6, "dash": "3px,3px" if kind == "dashed" else "solid"},
    }


def _touch(spots: Sequence[tuple[float, float, str, str]]) -> Figure:
    """Path shapes neither hover nor click: invisible markers at crown and cause do."""
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "arcs",
        "x": [s[0] for s in spots],
        "y": [s[1] for s in spots],
        "marker": {"size": 22, "opacity": 0, "color": style.INK},
        "customdata": [[s[2], s[3]] for s in spots],
        "hovertemplate": "%{customdata[1]}<extra></extra>",
    }
