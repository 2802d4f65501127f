"""Shapes and words of a chart as SVG."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import escape
from typing import Any

from dashboard.charts.drawn.pieces import NOTHING, Pieces, colour, drawn_path
from dashboard.charts.drawn.places import Place, percent, short, walk

LEADING = 1.3  # of its size from one line of words to the next
ANCHORS = {"left": "start", "center": "middle", "right": "end"}
TAG = re.compile(r"(</?b>|</?a\b[^>]*>)")


def shape(told: Mapping[str, Any], pieces: Pieces) -> None:
    """One shape: it stretches where it stands in its axes and keeps its form where it hangs on a place."""
    commands = _commands(told, pieces)
    places = [place for _, several in commands for place in several]
    if not places:
        return
    line = told.get("line", {})
    fill, edge = told.get("fillcolor") or "", line.get("color") if line.get("width") else ""
    hangs = any(place.dx for place in places) and len({round(place.x, 6) for place in places}) == 1
    d = drawn_path(commands, shifted=hangs)
    looks = []
    if fill and fill != NOTHING:
        looks.append(pieces.fill(fill))
    if edge:
        looks.append(pieces.stroke(edge, line["width"], line.get("dash", "solid")))
    if hangs:
        pieces.hung(places[0].x, 0, "".join(f'<path {look} d="{d}"/>' for look in looks))
        return
    for look in looks:
        pieces.path(d, look)


def _commands(told: Mapping[str, Any], pieces: Pieces) -> list[tuple[str, list[Place]]]:
    plot = pieces.plot
    if told["type"] == "path":
        return walk(told["path"], plot, told)
    a, b = plot.of_shape(told, told["x0"], told["y0"]), plot.of_shape(told, told["x1"], told["y1"])
    if told["type"] == "line":
        return [("M", [a]), ("L", [b])]
    if told["type"] == "rect":
        return [("M", [a]), ("L", [Place(b.x, b.dx, a.y), b, Place(a.x, a.dx, b.y)]), ("Z", [])]
    middle_y, middle_x, middle_dx = (a.y + b.y) / 2, (a.x + b.x) / 2, (a.dx + b.dx) / 2
    bow_x, bow_dx, bow_y = 0.5523 * (b.x - a.x) / 2, 0.5523 * (b.dx - a.dx) / 2, 0.5523 * (b.y - a.y) / 2

    def at(x: float, dx: float, y: float) -> Place:
        return Place(x, dx, y)

    return [
        ("M", [at(a.x, a.dx, middle_y)]),
        (
            "C",
            [
                at(a.x, a.dx, middle_y - bow_y),
                at(middle_x - bow_x, middle_dx - bow_dx, a.y),
                at(middle_x, middle_dx, a.y),
            ],
        ),
        (
            "C",
            [at(middle_x + bow_x, middle_dx + bow_dx, a.y), at(b.x, b.dx, middle_y - bow_y), at(b.x, b.dx, middle_y)],
        ),
        (
            "C",
            [
                at(b.x, b.dx, middle_y + bow_y),
                at(middle_x + bow_x, middle_dx + bow_dx, b.y),
                at(middle_x, middle_dx, b.y),
            ],
        ),
        (
            "C",
            [at(middle_x - bow_x, middle_dx - bow_dx, b.y), at(a.x, a.dx, middle_y + bow_y), at(a.x, a.dx, middle_y)],
        ),
        ("Z", []),
    ]


def words(told: Mapping[str, Any], pieces: Pieces) -> None:
    """One piece of text: lines at <br>, bold and links kept, on a halo of its ground where it lies over data."""
    font = told["font"]
    size = float(font["size"])
    lines = told["text"].split("<br>")
    x = pieces.plot.x(told["x"], told.get("xref", "x"))
    y = pieces.plot.y(told["y"], told.get("yref", "y")) - float(told.get("yshift", 0))
    block = LEADING * size * len(lines)
    first = {"middle": y - block / 2, "top": y, "bottom": y - block}.get(told.get("yanchor", "middle"), y)
    first += LEADING * size / 2 + 0.34 * size
    ground = told.get("bgcolor") or str(font.get("shadow", "")).rpartition(" ")[2]
    halo = ""
    if ground:
        thick = 6 if told.get("bgcolor") else 4
        halo = f' {colour(ground, "stroke", grey=pieces.grey)} stroke-width="{thick}" class="halo"'
    weight = f' font-weight="{font["weight"]}"' if font.get("weight") else ""
    at, dx = percent(x, pieces.plot.width), short(float(told.get("xshift", 0)))
    anchor = ANCHORS[told.get("xanchor", "left")]
    look = f'text-anchor="{anchor}" font-size="{short(size)}"{weight} {pieces.fill(font["color"])}{halo}'
    shift = f' dx="{dx}"' if dx != "0" else ""
    if len(lines) == 1:
        pieces.own(f'<text x="{at}" y="{short(first)}"{shift} {look}>{_marked(lines[0])}</text>')
        return
    spans = "".join(
        f'<tspan x="{at}" y="{short(first + LEADING * size * k)}"{shift}>{_marked(line)}</tspan>'
        for k, line in enumerate(lines)
    )
    pieces.own(f"<text {look}>{spans}</text>")


def _marked(text: str) -> str:
    """Words with <b> and <a href> as SVG knows them; all else is plain text."""
    told = []
    for part in TAG.split(text):
        if part == "<b>":
            told.append('<tspan font-weight="650">')
        elif part == "</b>":
            told.append("</tspan>")
        elif part == "</a>":
            told.append("</a>")
        elif part.startswith("<a "):
            href = re.search(r'href="([^"]*)"', part)
            told.append(f'<a href="{href[1] if href else ""}">')
        else:
            told.append(escape(part.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&"), quote=False))
    return "".join(told)
