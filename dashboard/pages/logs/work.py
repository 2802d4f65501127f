"""The questions of Logs, laid out to be worked off: decisions by the rows they settle, answers, the rows behind."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
from dash import dcc, html

from analysis.studies.story.waiting import waiting
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk, signed
from dashboard.sentences import shared as sentences
from ingest.verbs.groups import MEANS, NEW, VALUE, VERDICT, Decision, Group
from ingest.verbs.original_rows import lines_about
from ingest.verbs.worklist import worklist

PATH = "/logs"
WORK, AT, DONE, SAID, AGAIN = "logs-work", "logs-work-at", "logs-work-done", "logs-work-said", "logs-again"
ABOUT = "logs-work-about"  # where the rows of a group are shown
WHO, WHY = "logs-work-who", "logs-work-why"
ACCEPT, UNKNOWN, REAL, KEEP, TAKE, LATER, UNDO = (
    "logs-work-accept",
    "logs-work-unknown",
    "logs-work-real",
    "logs-work-keep",
    "logs-work-take",
    "logs-work-later",
    "logs-work-undo",
)
VERDICTS = {UNKNOWN: "cannot be known", REAL: "it is real", KEEP: "keep held", TAKE: "take new"}
SHOWN, LISTED = 22, 12  # answers and decisions at a time; the next come as these are settled
SHORT = 44  # characters of a text as typed


def tick_id(key: str) -> dict[str, Any]:
    """The checkbox of a group."""
    return {"type": "logs-work-tick", "key": key}


def text_id(key: str) -> dict[str, Any]:
    """The field of a group: what it means, or what its cells should say."""
    return {"type": "logs-work-text", "key": key}


def decision_id(key: str) -> dict[str, Any]:
    """The button of a decision."""
    return {"type": "logs-work-decision", "key": key}


def rows_id(key: str) -> dict[str, Any]:
    """The way to the rows of a group."""
    return {"type": "logs-work-rows", "key": key}


def decisions() -> list[Decision]:
    """The open decisions of the shop, worked out once a version."""
    people = desk.here().snapshot().shop.people.show != "none"
    found: list[Decision] = desk.ask(_worklist, folder=str(desk.here().folder), people=people)
    return [_with_meant(one) if one.key == "tech" else one for one in found]


def _with_meant(one: Decision) -> Decision:
    """Names on no list with who is probably meant, where they stand as codes that resemble nobody."""
    meant = desk.here().veil().meant
    groups = [
        replace(group, guess=near, choices=tuple(dict.fromkeys((near, *group.choices))))
        if not group.guess and (near := meant.get(group.typed, ""))
        else group
        for group in one.groups
    ]
    return replace(one, groups=tuple(groups))


def _worklist(snapshot: Any, *, folder: str, people: bool) -> list[Decision]:
    return worklist(snapshot, folder=Path(folder), asked=snapshot.once(waiting), people=people)


def _who() -> parts.TextInput:
    """Who answers: whoever is signed in, else typed once and kept by the browser (page.js)."""
    who = signed.here()
    more: dict[str, Any] = {"value": who.name, "readOnly": True} if who else {"autoComplete": "name"}
    return parts.TextInput(
        id=WHO, placeholder="Who answers", className="w-who", **more, **parts.aria(label="Who answers")
    )


def sheet() -> html.Section:
    """The whole of it: who answers, the bar, the decisions, and the answers of the one that is open."""
    words = "Why, in a few words"
    why = parts.TextInput(id=WHY, placeholder=words, className="w-why", **parts.aria(label=words))
    who = html.Div([_who(), why], className="w-by no-print")
    return parts.sheet(
        "Questions to the shop",
        "largest first; each answer is kept in the book with your name, and can be taken back",
        [
            dcc.Store(id=AT, data=""),
            dcc.Store(id=DONE, data=[]),
            html.P("", id=SAID, role="status", className="w-said", **parts.aria(live="polite")),
            who,
            html.Div(laid_out("", []), id=WORK),
        ],
    )


def laid_out(at: str, done: list[dict[str, Any]]) -> list[Any]:
    """Bar, decisions and the open one."""
    found = decisions()
    acts = html.Div(
        [
            html.Button("Ask them again", id=AGAIN, className="button"),
            html.A("Save as CSV", href="/save/questions", className="button"),
        ],
        className="acts no-print",
    )
    hidden = [html.Button(id=one, style={"display": "none"}) for one in (ACCEPT, LATER, *VERDICTS)]
    if not found:
        none = html.P("None waits: every row and cell was accepted, or has been answered.")
        return [_undo(done), none, acts, *hidden]
    here = next((one for one in found if one.key == at), found[0])
    settled = sum(int(one["settled"]) for one in done)
    left = [html.Li(_button(one, one is here)) for one in found[:LISTED]]
    more = len(found) - LISTED
    if more > 0:
        left.append(html.Li(f"and {numbers.count(more)} more kinds", className="small"))
    return [
        _undo(done),
        _bar(found, here, settled),
        html.Div(
            [html.Ol(left, className="w-decisions", **parts.aria(label="Decisions")), html.Div(_open(here))],
            className="w-grid",
        ),
        acts,
    ]


def _undo(done: list[dict[str, Any]]) -> html.Div:
    said = str(done[-1]["said"]) if done else ""
    button = html.Button(["Undo ", html.Kbd("Z")], id=UNDO, className="button", style=_shown(bool(done)))
    return html.Div([parts.picture("take"), html.Span(said), button], className="w-undo" if done else "w-undo none")


def _bar(found: list[Decision], here: Decision, settled: int) -> html.Div:
    """All questions as lengths: settled dark, the open decision blue, waiting outlined."""
    pieces = [html.Span(className="settled", style={"flexGrow": settled})] if settled else []
    asked = [one for one in found if not one.asks_once]
    pieces += [html.Span(className="here" if one is here else "", style={"flexGrow": one.rows}) for one in asked]
    total = sum(one.rows for one in asked)
    say = f"{numbers.count(total)} wait, {numbers.count(settled)} settled just now"
    return html.Div(pieces, className="w-bar", title=say, role="img", **parts.aria(label=say))


def _button(one: Decision, here: bool) -> html.Button:
    words = [html.B(numbers.count(one.rows)), html.Span([one.title, html.Small(one.about)])]
    said: dict[str, Any] = {"aria-current": "true"} if here else {}
    return html.Button(words, id=decision_id(one.key), className="w-decision here" if here else "w-decision", **said)


def _open(one: Decision) -> list[Any]:
    """The answers of one decision."""
    groups = one.groups[:SHOWN]
    rows = [_row(group) for group in groups]
    more = len(one.groups) - len(groups)
    guessed = sum(group.sure for group in groups)
    many = _many(len(one.groups), "text", "texts")
    title = f"{one.title}: {many}, {_many(one.rows, 'row', 'rows')}."
    told = {
        MEANS: "Guessed from the letters, then checked against each instrument's own story. A word is known everywhere "
        "from then on.",
        VALUE: "What the cells should say. It is laid over what was typed; the original stays as it came.",
        VERDICT: "Two logs tell of one visit. One of the two counts until you settle it. Where each tells a part of "
        "it, as of a visit that the end of an export has cut, load an export that holds all of it: settling keeps the "
        "readings of one.",
    }[one.kind]
    ready = sum(len(group.rows) for group in groups if group.sure)
    accept = f"Accept what is ticked: {_many(guessed, 'guess', 'guesses')}, {_many(ready, 'row', 'rows')} "
    headings = {MEANS: "means", VALUE: "should say", VERDICT: ""}[one.kind]
    names = ["", "as typed", "rows", headings, "the check", ""]
    head = html.Thead(html.Tr([html.Th(name, scope="col", className="n" * (name == "rows")) for name in names]))
    real = any(group.real for group in groups)
    buttons = [
        html.Button(
            [accept if ready else "Accept what is ticked ", html.Kbd("Enter")],
            id=ACCEPT,
            className="button primary",
            style={"display": "none"} if one.kind == VERDICT else {},
        ),
        _keyed("Keep what counts", KEEP, "1", one.kind == VERDICT),
        _keyed("Take the other", TAKE, "2", one.kind == VERDICT),
        _keyed("It is real", REAL, "1", real),
        html.Button(["Cannot be known ", html.Kbd("N")], id=UNKNOWN, className="button"),
        html.Button(["Later ", html.Kbd("L")], id=LATER, className="button"),
    ]
    keys = html.P(
        [html.Kbd("Up"), html.Kbd("Down"), " move  ", html.Kbd("Space"), " tick  ", html.Kbd("R"), " the rows"],
        className="small w-keys",
    )
    lists = html.Datalist([html.Option(value=word) for word in _choices(one)], id="logs-work-choices")
    left = [html.P(f"and {numbers.count(more)} more come as these are settled", className="small")] if more else []
    note = f" {numbers.count(one.guessed)} can mean only one." if guessed and one.kind == MEANS else ""
    if any(group.field == "model" for group in groups):
        told += f" `{NEW} FAMILY` makes a [[model]] of it in shop.toml."
    if one.key == "tech" and desk.here().snapshot().shop.people.show == "names":
        told += " Who is new is a [[tech]] in shop.toml from then on: write the name itself."
    return [
        html.H3(title + note),
        html.P(told, className="small"),
        lists,
        html.Div(id=ABOUT, className="w-about", **parts.aria(live="polite")),
        html.Div(html.Table([head, html.Tbody(rows)], className="w-rows"), className="table-wrap"),
        *left,
        html.Div(buttons, className="acts no-print"),
        keys,
    ]


def _many(count: int, one: str, several: str) -> str:
    return f"{numbers.count(count)} {one if count == 1 else several}"


def _shown(yes: bool) -> dict[str, Any]:
    return {} if yes else {"display": "none"}


def _keyed(words: str, ident: str, key: str, shown: bool) -> html.Button:
    """A button with its number key, where the decision takes it."""
    more = _key(key) if shown else {}
    return html.Button([f"{words} ", html.Kbd(key)], id=ident, className="button", style=_shown(shown), **more)


def _key(name: str) -> dict[str, Any]:
    return parts.data(key=name)


def _choices(one: Decision) -> list[str]:
    return list(dict.fromkeys(word for group in one.groups for word in group.choices))


def _row(group: Group) -> html.Tr:
    check = parts.Tick(
        id=tick_id(group.key), value=["yes"] if group.sure else [], label=f"answer {group.typed}", className="w-tick"
    )
    words = " ".join(group.typed.split())
    typed = html.Code(words if len(words) <= SHORT else words[: SHORT - 3] + "...", title=words)
    listed: dict[str, Any] = {"list": "logs-work-choices"} if group.kind == MEANS else {}
    listed |= parts.aria(label=f"what {words} {'means' if group.kind == MEANS else 'should say'}")
    field: Any = parts.TextInput(id=text_id(group.key), value=group.guess, className="w-text", **listed)
    if group.kind == VERDICT or (group.kind == VALUE and not group.cell):
        field = html.Span(
            [parts.TextInput(id=text_id(group.key), value="", style={"display": "none"}), html.Small(group.wanted)]
        )
    name: list[Any] = [html.Small(group.cell), " "] if group.cell else []
    log_id, line, column = group.rows[0]
    way = addresses.address(PATH, question=f"{log_id}:{line}:{column}")
    rows = [
        html.Button("rows", id=rows_id(group.key), className="as-link w-look"),
        dcc.Link("Answer", href=way, className="small"),
    ]
    return html.Tr(
        [
            html.Td(check),
            html.Td([*name, typed, html.Small(_where(group), className="w-where")]),
            html.Td(numbers.count(len(group.rows)), className="n"),
            html.Td(field),
            html.Td(_check(group), className="small"),
            html.Td(rows, className="w-ways"),
        ],
        className="w-row",
    )


def _where(group: Group) -> str:
    """The file and line of the first row of a group, and how many more there are."""
    more = len(group.rows) - 1
    return f" {group.where}{f' and {numbers.count(more)} more' if more else ''}"


def _check(group: Group) -> str:
    """Why the guess is ticked or not."""
    if group.new:
        of = f"{numbers.of(group.fits, group.of)} of its instruments bear no other"
        return f"a new model, most likely: {of}" + ("" if group.guess else "; or a spelling of the first on the list")
    if not group.guess:
        return "not guessed"
    if group.kind == VALUE:
        return "the only reading within its column's range" if group.sure else "if its point was lost; look"
    if group.field == "outcome" or not group.of:
        return "by its letters" if group.sure else "by its letters; look"
    what = "fits the gap" if group.field == "stage" else "fits its story"
    return f"{what} in {numbers.of(group.fits, group.of)}"


# What a row's instrument went through, and the lines about it.


def story_of(key: str) -> list[Any]:
    """The lines about the first row of a group, and the visits of its instrument that are on file."""
    group = next((group for one in decisions() for group in one.groups if group.key == key), None)
    if group is None:
        return []
    snapshot = desk.here().snapshot()
    log_id, line, _ = group.rows[0]
    names = dict(snapshot.table("logs", "log_id", "name").iter_rows())
    about = lines_about(desk.here().folder, snapshot.shop, log_id, names.get(log_id, ""), line)
    shown = desk.here().veil().line(log_id, [text for _, text in about])
    told = [
        html.Tr([html.Td(number, className="n"), html.Td(html.Code(text))], className="here" if number == line else "")
        for (number, _), text in zip(about, shown, strict=True)
    ]
    cells = {cell.strip() for number, text in about if number == line for cell in text.split("|")}
    visits = snapshot.table("visits", "serial", "stage", "started_at", "finished_at")
    visits = visits.filter((pl.col("serial") != "") & pl.col("serial").is_in(sorted(cells)))
    visits = visits.with_columns(at=pl.coalesce("finished_at", "started_at")).sort("at")
    stages = [
        html.Li(
            [
                html.B(snapshot.shop.stage_name(row["stage"])),
                html.Small(numbers.clock(sentences.local(snapshot.shop, row["at"])) if row["at"] else ""),
            ]
        )
        for row in visits.iter_rows(named=True)
    ]
    serial = visits["serial"][0] if visits.height else ""
    to = addresses.address("/logs/instrument", serial=serial)
    way = [dcc.Link(f"The story of {serial}", href=to)] if serial else []
    wanted = "" if group.kind == MEANS else f"; wanted {group.wanted}"
    where = html.P([html.Code(group.typed), f": {group.where}{wanted}"], className="small")
    return [where, html.Table(html.Tbody(told), className="w-lines"), html.Ol(stages, className="w-story"), *way]
