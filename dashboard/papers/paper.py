"""What all papers share: templates, grey charts and drawings, the font inside the file, and what a paper was computed
from.

A paper is one self-contained HTML file that prints to A4 or Letter. A module of papers makes a `Paper`, hands charts to
`paper.chart` (any plain dict of dashboard.charts) and small drawings to `paper.drawing` or `paper.mark`, and fills its
template with `paper.html`:

    paper = Paper("Weekly review, week of 9 November 2026", shop_name, computed_from, letter=False)
    return paper.html("week.html", headline=..., chart=paper.chart(figure, "what it shows, as a sentence"))

The template extends base.html: block `head` (the right of the top line), block `body`. Everything is escaped but what
these functions return. The same answers give the same bytes.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Sequence
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.drawn.svg import svg
from dashboard.charts.grey import GREY, in_grey
from dashboard.drawings import nominal
from ingest.store.snapshot import Snapshot

HERE = Path(__file__).parent
ASSETS = HERE.parent / "assets"
INNER = {False: 688, True: 710}  # px between the margins: A4, Letter
FACES = {
    "latin": "U+0000-00FF, U+0131, U+0152-0153, U+02BB-02BC, U+02C6, U+02DA, U+02DC, U+0304, U+0308, U+0329, "
    "U+2000-206F, U+20AC, U+2122, U+2191,"
    " U+2193, U+2212, U+2215, U+FEFF, U+FFFD",
    "latin-ext": "U+0100-02BA, U+02BD-02C5, U+02C7-02CC, U+02CE-02D7, U+02DD-02FF, U+1D00-1DBF, U+1E00-1E9F, "
    "U+1EF2-1EFF, U+2020, U+20A0-20AB,"
    " U+20AD-20C0, U+2113, U+2C60-2C7F, U+A720-A7FF",
}


class Paper:
    """One paper while it is written: its title and its size."""

    def __init__(self, title: str, shop: str, computed_from: str, *, letter: bool = False) -> None:
        self.title, self.shop, self.computed_from, self.letter = title, shop, computed_from, letter
        self.inner = INNER[letter]

    def chart(self, figure: dict[str, Any], says: str, *, phone: dict[str, Any] | None = None) -> Markup:
        """A chart as SVG in grey, as wide as its column; `says` is its finding, for whoever cannot see it; `phone` is
        drawn on a narrow screen.
        """
        place = Markup('<div class="chart{}" role="img" aria-label="{}">{}</div>')
        if phone is None:
            return place.format("", says, _in_grey(figure, self.inner))
        wide = place.format(" off-phone", says, _in_grey(figure, self.inner))
        return wide + place.format(" on-phone", says, _in_grey(phone, style.NARROW))

    def drawing(self, pair: tuple[str, str] | None, says: str) -> Markup:
        """A small drawing of dashboard.charts.sparkline (its light twin) in grey."""
        if pair is None:
            return Markup("")
        return in_place(unquote(pair[0].partition(",")[2]), says)

    def mark(self, state: str) -> Markup:
        """The mark of a state (dashboard.parts.MARKS); its word stands beside it."""
        return in_place((ASSETS / "marks" / f"{state}.light.svg").read_text(), "")

    def html(self, template: str, **words: Any) -> str:
        """The whole file."""
        body = environment().get_template(template)
        return body.render(paper=self, faces=faces(), grey=GREY, **words)


def _in_grey(figure: dict[str, Any], width: float) -> Markup:
    return Markup(svg(in_grey(figure), nominal(figure, width), grey=True))


def in_place(svg: str, says: str) -> Markup:
    """An SVG of ours in grey, to stand in the page: light becomes the hatch that base.html defines."""
    tokens = {style.LIGHT[name].lower(): GREY[name] for name in GREY}
    light = style.LIGHT_FILL.lower()
    grey = re.sub(
        r"#[0-9a-fA-F]{6}",
        lambda found: "url(#hatch)" if found[0].lower() == light else tokens.get(found[0].lower(), found[0]),
        svg,
    )
    named = Markup(' role="img" aria-label="{}"').format(says) if says else Markup(' aria-hidden="true"')
    return Markup(grey.replace("<svg", f"<svg{named}", 1))


def named(typed: str, names: Sequence[str]) -> str:
    """A name as it stands in the logs, whatever its capitals; as it was typed where none or several are meant."""
    alike = [name for name in names if name.casefold() == typed.strip().casefold()]
    return typed if typed in names or len(alike) != 1 else alike[0]


def computed_from(snapshot: Snapshot) -> str:
    """What a paper was computed from, in words: from the same again it comes out the same, to the last digit."""
    local = snapshot.as_of.astimezone(snapshot.shop.zone)
    files = f", shop files {snapshot.shop_files[:12]}" if snapshot.shop_files else ""
    return (
        f"as of {numbers.clock(local)}; store version {snapshot.version}, bench book "
        f"{snapshot.book_sequence}{files}, Truerun {version('truerun')}"
    )


@cache
def environment() -> Environment:
    """Templates with everything escaped; a name that is missing is an error."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["css"] = css_string
    return made


def css_string(text: str) -> Markup:
    """A text as a CSS string: whatever is no plain letter, digit or blank is written as its code."""
    return Markup(
        '"' + "".join(c if c.isascii() and (c.isalnum() or c in " ,.:;") else f"\\{ord(c):x} " for c in text) + '"'
    )


@cache
def faces() -> Markup:
    """The font, inside the file."""
    rules = []
    for name, reach in FACES.items():
        data = base64.b64encode(
            (ASSETS / "font" / f"atkinson-hyperlegible-next-{name}-wght-normal.woff2").read_bytes()
        ).decode()
        rules.append(
            f'@font-face{{font-family:"Atkinson Hyperlegible Next";src:url(data:font/woff2;base64,{data}) '
            'format("woff2");'
            f"font-weight:200 800;font-display:block;unicode-range:{reach}}}"
        )
    return Markup("\n".join(rules))
