"""The bench book of one stream: causes, actions, closings, what is known until when - written by somebody, with the
date.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from analysis.studies.matters import register
from analysis.studies.matters.register import Entry
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.desk import desk
from dashboard.pages import days
from dashboard.pages.book import deeds
from dashboard.pages.drift.seen import KEY, Seen
from dashboard.sentences import book as words
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

CAUSE, ACTION, OWNER, DUE, WHO, UNTIL = (
    "drift-cause",
    "drift-action",
    "drift-owner",
    "drift-due",
    "drift-who",
    "drift-until",
)
DONE_ON = "drift-done-on"
FORM = {"cause": CAUSE, "action": ACTION, "owner": OWNER, "due": DUE, "who": WHO, "until": UNTIL, "done_on": DONE_ON}
WRITE, DONE, KNOWN, CLOSE, REOPEN = "drift-write", "drift-done", "drift-known", "drift-close", "drift-reopen"
WIDE = {KNOWN: "known", CLOSE: "close", REOPEN: "reopen"}  # what settles the matter in all its streams
ABOUT, SAID, WRITTEN = "drift-about", "drift-said", "drift-written"
SHOWN = 8


def sheet(seen: Seen, shop: Shop) -> html.Section:
    """The form and, below it, what stands in the book already, newest first."""
    signal = seen.signal or _closed_by_person(seen)
    about: dict[str, Any] = {**seen.key}
    if signal is not None:
        about |= {"chart": signal["chart"], "opened_at": signal["opened_at"].isoformat(), "serial": signal["serial"]}
    still = seen.signal is not None
    right = (
        f"signal of {numbers.day(sentences.local(shop, signal['opened_at']), seen.now)}"
        if signal is not None
        else "this series"
    )
    matter = desk.ask(register.of_stream, **seen.key)
    running = matter is not None and matter.state == register.ACTION
    streams = matter.matter.streams if matter is not None and matter.matter is not None else 1
    every = " in all its series" if streams > 1 else ""
    buttons = [html.Button("Write it down", id=WRITE, className="button primary")]
    buttons.append(html.Button("It is done", id=DONE, className="button", style=_only(running)))
    buttons.append(html.Button("Known until that date", id=KNOWN, className="button", style=_only(still)))
    buttons.append(html.Button(f"Close it{every}", id=CLOSE, className="button", style=_only(still)))
    buttons.append(
        html.Button("Open it again", id=REOPEN, className="button", style=_only(signal is not None and not still))
    )
    form = html.Div(
        [
            parts.text_field("Cause, if someone looked", CAUSE, placeholder="What was found at the bench"),
            parts.text_field("Action", ACTION),
            html.Div([parts.text_field("Owner", OWNER), days.field("By", DUE)], className="pair"),
            html.Div(
                [
                    parts.who_field(WHO),
                    html.Div(days.field("Done on", DONE_ON, desk.here().today()), style=_only(running)),
                    html.Div(days.field("Known until", UNTIL), style=_only(still)),
                ],
                className="pair",
            ),
            html.Div(buttons, className="acts"),
            html.P(id=SAID, className="small", role="status"),
            dcc.Store(id=ABOUT, data=about),
        ],
        className="no-print book-form",
    )
    life: list[Any] = []
    if matter is not None:
        life = [html.P([deeds.life(matter), " ", words.state(matter, seen.now.date())], className="small")]
    return parts.sheet("Bench book", right, [*life, form, entries(seen, shop, matter)])


def _only(shown: bool) -> dict[str, str]:
    return {} if shown else {"display": "none"}


def _closed_by_person(seen: Seen) -> dict[str, Any] | None:
    """The newest signal, where it was a person who closed it: it can be opened again."""
    newest = seen.view.signals.sort("opened_at").tail(1)
    row = newest.row(0, named=True) if len(newest) else None
    return row if row is not None and row["closed_by"] == "a person" else None


def entries(seen: Seen, shop: Shop, matter: Entry | None = None) -> html.Div:
    """Lines of the book about this stream, newest first; one whose signal is gone since late data says so. matter: of
    which the stream is a part; what is written of its other series stands in Book.
    """
    if seen.entries.is_empty() and matter is not None and matter.lines:
        book = dcc.Link("Book", href=address("/book", key=matter.key))
        return html.Div(html.P(["What is written about its matter stands in ", book, "."], className="small"))
    if seen.entries.is_empty():
        return html.Div(html.P("Nothing is written about this series yet.", className="small"))
    lines = []
    for line in seen.entries.reverse().iter_rows(named=True):
        said, written = sentences_drift.entry(line, shop, seen.now)
        gone = "; its signal is no longer there since late data came" if line["gone"] else ""
        lines.append(html.Li([html.Span(said), html.Br(), html.Span(f"{written}{gone}", className="small")]))
    older = lines[SHOWN:]
    more = [parts.behind(html.Ul(older, className="book"), f"{numbers.count(len(older))} older lines")] if older else []
    return html.Div([html.Ul(lines[:SHOWN], className="book"), *more])


def connect(app: Dash) -> None:
    """The page's callbacks."""
    app.callback(
        [Output(SAID, "children"), Output(WRITTEN, "data")],
        inputs={"presses": [Input(button, "n_clicks") for button in (WRITE, DONE, KNOWN, CLOSE, REOPEN)]},
        state={
            "form": {name: State(field, "value") for name, field in FORM.items()},
            "about": State(ABOUT, "data"),
            "written": State(WRITTEN, "data"),
        },
        prevent_initial_call=True,
    )(pressed)


