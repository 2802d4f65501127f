"""The deeds of one matter or decision: give it to somebody, say it is done, close it, open it again, call it known. One
form on Book, Week and Drift, so that a matter's life is written from each and seen in all.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from analysis.studies.drift.streams import STREAM
from analysis.studies.matters import register
from analysis.studies.matters.register import Entry
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages import days
from dashboard.sentences import book as words
from ingest.shopfiles.shop import Shop

SAID, AGAIN = "book-said", "book-again"
FIELD, DO = "book-field", "book-do"
DID = {"take": "action", "done": "done", "close": "close", "reopen": "reopen", "known": "known"}
NEW = "new"  # key of the form that writes a decision
WHO = "who"


class Wanted(str):
    """What a form still wants, in words, and the name of the line that wants it."""

    field: str

    def __new__(cls, text: str, field: str) -> Wanted:
        """The words, and the line's name as in `field_id`; WHO for who writes."""
        made = super().__new__(cls, text)
        made.field = field
        return made


def opened(one: Entry, shop: Shop, now: date, *ways: Any) -> html.Div:
    """A row opened: its life so far, the ways on, and what can be done now."""
    told = [
        html.Li([said, html.Br(), html.Span(by_whom, className="small")])
        for said, by_whom in (words.line(each, shop, now) for each in one.lines)
    ]
    story = html.Ul(told, className="book") if told else html.P("Nothing is written about it yet.", className="small")
    both = words.apart(one, shop)
    first = [html.P(both, className="small note", role="status")] if both else []
    return html.Div([html.Div([*first, story, *ways]), acts(one)], className="opened")


def alarms(one: Entry) -> bool:
    """Is it over its day, or does something that went away from its target wait for somebody?"""
    waits = one.state == register.OPEN and not one.watched
    return bool(one.over) or (waits and not (one.matter is not None and one.matter.to_target))


def life(one: Entry) -> html.Span:
    """Five inlays on a strip: steps that were taken filled; a wedge on the next where its day is over."""
    inlays = []
    for place, (step, taken) in enumerate(zip(register.LIFE, one.steps, strict=True), start=1):
        kind = "on" if taken else "late" if one.over and place == one.reached + 1 else "off"
        inlays.append(html.I(className=kind, title=step))
    said = f"{sum(one.steps)} of 5 steps{', over its day' if one.over else ''}"
    return html.Span(inlays, className="life", role="img", **parts.aria(label=said))


def field_id(key: str, name: str) -> dict[str, str]:
    """The id of one field of a form."""
    return {"type": FIELD, "key": key, "name": name}


def _who(key: str) -> dict[str, str]:
    return {"type": WHO, "place": f"book-{key}"}


def acts(one: Entry) -> html.Div:
    """What can be done now."""

    def field(label: str, name: str, value: str = "") -> Any:
        return parts.text_field(label, field_id(one.key, name), value)

    def day(label: str, name: str, value: date | None = None) -> Any:
        return days.field(label, field_id(one.key, name), value)

    def button(text: str, do: str, *, first: bool = False) -> html.Button:
        name = "button primary" if first else "button"
        return html.Button(text, id={"type": DO, "key": one.key, "do": do}, className=name, n_clicks=0)

    rows: list[Any] = [parts.who_field(_who(one.key))]
    if one.state == register.CLOSED:
        again = html.Div([button("Open it again", "reopen")], className="acts")
        return html.Div([*rows, again, _said(one.key)], className=FORM)
    if one.matter is not None:
        rows += [
            field("Action", "action", one.action),
            html.Div([field("Owner", "owner", one.owner), day("By", "due", one.due)], className="pair"),
            html.Div([button("Give it to someone", "take", first=one.state == register.OPEN)], className="acts"),
        ]
    if one.state == register.ACTION:
        rows.append(
            html.Div(
                [
                    day("Done on", "done_on", desk.here().today()),
                    html.Div([button("It is done", "done", first=True)], className="acts"),
                ],
                className="pair",
            )
        )
    rest: list[Any] = [field("Why", "why")]
    ends = [button("Close it", "close")]
    if one.matter is not None and one.state != register.KNOWN:
        rest.append(day("Known until", "until"))
        ends.append(button("It is known until that day", "known"))
    rows.append(_said(one.key))
    rows.append(
        html.Details(
            [
                html.Summary("Close it, or call it known"),
                html.Div(rest, className="pair"),
                html.Div(ends, className="acts"),
            ],
            className="behind",
        )
    )
    return html.Div(rows, className=FORM)


FORM = "no-print book-form"


def decide(value: str = "", owner: str = "", due: date | None = None, *, key: str = NEW) -> list[Any]:
    """The form of a decision that hangs on no signal: its words, an owner and a day."""
    return [
        html.Div(
            [
                parts.text_field("Decision", field_id(key, "action"), value),
                parts.text_field("Owner", field_id(key, "owner"), owner),
                days.field("By", field_id(key, "due"), due),
                parts.who_field(_who(key)),
            ],
            className="ruled",
        ),
        html.Div(
            [
                html.Button(
                    "Put it in the book",
                    id={"type": DO, "key": key, "do": "decide"},
                    className="button primary",
                    n_clicks=0,
                )
            ],
            className="acts",
        ),
        _said(key),
    ]


