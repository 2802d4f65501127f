"""Find: what goes by the letters typed into the header's field, and where it is told of."""

from __future__ import annotations

from typing import Any

import flask
from dash import Dash, dcc, html

from analysis.studies.story import find as study
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk

PATH, NAME = "/find", "Find"
GO = "/go"  # where the header's field leads: to the one thing that is meant, else to this page
HEADINGS = {
    study.SERIAL: ("Instruments", "instrument"),
    study.LOT: ("Lots", "lot"),
    study.SUPPLIER: ("Suppliers", "supplier"),
    study.MODEL: ("Models", "model"),
    study.TECH: ("People at the benches", "tech"),
    study.LOG: ("Logs", "log"),
}


def layout(q: str = "", **_address: str) -> Any:
    """Everything found, by kind, each a link to the page that tells of it."""
    if not q.strip():
        return parts.page(
            parts.page_head(
                "What are you looking for?", "A serial, a lot, a supplier, a model, a tech's code or a log."
            ),
            parts.empty_state("Type it into the field above; the key / leads there from anywhere."),
        )
    found = _found(q)
    if not found.hits:
        return parts.page(
            parts.page_head(f"Nothing here goes by “{q}”.", "Looked among instruments, lots, models, people and logs."),
            parts.empty_state("A serial is kept as it was typed in the log.", "What waits for an answer", "/logs"),
        )
    many = sum(found.counted.values())
    sheets = [_sheet(kind, found) for kind in study.KINDS if found.counted.get(kind)]
    head = f"{numbers.count(many)} {'thing goes' if many == 1 else 'things go'} by “{q}”."
    return parts.page(parts.page_head(head, "The closest first."), *sheets)


def connect(app: Dash) -> None:
    """The way of the header's field; the page itself has no callbacks."""
    app.server.add_url_rule(GO, "go", go)


def go() -> Any:
    """To the one thing that is meant, else to the list of what was found."""
    words = flask.request.args.get("q", "")
    one = _found(words).one if words.strip() and desk.here().has_shop else None
    return flask.redirect(leads_to(one) if one else addresses.address(PATH, q=words))


def leads_to(hit: study.Hit) -> str:
    """The address of the page that tells of a hit."""
    match hit.kind:
        case study.SERIAL:
            return addresses.address("/logs/instrument", serial=hit.key)
        case study.LOT:
            return addresses.address("/logs/readings", lot=hit.key, supplier=hit.about or None)
        case study.SUPPLIER:
            return addresses.address("/necks", supplier=hit.key)
        case study.MODEL:
            shop = desk.here().snapshot().shop
            return addresses.address("/drift", models=shop.setups.get(hit.key, hit.key))
        case study.TECH:
            return addresses.address("/bench", tech=hit.key)
        case _:
            return "/logs"


def _found(words: str) -> study.Found:
    people = desk.here().snapshot().shop.people.show != "none"
    return desk.ask(study.find, words=words.strip(), people=people)


def _sheet(kind: str, found: study.Found) -> html.Section:
    heading, word = HEADINGS[kind]
    hits, many = [hit for hit in found.hits if hit.kind == kind], found.counted[kind]
    rows = [
        html.Li([dcc.Link(hit.key, href=leads_to(hit)), html.Span(f" {hit.about}", className="small")]) for hit in hits
    ]
    more = many - len(hits)
    rest = [html.P(f"and {numbers.count(more)} more; type more of its name", className="small")] if more else []
    told = f"{numbers.count(many)} {word if many == 1 else heading.lower()}"
    return parts.sheet(
        heading, told if kind != study.TECH else numbers.count(many), [html.Ul(rows, className="found"), *rest]
    )
