"""Book: what moved and was decided, who acts by when, what is done, and whether the readings moved after it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import polars as pl
from dash import Dash, dcc, html

from analysis.studies.matters import register
from analysis.studies.matters.register import Entry
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages.book import deeds
from dashboard.sentences import book as words
from dashboard.sentences import shared as sentences
from dashboard.sentences import shares_moved
from ingest.shopfiles.shop import Shop

PATH, NAME = "/book", "Book"
LIST = "book-list"
SHOWN = 40  # rows; the rest by filter, and in the saved table
BEFORE = timedelta(weeks=4)  # readings shown before a closed matter began
NOT_CLOSED = "not closed"
CHIPS = (NOT_CLOSED, "over", register.OPEN, register.ACTION, register.DONE, register.CHECKED, register.CLOSED, "all")


def layout(state: str = "", who: str = "", key: str = "", **_address: str) -> Any:
    """The register as its address asks for it; `key`: one row of it, opened."""
    chosen = addresses.chosen(state, CHIPS, NOT_CLOSED) or NOT_CLOSED
    shop = desk.here().snapshot().shop
    entries = desk.ask(register.register)
    owners = sorted({one.owner for one in entries if one.owner})
    owner = addresses.chosen(who, owners, "") or ""
    of_owner = [one for one in entries if not owner or one.owner == owner]
    many = {chip: sum(_fits(one, chip) for one in of_owner) for chip in CHIPS}
    chips = [
        dcc.Link(
            [chip[0].upper() + chip[1:], html.B(f" {numbers.count(many[chip])}")],
            href=addresses.address(PATH, state=chip if chip != NOT_CLOSED else None, who=owner or None),
            className="chip" + (" chosen" if chip == chosen else ""),
        )
        for chip in CHIPS
        if many[chip] or chip in (chosen, NOT_CLOSED, "all")
    ]
    people = [
        dcc.Link(
            each,
            href=addresses.address(PATH, state=chosen, who=each),
            className="chip" + (" chosen" if each == owner else ""),
        )
        for each in owners
    ]
    if owner:
        people.append(dcc.Link("Anybody", href=addresses.address(PATH, state=chosen), className="chip"))
    shown = [one for one in of_owner if _fits(one, chosen)]
    if key:
        shown = [one for one in entries if one.goes_by(key)]
    return parts.page(
        parts.page_head(words.headline(entries, shop), "What moved or was decided, who has it, and whether it helped."),
        html.Nav(chips, className="chips no-print", **parts.aria(label="State")),
        html.Nav(
            [html.Span("Who: ", className="small"), *people], className="chips no-print", **parts.aria(label="Who")
        )
        if people
        else None,
        html.Div(_rows(shown, shop, key), id=LIST),
        deeds.place(),
        html.Div(
            parts.sheet(
                "Write a decision", "it stands in the list above until somebody closes it", html.Div(deeds.decide())
            ),
            className="no-print",
        ),
    )


def saved(state: str = "", who: str = "", **_address: str) -> tuple[str, pl.DataFrame]:
    """The register as a table."""
    shop = desk.here().snapshot().shop
    entries = [
        one for one in desk.ask(register.register) if (not state or _fits(one, state)) and (not who or one.owner == who)
    ]
    today = _today()
    rows = [
        {
            "what": words.what(one, shop),
            "since": one.since,
            "state": one.state,
            "owner": one.owner,
            "due": one.due,
            "days_over": one.over,
            "action": one.action,
            "done_on": one.done_on,
            "did_it_move": words.moved(one, shop)[0],
            "closed_on": one.closed_on,
            "standing": words.state(one, today),
        }
        for one in entries
    ]
    return "book.csv", pl.DataFrame(rows)


def _fits(one: Entry, chip: str) -> bool:
    if chip == "all":
        return True
    if chip == NOT_CLOSED:
        return one.state != register.CLOSED
    return bool(one.over) if chip == "over" else one.state == chip


def _today() -> date:
    snapshot = desk.here().snapshot()
    return sentences.local(snapshot.shop, snapshot.as_of).date()


def _rows(entries: list[Entry], shop: Shop, key: str = "") -> html.Section:
    """The rows, each to be opened for its life and what can be done now."""
    if not entries and key:
        gone = parts.empty_state(f"No matter or decision has the number {key}.", "All of Book", PATH)
        return parts.sheet("Not in the book", "", gone)
    if not entries:
        empty = parts.empty_state(
            "Nothing stands here. A matter comes by itself; an action is written beside it.", "What moved", "/drift"
        )
        return parts.sheet("What waits, then what is closed", "", empty)
    now = _today()
    rows = [_row(one, shop, now, asked=key) for one in entries[:SHOWN]]
    left = len(entries) - len(rows)
    more = (
        [html.P(f"and {numbers.count(left)} more: narrow the list, or save it whole.", className="small")]
        if left > 0
        else []
    )
    key = "five steps: signal, action, done, checked, closed; a wedge: over its day; + opens a row"
    return parts.sheet("What waits, then what is closed", key, [*rows, *more, parts.save_whole("book")])


def _row(one: Entry, shop: Shop, now: date, *, asked: str = "") -> html.Details:
    """asked : the number that was asked for; the row that goes by it stands open."""
    moved, how = words.moved(one, shop)
    by = numbers.day(one.due, now) if one.due else ""
    alarm = " alarm" if deeds.alarms(one) else ""
    head = html.Summary(
        [
            html.Span(
                [html.B(words.what(one, shop)), html.Br(), html.Span(words.under(one, shop, now), className="small")]
            ),
            html.Span(numbers.day(one.since, now)),
            html.Span([html.Span(words.state(one, now), className=f"standing{alarm}"), html.Br(), deeds.life(one)]),
            html.Span(
                [
                    one.owner or ("" if one.watched else "nobody yet" if one.waits else _closed(one)),
                    html.Br(),
                    html.Span(by, className="small"),
                ]
            ),
            html.Span([moved, html.Br(), html.Span(how, className="small")]),
        ]
    )
    links: list[Any] = [dcc.Link(f"No. {one.key}", href=addresses.address(PATH, key=one.key), className="small"), " "]
    part = bool(asked) and one.goes_by(asked)
    if part and one.key != asked:
        links += [html.Span(f"No. {asked} is a part of it by now.", className="small"), " "]
    if one.matter is not None and one.matter.main.get("characteristic"):
        stream = {name: one.matter.main[name] for name in ("characteristic", "position", "model", "stage")}
        way = addresses.address("/drift", **stream)
        if one.closed_on is not None:
            way = addresses.of_days(way, one.since - BEFORE, one.closed_on)
        links.append(dcc.Link("Its readings on Drift", href=way, className="button"))
    elif one.matter is not None:
        days = {"from": shares_moved.counted_from(one.matter, shop), "to": one.closed_on or now}
        model = shares_moved.one_model(one.matter)
        way = addresses.address("/rework", caused_at=one.matter.main["stage"], model=model, **days)
        links.append(dcc.Link("Its instruments on Rework", href=way, className="button"))
    return html.Details([head, deeds.opened(one, shop, now, *links)], className="register-row", open=part)


def _closed(one: Entry) -> str:
    """Who closed what nobody had."""
    if one.state != register.CLOSED:
        return "nobody"
    return f"closed by {one.closed_by}" if one.closed_by else "closed by its readings"


def connect(app: Dash) -> None:
    """The page's callbacks."""
    deeds.connect(app)