def pressed(
    presses: Sequence[int | None], form: dict[str, str | None], about: dict[str, Any], written: int | None
) -> tuple[Any, Any]:
    """One of the buttons of the form, with what its fields hold."""
    if not any(presses):
        return no_update, no_update
    said = write(str(ctx.triggered_id), about, **form)
    return (said, no_update) if said else ("Written into the bench book.", (written or 0) + 1)


def write(
    button: str,
    about: dict[str, Any],
    *,
    cause: str | None = "",
    action: str | None = "",
    owner: str | None = "",
    due: str | None = "",
    who: str | None = "",
    until: str | None = "",
    done_on: str | None = "",
) -> str:
    """Write what the form holds; '' once it stands in the book, else what is missing."""
    cause, action, owner, who = (str(text or "").strip() for text in (cause, action, owner, who))
    if not who:
        return "Say who writes this: the book keeps who wrote what and when."
    try:
        by, last, day = days.read(due), days.read(until), days.read(done_on)
    except ValueError as fault:
        return str(fault)
    tied = {name: about[name] for name in (*KEY, "chart", "serial") if about.get(name)}
    if about.get("opened_at"):
        tied["opened_at"] = datetime.fromisoformat(about["opened_at"])
    if button == WRITE:
        if not cause and not action:
            return "Write a cause or an action first."
        if cause:
            desk.here().write_entry("cause", cause, who=who, **tied)
        if action:
            desk.here().write_entry("action", action, who=who, owner=owner, due=by, **tied)
        return ""
    if button == DONE:
        if day is None or day > desk.here().today():
            return "On which day was it done? Not a day to come."
        desk.here().write_entry("done", "", who=who, done_on=day, **tied)
        return ""
    if button == KNOWN:
        if last is None:
            return "Until when is it known? Write the date."
        snapshot = desk.here().snapshot()
        if last <= sentences.local(snapshot.shop, snapshot.as_of).date():
            return f"{numbers.day(last)} has passed; a known matter comes back on its date, so write a later one."
    if button == CLOSE and not (cause or action):
        return "Say in a word why it is closed: a cause, or what was done."
    more = {"until": last} if button == KNOWN else {}
    for each in _all_streams(about, tied):
        desk.here().write_entry(WIDE[button], cause or action, who=who, **more, **each)
    return ""


def _all_streams(about: dict[str, Any], tied: dict[str, Any]) -> list[dict[str, Any]]:
    """What settles a matter settles it in all its streams: what each line hangs on; without a matter the signal's own
    stream.
    """
    key: dict[str, Any] = {name: str(about.get(name) or "") for name in KEY}
    one = desk.ask(register.of_stream, **key)
    every = deeds.all_tied(one) if one is not None and tied.get("opened_at") else []
    return every if any(each.get("opened_at") == tied.get("opened_at") for each in every) else [tied]
