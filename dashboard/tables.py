"""A long table: plain HTML, sorted and leafed through by the address, so that a link, Back and print agree.

Twelve rows stand on a page. A heading sorts by its figure, once more turns the order round; both are links that
keep the reader's place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from dashboard import address as addresses
from dashboard import numbers

PAGE_ROWS = 12  # before a person leafs on


def leafed(
    rows: Sequence[Mapping[str, Any]],
    columns: Sequence[Any],
    name: str,
    path: str,
    asked: Mapping[str, Any],
    *,
    few: int = PAGE_ROWS,
) -> html.Div:
    """The table, `few` rows of it, at the page and in the order that `asked` (the address) holds.

    rows : dicts; a row's `href` makes its first column a link; beside a figure's words stands its number under
    `<key>_at`, by which its column sorts; a column without one is sorted by its words. columns : (key, heading) or
    (key, heading, kind) as `parts.plain_table` takes them. asked : values of the page's address, `sort` and `page`
    among them.
    """
    told = [(c[0], c[1], c[2] if len(c) > 2 else "") for c in columns]
    sort = addresses.chosen(asked.get("sort"), [f"{way}{key}" for key, _, _ in told for way in ("", "-")], "") or ""
    ordered = _ordered(rows, sort)
    last = max((len(ordered) - 1) // few + 1, 1)
    page = addresses.whole_number(asked.get("page"), 1, last, 1)
    shown = ordered[(page - 1) * few : page * few]

    def leads(**more: Any) -> str:
        return addresses.address(path, **{**asked, **more})

    heads = []
    for key, heading, kind in told:
        href = leads(sort=_next(key, sort), page=None)
        way = html.A(heading, href=href, id=f"{name}-by-{key}", className="stay")
        heads.append(_head(way, kind, sort if sort.strip("-") == key else ""))
    body = [
        html.Tr(
            [
                html.Td(_first(row, key) if place == 0 else row.get(key, ""), className=kind)
                for place, (key, _, kind) in enumerate(told)
            ]
        )
        for row in shown
    ]
    table = html.Div(
        html.Table([html.Thead(html.Tr(heads)), html.Tbody(body)], className="plain"), className="table-wrap"
    )
    seen = (page - 1) * few + 1, min(page * few, len(ordered)), len(ordered)
    return html.Div([table, *([_leaves(name, page, last, seen, leads)] if last > 1 else [])], id=name)


def leaf(count: int, rows: int, name: str, path: str, asked: Mapping[str, Any]) -> tuple[int, list[Any]]:
    """Of a table whose order is its own, `rows` on a page: the place of the first row of the page that `asked` (the
    address) holds, and the way to the pages beside it.
    """
    first, _, ways = leaf_at(range(0, max(count, 1), rows), count, name, path, asked)
    return first, ways


def leaf_at(
    starts: Sequence[int], count: int, name: str, path: str, asked: Mapping[str, Any]
) -> tuple[int, int, list[Any]]:
    """The same of pages that begin at `starts`: the first place of the page that is asked for, the one after its last,
    and the way to the pages beside it.
    """
    last = len(starts)
    page = addresses.whole_number(asked.get("page"), 1, last, 1)
    first, end = starts[page - 1], starts[page] if page < last else count

    def leads(**more: Any) -> str:
        return addresses.address(path, **{**asked, **more})

    seen = first + 1, end, count
    return first, end, [_leaves(name, page, last, seen, leads)] if last > 1 else []


def _head(way: Any, kind: str, sort: str) -> html.Th:
    ordered: dict[str, Any] = {"aria-sort": "descending" if sort.startswith("-") else "ascending"} if sort else {}
    return html.Th(way, className=kind, scope="col", **ordered)


def _first(row: Mapping[str, Any], key: str) -> Any:
    return dcc.Link(row[key], href=row["href"]) if row.get("href") else row[key]


def _next(key: str, sort: str) -> str:
    """The order a heading leads to: largest first, then smallest first."""
    return key if sort == f"-{key}" else f"-{key}"


def _ordered(rows: Sequence[Mapping[str, Any]], sort: str) -> list[Mapping[str, Any]]:
    """Rows by a column; those without its figure stand last whichever way."""
    key = sort.strip("-")
    if not key:
        return list(rows)

    def value(row: Mapping[str, Any]) -> Any:
        return row[f"{key}_at"] if f"{key}_at" in row else row.get(key)

    there = [row for row in rows if value(row) is not None]
    return sorted(there, key=value, reverse=sort.startswith("-")) + [row for row in rows if value(row) is None]


def _leaves(name: str, page: int, last: int, seen: tuple[int, int, int], leads: Any) -> html.Div:
    """The way to the rows before and after; seen: the first and the last row shown, of how many."""
    first, end, count = seen
    said = html.Span(f"{numbers.count(first)} to {numbers.count(end)} of {numbers.count(count)}", className="tabular")
    ways = [
        html.A(words, href=leads(page=to if to > 1 else None), id=f"{name}-{words.lower()}", className="stay button")
        for words, to in (("Before", page - 1), ("Next", page + 1))
        if 1 <= to <= last
    ]
    return html.Div([said, *ways], className="leaves no-print")