def place() -> dcc.Location:
    """What each page with such a form needs once: the way to the page anew."""
    return dcc.Location(id=AGAIN, refresh="callback-nav")


def _said(key: str) -> html.P:
    """Where a form says what it still wants: beside its buttons."""
    return html.P(id={"type": SAID, "key": key}, role="status", className="said")


def connect(app: Dash) -> None:
    """The callback of all these forms, wherever they stand."""
    app.callback(
        Output({"type": SAID, "key": ALL}, "children"),
        Output(AGAIN, "search"),
        Input({"type": DO, "key": ALL, "do": ALL}, "n_clicks"),
        State({"type": FIELD, "key": ALL, "name": ALL}, "value"),
        State({"type": FIELD, "key": ALL, "name": ALL}, "id"),
        State({"type": WHO, "place": ALL}, "value"),
        State({"type": WHO, "place": ALL}, "id"),
        State(AGAIN, "search"),
        prevent_initial_call=True,
    )(pressed)


def pressed(
    clicks: list[int | None],
    values: list[str | None],
    ids: list[dict[str, str]],
    names: list[str | None],
    places: list[dict[str, str]],
    search: str | None,
) -> tuple[Any, Any]:
    """A button of one form: what it says is written, and the page is laid anew; what it wants stands in that form."""
    asked = ctx.triggered_id
    forms = [str(each["id"]["key"]) for each in ctx.outputs_list[0]]
    if not isinstance(asked, dict) or not any(clicks):
        return [no_update] * len(forms), no_update
    key = str(asked["key"])
    said = {
        each["name"]: str(value or "").strip() for each, value in zip(ids, values, strict=True) if each["key"] == key
    }
    at = {each["place"]: str(name or "").strip() for each, name in zip(places, names, strict=True)}
    wrong = write(key, asked["do"], {**said, WHO: at.get(f"book-{key}", "")})
    if wrong:
        anew = str(sum(each or 0 for each in clicks))  # the line is found again at each press
        line = html.Span(str(wrong), key=anew, **parts.data(wants=wrong.field)) if isinstance(wrong, Wanted) else wrong
        return [line if each == key else "" for each in forms], no_update
    trimmed = (search or "").partition("at=")[0].rstrip("?&")
    mark = "&" if trimmed else "?"
    told = ["Written into the book." if each == key else "" for each in forms]
    return told, f"{trimmed}{mark}at={desk.here().snapshot().book_sequence}"


def write(key: str, do: str, said: dict[str, str]) -> str:
    """Write what a form holds; '' once it stands in the book, else what is missing."""
    who = said.get(WHO, "")
    if not who:
        return Wanted("Say who writes this: the book keeps who wrote what and when.", WHO)
    try:
        when = {name: days.read(said.get(name, "")) for name in ("due", "done_on", "until")}
    except ValueError as fault:
        return str(fault)
    if do == "decide":
        if not said.get("action") or not said.get("owner"):
            return Wanted("A decision wants its words and an owner.", "owner" if said.get("action") else "action")
        week = date.fromisoformat(own) if (own := key.removeprefix(NEW).lstrip("-")) else None
        desk.here().write_entry("decision", said["action"], who=who, owner=said["owner"], due=when["due"], week=week)
        return ""
    one = next((each for each in desk.ask(register.register) if each.goes_by(key)), None)
    if one is None:
        return "This row is no longer there: the readings have moved on. Open the page anew."
    match do:
        case "take":
            if not said.get("action") or not said.get("owner"):
                return Wanted("Say what is to be done, and who does it.", "owner" if said.get("action") else "action")
            about = {"owner": said["owner"], "due": when["due"]}
            desk.here().write_entry("action", said["action"], who=who, **about, **_tied(one))
        case "done":
            if when["done_on"] is None or when["done_on"] > desk.here().today():
                return Wanted("On which day was it done? Not a day to come.", "done_on")
            desk.here().write_entry("done", "", who=who, done_on=when["done_on"], **_tied(one))
        case _:
            return _settle(one, do, said.get("why", ""), when["until"], who)
    return ""


def _settle(one: Entry, do: str, why: str, until: date | None, who: str) -> str:
    """Close, open again or call known: in all the matter's streams, a line a signal."""
    more: dict[str, Any] = {}
    if do == "close" and not why:
        return Wanted("Say in a word why it is closed.", "why")
    if do == "known":
        if until is None:
            return Wanted("Until when is it known? Choose the day.", "until")
        if until <= desk.here().today():
            return f"{numbers.day(until)} has passed; a known matter comes back on its day, so choose a later one."
        more = {"until": until}
    for each in all_tied(one):
        desk.here().write_entry(DID[do], why, who=who, **more, **each)
    return ""


def _tied(one: Entry) -> dict[str, Any]:
    """What a line of the book hangs on: the signal that stands for the matter, or the decision's own line."""
    if one.matter is None:
        return {"about": int(one.key[1:])}
    main = one.matter.main
    return {name: main[name] for name in (*STREAM, "chart", "opened_at", "serial") if main.get(name)}


def all_tied(one: Entry) -> list[dict[str, Any]]:
    """A closing settles the matter in all its streams: one line a signal that is still open."""
    if one.matter is None:
        return [_tied(one)]
    rows = desk.ask(register.members, key=one.key)
    return [{name: row[name] for name in (*STREAM, "chart", "opened_at", "serial") if row.get(name)} for row in rows]
