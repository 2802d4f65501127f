"""Book: what moved and was decided, who acts by when, what is done, and whether the readings moved after it."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import polars as pl
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from analysis.studies.drift.streams import STREAM
from analysis.studies.matters import register
from analysis.studies.matters.register import Entry
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import book as words
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

PATH, NAME = "/book", "Book"
LIST, SAID, AGAIN = "book-list", "book-said", "book-again"
FIELD, DO = "book-field", "book-do"
SHOWN = 40  # rows; the rest by filter, and in the saved table
NOT_CLOSED = "not closed"
CHIPS = (NOT_CLOSED, "over", register.OPEN, register.ACTION, register.DONE, register.CHECKED, register.CLOSED, "all")
DID = {"take": "action", "done": "done", "close": "close", "reopen": "reopen"}


def layout(state: str = "", who: str = "", **_address: str) -> Any:
    """The register as its address asks for it."""
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
    return parts.page(
        parts.page_head(
            words.headline(entries, shop), "Signal, action, done, checked by the readings after it, closed."
        ),
        html.Nav(chips, className="chips no-print", **parts.aria(label="State")),
        html.Nav(
            [html.Span("Who: ", className="small"), *people], className="chips no-print", **parts.aria(label="Who")
        )
        if people
        else None,
        html.Div(_rows(shown, shop), id=LIST),
        decide(),
        html.P(id=SAID, role="status", className="small"),
        dcc.Location(id=AGAIN, refresh="callback-nav"),
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


def _rows(entries: list[Entry], shop: Shop) -> html.Section:
    """The rows, each to be opened for its life and what can be done now."""
    if not entries:
        empty = parts.empty_state(
            "Nothing stands here. A matter comes by itself; an action is written beside it.", "What moved", "/drift"
        )
        return parts.sheet("What waits, then what is closed", "", empty)
    now = _today()
    rows = [_row(one, shop, now) for one in entries[:SHOWN]]
    left = len(entries) - len(rows)
    more = (
        [html.P(f"and {numbers.count(left)} more: narrow the list, or save it whole.", className="small")]
        if left > 0
        else []
    )
    key = "five inlays: signal, action, done, checked, closed; a wedge: over its day"
    return parts.sheet("What waits, then what is closed", key, [*rows, *more, parts.save_whole("book")])


def _row(one: Entry, shop: Shop, now: date) -> html.Details:
    moved, how = words.moved(one, shop)
    by = numbers.day(one.due, now) if one.due else ""
    alarm = " alarm" if one.over or one.state == register.OPEN else ""
    head = html.Summary(
        [
            html.Span([html.B(words.what(one, shop)), html.Br(), html.Span(words.under(one, shop), className="small")]),
            html.Span(numbers.day(one.since, now)),
            html.Span([html.Span(words.state(one, now), className=f"standing{alarm}"), html.Br(), life(one)]),
            html.Span(
                [one.owner or ("nobody yet" if one.waits else "nobody"), html.Br(), html.Span(by, className="small")]
            ),
            html.Span([moved, html.Br(), html.Span(how, className="small")]),
        ]
    )
    told = [
        html.Li([said, html.Br(), html.Span(by_whom, className="small")])
        for said, by_whom in (words.line(each, shop, now) for each in one.lines)
    ]
    story = html.Ul(told, className="book") if told else html.P("Nothing is written about it yet.", className="small")
    links = []
    if one.matter is not None and one.matter.main.get("characteristic"):
        stream = {name: one.matter.main[name] for name in ("characteristic", "position", "model", "stage")}
        links.append(dcc.Link("Its readings on Drift", href=addresses.address("/drift", **stream), className="button"))
    return html.Details(
        [head, html.Div([html.Div([story, *links]), _acts(one)], className="opened")], className="register-row"
    )


def life(one: Entry) -> html.Span:
    """Five inlays on a strip: reached ones filled; a wedge on the next where its day is over."""
    inlays = []
    for place, step in enumerate(register.LIFE, start=1):
        kind = "on" if place <= one.reached else "late" if one.over and place == one.reached + 1 else "off"
        inlays.append(html.I(className=kind, title=step))
    said = f"{one.reached} of 5 steps{', over its day' if one.over else ''}"
    return html.Span(inlays, className="life", role="img", **parts.aria(label=said))


def _acts(one: Entry) -> html.Div:
    """What can be done now: give it to somebody, say it is done, close it or open it again."""

    def field(label: str, name: str, value: str = "") -> Any:
        return parts.text_field(label, {"type": FIELD, "key": one.key, "name": name}, value)

    def button(text: str, do: str, *, first: bool = False) -> html.Button:
        name = "button primary" if first else "button"
        return html.Button(text, id={"type": DO, "key": one.key, "do": do}, className=name, n_clicks=0)

    rows: list[Any] = []
    if one.state == register.CLOSED:
        rows.append(html.Div([button("Open it again", "reopen")], className="acts"))
    else:
        if one.matter is not None:
            rows += [
                field("Action", "action", one.action),
                html.Div(
                    [field("Owner", "owner", one.owner), field("By (year-month-day)", "due", str(one.due or ""))],
                    className="pair",
                ),
                html.Div([button("Give it to someone", "take", first=one.state == register.OPEN)], className="acts"),
            ]
        if one.state == register.ACTION:
            rows += [
                field("Done on (year-month-day)", "done_on", str(_today())),
                html.Div([button("It is done", "done", first=True)], className="acts"),
            ]
        rows += [field("Why it is closed", "why"), html.Div([button("Close it", "close")], className="acts")]
    rows.append(field("Written by", "who"))
    return html.Div(rows, className="no-print book-form")


def decide() -> html.Div:
    """A decision that hangs on no signal: its words, an owner and a day."""

    def field(label: str, name: str) -> Any:
        return parts.text_field(label, {"type": FIELD, "key": "new", "name": name})

    form = [
        field("Decision", "action"),
        html.Div([field("Owner", "owner"), field("By (year-month-day)", "due")], className="pair"),
        field("Written by", "who"),
        html.Div(
            [
                html.Button(
                    "Put it in the book",
                    id={"type": DO, "key": "new", "do": "decide"},
                    className="button primary",
                    n_clicks=0,
                )
            ],
            className="acts",
        ),
    ]
    return html.Div(
        parts.sheet("Write a decision", "it stands in the list above until somebody closes it", form),
        className="no-print",
    )


def connect(app: Dash) -> None:
    """The page's callbacks."""
    app.callback(
        Output(SAID, "children"),
        Output(AGAIN, "search"),
        Input({"type": DO, "key": ALL, "do": ALL}, "n_clicks"),
        State({"type": FIELD, "key": ALL, "name": ALL}, "value"),
        State({"type": FIELD, "key": ALL, "name": ALL}, "id"),
        State(AGAIN, "search"),
        prevent_initial_call=True,
    )(pressed)


