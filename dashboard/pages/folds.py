"""What a page keeps folded: a line each with its name and its finding, opened in place by the address.

Nothing of a fold is worked out but its finding until it is opened: `?open=air` lays it out, and a link or Back closes
it again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from dashboard import address as addresses
from dashboard import parts
from dashboard.pages.held import held


@dataclass(frozen=True)
class Fold:
    """One fold: its word in the address, its name, its finding in a line, and what makes its sheet."""

    key: str
    name: str
    finding: str
    make: Callable[[], Any]


def folded(folds: Sequence[Fold], path: str, asked: Mapping[str, Any], *, name: str = "The rest") -> html.Div:
    """All folds of a page as one sheet, and below it the one that is open."""
    opened = addresses.chosen(asked.get("open"), [one.key for one in folds], None)
    lines = []
    for one in folds:
        here = one.key == opened
        told: dict[str, Any] = {"aria-expanded": "true" if here else "false"}
        href = addresses.address(path, **{**asked, "open": None if here else one.key, "page": None, "sort": None})
        words = [html.B(one.name), html.Span(one.finding), html.Span(className="chevron", **parts.aria(hidden="true"))]
        lines.append(html.Li(html.A(words, href=href, id=f"fold-{one.key}", className="stay", **told)))
    sheet = parts.sheet(name, "each opens in place", html.Ul(lines, className="folds"))
    return html.Div([sheet, *(html.Div(held(one.name, one.make)) for one in folds if one.key == opened)])
