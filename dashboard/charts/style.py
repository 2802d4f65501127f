"""What all charts share: the colours of the light theme, the base of a figure, and how labels keep clear of each other.

Charts name the light tokens only. On a screen each hex becomes its token again (charts/drawn), so that a drawing
follows the scheme; every light hex stands once. A test keeps these values and assets/tokens.css alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

FONT = '"Atkinson Hyperlegible Next", system-ui, "Segoe UI", Roboto, "Noto Sans", sans-serif'

LIGHT = {
    "page": "#F3F5F5",
    "card": "#FFFFFF",
    "sunk": "#E9ECED",
    "line": "#D2D7DA",
    "rule": "#7F878D",
    "ink": "#1A1E22",
    "ink2": "#454C52",
    "ink3": "#596167",
    "board": "#F4E4C4",
    "boardedge": "#6B5428",
    "boardtext": "#5F481A",
    "light": "#E69F00",
    "moved": "#D55E00",
    "movedtext": "#A04100",
    "back": "#CC79A7",
    "backmark": "#A3487A",
    "backtext": "#8A3A66",
    "focus": "#0072B2",
    "focustext": "#00639C",
    "sky": "#56B4E8",
}
DARK = {
    "page": "#111417",
    "card": "#191D21",
    "sunk": "#22272C",
    "line": "#353C42",
    "rule": "#6F777E",
    "ink": "#EDEFF0",
    "ink2": "#BCC3C8",
    "ink3": "#99A2A9",
    "board": "#3A2B18",
    "boardedge": "#D8C29A",
    "boardtext": "#E6CFA2",
    "light": "#E69F00",
    "moved": "#FF7F33",
    "movedtext": "#FFA566",
    "back": "#8F4C75",
    "backmark": "#E39AC4",
    "backtext": "#ECB4D3",
    "focus": "#56B4E9",
    "focustext": "#85C9F2",
    "sky": "#B5E0F7",
}

CARD, SUNK, LINE, RULE = LIGHT["card"], LIGHT["sunk"], LIGHT["line"], LIGHT["rule"]
INK, INK2, INK3 = LIGHT["ink"], LIGHT["ink2"], LIGHT["ink3"]
BOARD, BOARDEDGE, BOARDTEXT = LIGHT["board"], LIGHT["boardedge"], LIGHT["boardtext"]
LIGHT_FILL, MOVED, MOVEDTEXT = LIGHT["light"], LIGHT["moved"], LIGHT["movedtext"]
BACK, BACKMARK, BACKTEXT = LIGHT["back"], LIGHT["backmark"], LIGHT["backtext"]
FOCUS, FOCUSTEXT, SKY = LIGHT["focus"], LIGHT["focustext"], LIGHT["sky"]

WIDE, NARROW = 1150, 328  # px inside a full sheet at a window of 1280 and at one of 390
HALF, WIDER_HALF = 520, 630  # px inside a sheet of six and of seven columns at 1280
CHARACTER = 7.2  # px a character takes at 13 px, on the safe side
APART = 16  # px between two labels one above the other

Figure = dict[str, Any]


def layout(height: int, margin: tuple[int, int, int, int], *, narrow: bool = False, **more: Any) -> Figure:
    """The base of every figure; `margin` is left, right, top, bottom in px."""
    left, right, top, bottom = margin
    return {
        "template": {},
        "paper_bgcolor": CARD,
        "plot_bgcolor": CARD,
        "height": height,
        "autosize": True,
        "font": {"family": FONT, "size": 13, "color": INK2},
        "margin": {"l": left, "r": right, "t": top, "b": bottom, "pad": 0},
        "showlegend": False,
        "hovermode": "closest",
        "hoverdistance": 24,
        "hoverlabel": {
            "bgcolor": CARD,
            "bordercolor": LINE,
            "font": {"family": FONT, "size": 14, "color": INK},
            "align": "left",
        },
        "dragmode": False,
        **more,
    }


def axis(low: float, high: float, **more: Any) -> Figure:
    """An axis that shows nothing but what `more` asks for, and cannot be dragged."""
    return {
        "range": [low, high],
        "autorange": False,
        "fixedrange": True,
        "showgrid": False,
        "zeroline": False,
        "showline": False,
        "showticklabels": False,
        "ticks": "",
        **more,
    }


def sheet_of_pixels(width: int, height: int, *, narrow: bool = False) -> Figure:
    """A figure without margins whose y is px from the top and whose x is px of the nominal `width`, stretched to the
    real one.
    """
    return layout(
        height, (0, 0, 0, 0), narrow=narrow, xaxis=axis(0, width), yaxis=axis(height, 0), shapes=[], annotations=[]
    )


def words(
    x: Any,
    y: Any,
    text: str,
    *,
    size: int = 13,
    colour: str = INK2,
    bold: bool = False,
    at: str = "left",
    halo: str = "",
    **more: Any,
) -> Figure:
    """A piece of text: `at` says which of its sides stands at x; `halo` is the ground's colour where it lies over
    data.
    """
    font: Figure = {"size": size, "color": colour}
    if bold:
        font["weight"] = 650
    if halo:
        font["shadow"] = f"0 0 3px {halo}, 0 0 3px {halo}, 0 0 2px {halo}"
    return {
        "x": x,
        "y": y,
        "text": text,
        "showarrow": False,
        "xanchor": at,
        "yanchor": "middle",
        "align": at,
        "font": font,
        **more,
    }


def line(
    x0: Any,
    y0: Any,
    x1: Any,
    y1: Any,
    colour: str,
    width: float = 1,
    *,
    dash: str = "solid",
    layer: str = "above",
    **more: Any,
) -> Figure:
    """A straight line."""
    return {
        "type": "line",
        "x0": x0,
        "y0": y0,
        "x1": x1,
        "y1": y1,
        "opacity": 1,
        "layer": layer,
        "line": {"color": colour, "width": width, "dash": dash},
        **more,
    }


def box(x0: Any, y0: Any, x1: Any, y1: Any, fill: str, *, layer: str = "below", edge: str = "", **more: Any) -> Figure:
    """A filled rectangle, without an edge unless a colour for it is given."""
    return {
        "type": "rect",
        "x0": x0,
        "y0": y0,
        "x1": x1,
        "y1": y1,
        "opacity": 1,
        "layer": layer,
        "fillcolor": fill,
        "line": {"width": 1 if edge else 0, "color": edge or fill},
        **more,
    }


def path(d: str, *, fill: str = "", edge: str = "", width: float = 1, layer: str = "above", **more: Any) -> Figure:
    """A shape by an SVG path in data units, or in px around an anchor where `more` says so."""
    return {
        "type": "path",
        "path": d,
        "opacity": 1,
        "layer": layer,
        "fillcolor": fill or "rgba(0,0,0,0)",
        "line": {"width": width if edge else 0, "color": edge or fill},
        **more,
    }


def wrap(text: str, room: float, character: float = 6.9) -> list[str]:
    """Words in lines no wider than room px where words allow."""
    lines: list[str] = []
    for word in text.split():
        if lines and (len(lines[-1]) + 1 + len(word)) * character <= room:
            lines[-1] += " " + word
        else:
            lines.append(word)
    return lines or [""]


def wrap_to(text: str, room: float, most: int, character: float = 6.9) -> list[str]:
    """At most so many lines; what does not fit ends in two points, whole words only."""
    lines = wrap(text, room, character)
    if len(lines) <= most:
        return lines
    last = lines[most - 1].rstrip(",;:.")
    while " " in last and (len(last) + 3) * character > room:
        last = last.rpartition(" ")[0].rstrip(",;:.")
    return [*lines[: most - 1], f"{last} .."]


def width_of(text: str, size: int = 13) -> float:
    """Px that a text may take, on the safe side."""
    return len(text) * CHARACTER * size / 13


def push_apart(wished: Sequence[float], low: float, high: float, gap: float = APART) -> list[float]:
    """Places as near as can be to the wished ones (px from the top, any order) that keep their order, `gap` apart,
    within low to high.

    Labels that touch move together to their common middle, as boards laid side by side would.
    """
    order = sorted(range(len(wished)), key=lambda i: wished[i])
    groups: list[list[float]] = []  # middle, half length, members
    for i in order:
        groups.append([wished[i], 1])
        while len(groups) > 1 and groups[-1][0] - groups[-2][0] < gap * (groups[-1][1] + groups[-2][1]) / 2:
            (b, n), (a, m) = groups.pop(), groups.pop()
            groups.append([(a * m + b * n) / (m + n), m + n])
    placed: list[float] = []
    for middle, n in groups:
        half = gap * (n - 1) / 2
        start = max(low, min(high - 2 * half, middle - half))
        placed += [start + gap * k for k in range(int(n))]
    for k in range(1, len(placed)):  # the bounds may have pushed one group onto the next
        placed[k] = max(placed[k], placed[k - 1] + gap)
    over = max(0.0, placed[-1] - high) if placed else 0.0
    result = [0.0] * len(wished)
    for k, i in enumerate(order):
        result[i] = placed[k]
    if over:
        result = _from_below(result, high, gap)
    return result


def _from_below(placed: list[float], high: float, gap: float) -> list[float]:
    result, limit = list(placed), high
    for i in sorted(range(len(placed)), key=lambda j: -placed[j]):
        result[i] = min(result[i], limit)
        limit = result[i] - gap
    return result


def first_free(rails: list[list[tuple[float, float]]], start: float, end: float) -> int | None:
    """The first rail with room from start to end, which is then taken; None when all are full there."""
    for number, taken in enumerate(rails):
        if all(end + 8 <= a or start - 8 >= b for a, b in taken):
            taken.append((start, end))
            return number
    return None


def touch(name: str, size: float, spots: Sequence[tuple[float, float, str, str]]) -> Figure:
    """Where marks can be pointed at, unseen: x, y, the key that leads on, and what the pointer is told."""
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [x for x, _, _, _ in spots],
        "y": [y for _, y, _, _ in spots],
        "marker": {"size": size, "opacity": 0, "color": INK},
        "customdata": [[key, told] for _, _, key, told in spots],
        "hovertemplate": "%{customdata[1]}<extra></extra>",
    }


def empty(text: str, *, height: int = 160, narrow: bool = False) -> Figure:
    """A chart that says why there is nothing to draw."""
    drawn = sheet_of_pixels(NARROW if narrow else WIDE, height)
    drawn["annotations"] = [words(0, 20, text, size=14, colour=INK2)]
    return {"data": [], "layout": drawn}