def pressed(
    clicks: list[int | None], values: list[str | None], ids: list[dict[str, str]], search: str | None
) -> tuple[Any, Any]:
    """A button of one row: what it says is written, and the list is laid anew."""
    asked = ctx.triggered_id
    if not isinstance(asked, dict) or not any(clicks):
        return no_update, no_update
    said = {
        each["name"]: str(value or "").strip()
        for each, value in zip(ids, values, strict=True)
        if each["key"] == asked["key"]
    }
    wrong = write(asked["key"], asked["do"], said)
    if wrong:
        return wrong, no_update
    trimmed = (search or "").partition("at=")[0].rstrip("?&")
    mark = "&" if trimmed else "?"
    return "Written into the book.", f"{trimmed}{mark}at={desk.here().snapshot().book_sequence}"


def write(key: str, do: str, said: dict[str, str]) -> str:
    """Write what a row's form holds; '' once it stands in the book, else what is missing."""
    who = said.get("who", "")
    if not who:
        return "Say who writes this: the book keeps who wrote what and when."
    try:
        days = {name: _day(said.get(name, "")) for name in ("due", "done_on")}
    except ValueError as fault:
        return str(fault)
    if do == "decide":
        if not said.get("action") or not said.get("owner"):
            return "A decision wants its words and an owner."
        desk.here().write_entry("decision", said["action"], who=who, owner=said["owner"], due=days["due"])
        return ""
    one = next((each for each in desk.ask(register.register) if each.key == key), None)
    if one is None:
        return "This row is no longer there: the readings have moved on. Open the page anew."
    tied = _tied(one)
    if do == "take":
        if not said.get("action") or not said.get("owner"):
            return "Say what is to be done, and who does it."
        desk.here().write_entry("action", said["action"], who=who, owner=said["owner"], due=days["due"], **tied)
    elif do == "done":
        if days["done_on"] is None or days["done_on"] > _today():
            return "On which day was it done? Not a day to come."
        desk.here().write_entry("done", "", who=who, done_on=days["done_on"], **tied)
    elif do == "close" and not said.get("why"):
        return "Say in a word why it is closed."
    else:
        for each in _all_tied(one):
            desk.here().write_entry(DID[do], said.get("why", ""), who=who, **each)
    return ""


def _tied(one: Entry) -> dict[str, Any]:
    """What a line of the book hangs on: the signal that stands for the matter, or the decision's own line."""
    if one.matter is None:
        return {"about": int(one.key[1:])}
    main = one.matter.main
    return {name: main[name] for name in (*STREAM, "chart", "opened_at", "serial") if main.get(name)}


def _all_tied(one: Entry) -> list[dict[str, Any]]:
    """A closing settles the matter in all its streams: one line a signal that is still open."""
    if one.matter is None:
        return [_tied(one)]
    rows = desk.ask(register.members, key=one.key)
    return [{name: row[name] for name in (*STREAM, "chart", "opened_at", "serial") if row.get(name)} for row in rows]


def _day(text: str) -> date | None:
    try:
        return datetime.strptime(text, "%Y-%m-%d").date() if text else None
    except ValueError:
        raise ValueError(f"{text!r} is not a date; write it as 2026-11-27.") from None
