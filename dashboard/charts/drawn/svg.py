"""A chart as SVG: `svg(figure, width)` draws what the plain dicts of dashboard.charts hold, no more.

On a screen its colours are the tokens of assets/tokens.css, so it follows the scheme; on paper they are greys. It is
drawn for a nominal width and stretches sideways. What is told of its marks stands with it for the page's script; marks
that lead somewhere are links where there are few, and one list to walk with the arrow keys where there are many.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any

from dashboard.charts.drawn.pieces import Pieces
from dashboard.charts.drawn.places import Plot, percent, plot_of, short
from dashboard.charts.drawn.shapes import shape, words
from dashboard.charts.drawn.traces import Tip, trace

FEW = 120  # marks that are links of their own; more are one list
Leads = Callable[[str], str]  # from the key of a mark to its address, '' where it leads nowhere


def svg(figure: Mapping[str, Any], width: float, *, leads: Leads | None = None, grey: bool = False) -> str:
    """The chart at a nominal width, as markup to stand in a page."""
    layout = figure["layout"]
    margin = layout["margin"]
    plot = plot_of(layout, width)
    pieces = Pieces(plot, grey=grey)
    shapes = layout.get("shapes", ())
    for one in shapes:
        if one.get("layer") == "below":
            shape(one, pieces)
    tips = [tip for one in figure["data"] for tip in trace(one, pieces)]
    for one in shapes:
        if one.get("layer") != "below":
            shape(one, pieces)
    _ticks(layout, pieces)
    for text in layout.get("annotations", ()):
        words(text, pieces)
    linked, listed = _led(tips, leads, plot)
    around = " ".join(f"{margin[side]}px" for side in "trbl")
    return (
        f'<div class="drawn" style="padding:{around}"{listed}><svg xmlns="http://www.w3.org/2000/svg" width="100%" '
        f'height="{short(plot.height)}" style="display:block;overflow:visible">{pieces.markup()}{linked}</svg></div>'
    )


def leading(figure: Mapping[str, Any], leads: Leads | None) -> bool:
    """Does any mark of the chart lead somewhere?"""
    keys = (kept[0] for one in figure["data"] for kept in one.get("customdata") or () if len(kept) > 1 and kept[0])
    return leads is not None and any(leads(str(key)) for key in keys)


def _ticks(layout: Mapping[str, Any], pieces: Pieces) -> None:
    """Figures along the axes, within their ends."""
    for name, ends in (("xaxis", layout["xaxis"]["range"]), ("yaxis", layout["yaxis"]["range"])):
        axis = layout[name]
        if not axis.get("showticklabels"):
            continue
        low, high = sorted(ends)
        for value, text in zip(axis["tickvals"], axis["ticktext"], strict=True):
            if not low <= value <= high:
                continue
            told: dict[str, Any] = {"text": text, "font": axis["tickfont"], "yanchor": "middle"}
            if name == "xaxis":
                told |= {"x": value, "y": 0, "yref": "paper", "xanchor": "center", "yshift": -12}
            else:
                told |= {"x": 0, "xref": "paper", "y": value, "xanchor": "right", "xshift": -5}
            words(told, pieces)


def _led(tips: Sequence[Tip], leads: Leads | None, plot: Plot) -> tuple[str, str]:
    """Marks that are links, and the list of all that is told (share of the width, px, reach, words, address)."""
    addressed = [(tip, leads(tip.key) if leads is not None and tip.key else "") for tip in tips]
    links = {(tip.key, href): [] for tip, href in addressed if href}  # type: dict[tuple[str, str], list[Tip]]
    few = len(links) <= FEW
    if few:
        for tip, href in addressed:
            if href:
                links[tip.key, href].append(tip)
    drawn = "".join(_link(href, several, plot) for (_, href), several in links.items()) if few else ""
    rest = [
        [round(tip.x / plot.width, 5), round(tip.y, 1), round(tip.reach, 1), tip.words, *([href] if href else [])]
        for tip, href in addressed
        if tip.words
    ]
    if not rest:
        return drawn, ""
    told = escape(json.dumps(rest, ensure_ascii=False, separators=(",", ":")))
    walked = ' data-walk="1"' if not few else ""
    return drawn, f' data-told="{told}"{walked}'


def _link(href: str, several: Sequence[Tip], plot: Plot) -> str:
    """One link over all marks of one key."""
    touched = "".join(
        f'<circle cx="{percent(tip.x, plot.width)}" cy="{short(tip.y)}" r="{short(max(tip.reach, 12))}"/>'
        for tip in several
    )
    said = escape(several[0].words, quote=True)
    return f'<a class="led" href="{escape(href, quote=True)}" aria-label="{said}">{touched}</a>'
