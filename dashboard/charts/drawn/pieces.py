"""What a chart is put together from: paths that stretch with it, and marks and words that do not."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape
from itertools import groupby

from dashboard.charts import style
from dashboard.charts.drawn.places import Place, Plot, percent, short

NOTHING = "rgba(0,0,0,0)"
HATCH = "url(#hatch)"
TOKENS = {colour.lower(): name for name, colour in style.LIGHT.items()}
DASHES = {"dot": "2 3", "dash": "7 5", "dashdot": "7 4 2 4"}
HEX = re.compile(r"(#[0-9a-fA-F]{6})([0-9a-fA-F]{2})?$")


def colour(told: str, name: str, *, grey: bool) -> str:
    """A colour as SVG attributes: its token on a screen, so that it follows the scheme; its hex on grey paper."""
    found = HEX.match(told or "")
    if not found:
        return f'{name}="none"' if not told or told == NOTHING else f'{name}="{escape(told)}"'
    token = None if grey else TOKENS.get(found[1].lower())
    said = f'{name}="var(--{token})"' if token else f'{name}="{found[1]}"'
    return f'{said} {name}-opacity="{short(int(found[2], 16) / 255)}"' if found[2] else said


class Pieces:
    """The parts of one chart in the order in which one lies on another."""

    def __init__(self, plot: Plot, *, grey: bool) -> None:
        self.plot, self.grey = plot, grey
        self._said: list[tuple[str, str, str]] = []  # kind: "seen" and "cut" paths, "own" markup; its style; its words

    def fill(self, told: str) -> str:
        """Attributes of a filled path."""
        return colour(told, "fill", grey=self.grey)

    def stroke(self, told: str, width: float, dash: str = "solid") -> str:
        """Attributes of a drawn path."""
        lengths = "" if dash in ("", "solid") else DASHES.get(dash) or dash.replace("px", "").replace(",", " ")
        dashed = f' stroke-dasharray="{lengths}"' if lengths else ""
        return f'fill="none" {colour(told, "stroke", grey=self.grey)} stroke-width="{short(width)}"{dashed}'

    def path(self, d: str, look: str, *, cut: bool = False) -> None:
        """A path in nominal px that stretches with the chart; `cut` where it ends at the plot's edge."""
        if d:
            self._said.append(("cut" if cut else "seen", look, d))

    def hung(self, at: float, y: float, markup: str) -> None:
        """Markup in px round a place that keeps its shape at every width."""
        where = f'x="{percent(at, self.plot.width)}" y="{short(y)}"'
        self._said.append(("own", "", f'<svg {where} overflow="visible">{markup}</svg>'))

    def own(self, markup: str) -> None:
        """Markup that is ready."""
        self._said.append(("own", "", markup))

    def markup(self) -> str:
        """All of it; neighbours of one look are one path."""
        told = []
        for kind, several in groupby(self._said, key=lambda piece: piece[0]):
            if kind == "own":
                told += [words for _, _, words in several]
                continue
            paths = [
                f'<path {look} d="{"".join(d for _, _, d in same)}"/>'
                for look, same in groupby(several, key=lambda piece: piece[1])
            ]
            box = f"0 0 {short(self.plot.width)} {short(self.plot.height)}"
            cut = "hidden" if kind == "cut" else "visible"
            told.append(
                f'<svg class="stretch" viewBox="{box}" preserveAspectRatio="none" width="100%" '
                f'height="{short(self.plot.height)}" overflow="{cut}">{"".join(paths)}</svg>'
            )
        return "".join(told)


def drawn_path(commands: Sequence[tuple[str, Sequence[Place]]], *, shifted: bool = False) -> str:
    """Commands and places as the `d` of a path: nominal px, or only the shifts where they hang on one place."""
    return "".join(
        letter + " ".join(f"{short(p.dx if shifted else p.x + p.dx)},{short(p.y)}" for p in places)
        for letter, places in commands
    )


def line_through(places: Sequence[tuple[float, float] | None], *, closed: bool = False) -> str:
    """A line through places, broken where there is none; of a level stretch only its ends are said."""
    told, begun = [], False
    for place in [*_bends(places), None]:
        if place is None:
            if begun and closed:
                told.append("Z")
            begun = False
            continue
        told.append(f"{'L' if begun else 'M'}{short(place[0])},{short(place[1])}")
        begun = True
    return "".join(told)


def _bends(places: Sequence[tuple[float, float] | None]) -> list[tuple[float, float] | None]:
    """Places without those that stand between two neighbours of their own height: a line is the same without them."""
    kept = list(places[:1])
    for before, here, after in zip(places, places[1:], places[2:], strict=False):
        if not (before and here and after and _between(before, here, after)):
            kept.append(here)
    return kept + list(places[1:][-1:])


def _between(before: tuple[float, float], here: tuple[float, float], after: tuple[float, float]) -> bool:
    level = short(before[1]) == short(here[1]) == short(after[1])
    return level and min(before[0], after[0]) <= here[0] <= max(before[0], after[0])
