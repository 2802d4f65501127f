"""What a page keeps folded: a line each with its name and its finding, opened in place by the address.

Nothing of a fold is worked out but its finding until it is opened: `?open=air` lays it out, and a link or Back closes
it again. On a page that is long already an open one stands in the place of what is above, so that nobody scrolls past
it.
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


def folded(
    folds: Sequence[Fold],
    path: str,
    asked: Mapping[str, Any],
    *,
    name: str = "The rest",
    above: Callable[[], Sequence[Any]] | None = None,
) -> html.Div:
    """All folds of a page as one sheet, and the one that is open.

    above : of a long page what stands over its folds; the open one takes its place. None: it opens below them.
    """
    opened = addresses.chosen(asked.get("open"), [one.key for one in folds], None)
    stay: dict[str, Any] = {"className": "stay"} if above is None else parts.data(go="")

    def way(key: str | None) -> str:
        return addresses.address(path, **{**asked, "open": key, "page": None, "sort": None})

    lines = []
    for one in folds:
        here = one.key == opened
        told: dict[str, Any] = {"aria-expanded": "true" if here else "false"}
        words = [html.B(one.name), html.Span(one.finding), html.Span(className="chevron", **parts.aria(hidden="true"))]
        href = way(None if here else one.key)
        lines.append(html.Li(html.A(words, href=href, id=f"fold-{one.key}", **stay, **told)))
    right = "each opens in place" if above is None else "each opens in place of what stands above"
    sheet = parts.sheet(name, right, html.Ul(lines, className="folds"))
    shown = [html.Div(held(one.name, one.make)) for one in folds if one.key == opened]
    if above is None:
        return html.Div([sheet, *shown])
    if not shown:
        return html.Div([*above(), sheet])
    back = html.P(html.A("Back to the whole page", href=way(None), id="fold-back", **stay))
    return html.Div([back, *shown, sheet])
