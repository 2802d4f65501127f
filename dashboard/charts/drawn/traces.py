"""Lines, areas and marks of a chart as SVG, and what the pointer is told of each mark."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dashboard.charts import style
from dashboard.charts.drawn.pieces import HATCH, Pieces, line_through
from dashboard.charts.drawn.places import percent, short

FIELD = re.compile(r"%\{(customdata\[(\d+)\]|x|y)(?:\|([^}]*))?\}")
Point = tuple[float, float]


@dataclass(frozen=True)
class Tip:
    """What is told of one mark, where it stands (px, nominal), how far round it the pointer may be, and its trace."""

    x: float
    y: float
    reach: float
    words: str
    key: str
    trace: str


def trace(told: Mapping[str, Any], pieces: Pieces) -> list[Tip]:
    """One trace, drawn; what it tells."""
    places = [_place(x, y, pieces) for x, y in zip(told["x"], told["y"], strict=True)]
    cut = told.get("cliponaxis", True) is not False
    mode, line = told.get("mode", "lines"), told.get("line", {})
    if told.get("fill"):
        pieces.path(line_through(places, closed=True), _area(told, pieces), cut=cut)
    if "lines" in mode and line.get("width"):
        look = pieces.stroke(line["color"], line["width"], line.get("dash", "solid")) + ' stroke-linejoin="round"'
        pieces.path(line_through(places, closed=bool(told.get("fill"))), look, cut=cut)
    if "markers" in mode:
        _marks(told, places, pieces)
    return list(_tips(told, places))


def _place(x: Any, y: Any, pieces: Pieces) -> Point | None:
    return None if x is None or y is None else (pieces.plot.x(x), pieces.plot.y(y))


def _area(told: Mapping[str, Any], pieces: Pieces) -> str:
    return f'fill="{HATCH}"' if told.get("fillpattern") else pieces.fill(told["fillcolor"])


def _each(value: Any, n: int) -> Sequence[Any]:
    return value if isinstance(value, list | tuple) else [value] * n


def _marks(told: Mapping[str, Any], places: Sequence[Point | None], pieces: Pieces) -> None:
    """Marks of one look are one path: a line of no length with round ends is a dot at every width."""
    marker, n = told.get("marker", {}), len(places)
    if marker.get("opacity", 1) == 0:
        return
    looks: dict[tuple[str, str, float], list[Point]] = defaultdict(list)
    colours, sizes = _each(marker.get("color", style.INK), n), _each(marker.get("size", 6), n)
    symbols = _each(marker.get("symbol", "circle"), n)
    for place, symbol, colour, size in zip(places, symbols, colours, sizes, strict=True):
        if place is not None:
            looks[symbol, colour, float(size)].append(place)
    opacity = f' opacity="{short(marker["opacity"])}"' if marker.get("opacity", 1) != 1 else ""
    edge = marker.get("line", {})
    for (symbol, colour, size), several in looks.items():
        _one_look(symbol, (colour, size, edge), several, pieces, opacity)


def _one_look(
    symbol: str, look: tuple[str, float, Mapping[str, Any]], places: Sequence[Point], pieces: Pieces, opacity: str
) -> None:
    colour, size, edge = look
    width = float(edge.get("width") or 0)
    dots = "".join(f"M{short(x)},{short(y)}h0" for x, y in places)
    if symbol == "circle-open":
        ring, wide = pieces.stroke(colour, width or 1), pieces.plot.width
        for x, y in places:
            pieces.own(f'<circle cx="{percent(x, wide)}" cy="{short(y)}" r="{short(size / 2)}" {ring}{opacity}/>')
        return
    if symbol in ("circle", "square"):
        cap = "round" if symbol == "circle" else "square"
        if width:
            around = pieces.stroke(edge.get("color") or colour, size + width)
            pieces.path(dots, f'{around} stroke-linecap="{cap}"{opacity}')
        within = size - width if width else size
        pieces.path(dots, f'{pieces.stroke(colour, max(within, 0.5))} stroke-linecap="{cap}"{opacity}')
        return
    half = size / 2
    d = {
        "diamond-open": f"M0,{-half * 1.3:g}L{half * 1.3:g},0L0,{half * 1.3:g}L{-half * 1.3:g},0Z",
        "diamond": f"M0,{-half * 1.3:g}L{half * 1.3:g},0L0,{half * 1.3:g}L{-half * 1.3:g},0Z",
        "triangle-up": f"M0,{-half:g}L{half:g},{half:g}L{-half:g},{half:g}Z",
        "x-thin": f"M{-half * 0.75:g},{-half * 0.75:g}L{half * 0.75:g},{half * 0.75:g}"
        f"M{-half * 0.75:g},{half * 0.75:g}L{half * 0.75:g},{-half * 0.75:g}",
    }[symbol]
    hollow = symbol.endswith("-open") or symbol == "x-thin"
    line = pieces.stroke((colour if hollow else edge.get("color")) or colour, width or 1)
    drawn = line if hollow else line.replace('fill="none"', pieces.fill(colour), 1)
    for x, y in places:
        pieces.hung(x, y, f'<path {drawn}{opacity} d="{d}"/>')


def _tips(told: Mapping[str, Any], places: Sequence[Point | None]) -> list[Tip]:
    template, kept = told.get("hovertemplate"), told.get("customdata")
    if not template or told.get("hoverinfo") == "skip":
        return []
    n = len(places)
    sizes = _each(told.get("marker", {}).get("size", 6), n)
    data = kept if kept is not None else [[""]] * n
    return [
        Tip(
            *place,
            max(float(size) / 2, 5),
            _said(template, data[k], told["x"][k], told["y"][k]),
            str(data[k][0]) if len(data[k]) > 1 else "",
            told.get("name", ""),
        )
        for k, (place, size) in enumerate(zip(places, sizes, strict=True))
        if place is not None
    ]


def _said(template: str, data: Sequence[Any], x: Any, y: Any) -> str:
    def field(found: re.Match[str]) -> str:
        if found[2] is not None:
            return str(data[int(found[2])])
        value = x if found[1] == "x" else y
        if found[3] and isinstance(value, str):
            moment = datetime.fromisoformat(value)
            return moment.strftime(found[3].replace("%-d", str(moment.day)))
        return str(value)

    told = FIELD.sub(field, template.replace("<extra></extra>", ""))
    return ", ".join(part for part in (line.strip() for line in told.split("<br>")) if part)
