"""A chart on a page: both widths as SVG, the one that fits is shown; its finding for who does not see it, its table
behind it.

`Drawing` is a component of our own, made in assets/drawings.js: it puts SVG in place and changes it when the window
crosses a width. A page hands `graph` what `both` gives.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from html import unescape
from typing import Any

from dash import html

from dashboard.charts import style
from dashboard.charts.drawn.svg import Leads, leading, svg
from dashboard.fields import Own

TOLD = re.compile(r'data-told="([^"]*)"')  # one a chart: what is told of its marks (charts/drawn/svg.py)
WALKED = "Arrow keys go from mark to mark, Enter opens one."


class Drawing(Own):
    """SVG of the server in both widths; the browser shows the one that fits."""

    _type = "Drawing"
    TAKES = ("wide", "narrow", "said")

    def __init__(self, wide: str, narrow: str) -> None:
        (wide, narrow), said = said_once(wide, narrow)
        super().__init__(wide=wide, narrow=narrow, said=said)


def said_once(*drawn: str) -> tuple[list[str], str | None]:
    """Charts whose marks tell their words by number, and those words, once for all widths: [words, address] as JSON
    text; charts as they were, and None, where nothing is told.
    """
    said: dict[tuple[Any, ...], int] = {}
    several = []
    for one in drawn:
        found = TOLD.search(one)
        if found is None:
            return list(drawn), None
        marks = [[*mark[:3], said.setdefault(tuple(mark[3:]), len(said))] for mark in json.loads(unescape(found[1]))]
        several.append(one.replace(found[0], f'data-told="{json.dumps(marks, separators=(",", ":"))}"', 1))
    return several, json.dumps(list(said), ensure_ascii=False, separators=(",", ":"))


def graph_id(name: Any) -> dict[str, Any]:
    """Id of the place of a chart."""
    return {"type": "graph", "name": name}


def both(chart: Callable[..., dict[str, Any]], *args: Any, **more: Any) -> dict[str, Any]:
    """A chart in both widths, ready for `graph`."""
    return {"wide": chart(*args, **more), "narrow": chart(*args, narrow=True, **more)}


def graph(
    figure: Mapping[str, Any], finding: str, name: str, behind_it: Any = None, *, leads: Leads | None = None
) -> html.Div:
    """A chart with its finding for those who do not see it, and the table behind it.

    figure is what `both` gives, or one figure for every width; name is unique over all pages ("drift-stream"); leads
    turns the key of a mark into the address it leads to, '' where it leads nowhere.
    """
    wide, narrow = (figure["wide"], figure["narrow"]) if "wide" in figure else (figure, figure)
    drawn = [svg(one, nominal(one, least), leads=leads) for one, least in ((wide, style.WIDE), (narrow, style.NARROW))]
    walked, opens = "data-walk" in drawn[0], leading(wide, leads)
    said: dict[str, Any] = {"aria-label": f"{finding} {WALKED}" if walked else finding}
    more: dict[str, Any] = {"tabIndex": 0} if walked else {}
    place = html.Div(
        Drawing(*drawn), id=graph_id(name), className="chart", role="group" if opens else "img", **said, **more
    )
    return html.Div([place, behind(behind_it)] if behind_it is not None else [place])


def nominal(figure: Mapping[str, Any], otherwise: float) -> float:
    """The width a chart was laid out for, px: that of a sheet of pixels, else the one given."""
    layout = figure["layout"]
    margin, (left, right) = layout["margin"], layout["xaxis"]["range"]
    whole = not margin["l"] and not margin["r"] and left == 0 and isinstance(right, int | float)
    return float(right) if whole else otherwise


def behind(children: Any, words: Any = "The numbers behind this") -> html.Details:
    """A table folded away under its chart."""
    several = list(children) if isinstance(children, list | tuple) else [] if children is None else [children]
    return html.Details([html.Summary(words), *several], className="behind")
