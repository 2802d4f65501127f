"""Find: what goes by the letters typed into the header's field, and where it is told of."""

from __future__ import annotations

from typing import Any

import flask
from dash import Dash, dcc, html

from analysis.studies.matters import register
from analysis.studies.matters.register import Entry
from analysis.studies.necks import lots
from analysis.studies.story import find as study
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import book as words_of_book
from dashboard.sentences import going_with

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
                "What are you looking for?",
                "A serial, a lot, a supplier, a model, a tech's code, a log, or a matter by its words or number.",
            ),
            parts.empty_state("Type it into the field above; the key / leads there from anywhere."),
        )
    found, told = _found(q), matters(q)
    if not found.hits and not told:
        return parts.page(
            parts.page_head(
                f"Nothing here goes by “{q}”.",
                "Looked among instruments, lots, models, people, logs and what stands in Book.",
            ),
            parts.empty_state("A serial is kept as it was typed in the log.", "What waits for an answer", "/logs"),
        )
    many = sum(found.counted.values()) + len(told)
    sheets = [_sheet(kind, found) for kind in study.KINDS if found.counted.get(kind)]
    head = f"{numbers.count(many)} {'thing goes' if many == 1 else 'things go'} by “{q}”."
    if told:
        sheets.insert(0, _of_book(told))
    return parts.page(parts.page_head(head, "The closest first."), *sheets)


def matters(q: str) -> list[Entry]:
    """Matters and decisions whose number it is, or in whose words each word stands; those that wait first."""
    wanted = [word for word in q.casefold().split() if any(letter.isalnum() for letter in word)]
    if not wanted:
        return []
    shop = desk.here().snapshot().shop

    def fits(one: Entry) -> bool:
        said = [one.key, words_of_book.what(one, shop), one.action, one.text]
        if one.matter is not None:
            said += [*one.matter.keys, *one.matter.models, going_with.together(one.matter.moves_with, shop)]
        text = " ".join(said).casefold().replace(numbers.NBSP, " ")
        return all(word in text for word in wanted)

    return [one for one in desk.ask(register.register) if fits(one)]


def _of_book(told: list[Entry]) -> html.Section:
    shop = desk.here().snapshot().shop
    rows = [
        html.Li(
            [
                dcc.Link(words_of_book.what(one, shop), href=addresses.address("/book", key=one.key)),
                html.Span(f" {one.state}{f', {one.action}' if one.action else ''}", className="small"),
            ]
        )
        for one in told[: study.MOST]
    ]
    more = len(told) - study.MOST
    rest = [html.P(f"and {numbers.count(more)} more, in Book", className="small")] if more > 0 else []
    many = f"{numbers.count(len(told))} {'matter' if len(told) == 1 else 'matters and decisions'}"
    return parts.sheet("In Book", many, [html.Ul(rows, className="found"), *rest])


def connect(app: Dash) -> None:
    """The way of the header's field; the page itself has no callbacks."""
    app.server.add_url_rule(GO, "go", go)


def go() -> Any:
    """To the one thing that is meant, else to the list of what was found."""
    words = flask.request.args.get("q", "")
    if not words.strip() or not desk.here().has_shop:
        return flask.redirect(addresses.address(PATH, q=words))
    found = _found(words)
    one = found.one
    if not found.hits:
        told = matters(words)
        if len(told) == 1:
            return flask.redirect(addresses.address("/book", key=told[0].key))
    return flask.redirect(leads_to(one) if one else addresses.address(PATH, q=words))


def leads_to(hit: study.Hit) -> str:
    """The address of the page that tells of a hit."""
    match hit.kind:
        case study.SERIAL:
            return addresses.address("/logs/instrument", serial=hit.key)
        case study.LOT if hit.key in desk.ask(lots.necks)["lot"].to_list():
            return addresses.address("/necks", lot=hit.key, supplier=hit.about or None)
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
