"""The way in on Logs: a sheet nobody has told the shop about, what it seems to hold, what it cannot tell, and a first
shop made of the answers.

The functions are those of `truerun new`. Nothing is written before somebody says so, and nothing is ever overwritten.
"""

from __future__ import annotations

import base64
from dataclasses import replace
from typing import Any

from dash import ALL, Dash, Input, Output, State, dcc, html, no_update

from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.desk.jobs import LARGEST
from ingest.beginning.new import Ask, Proposal, propose, unfit, write
from ingest.beginning.survey import ColumnSeen, Survey
from ingest.terms.problems import Problem
from ingest.terms.questions import FileProblem

DROP, PROPOSAL, WRITE, SAID = "logs-new-drop", "logs-new-proposal", "logs-new-write", "logs-new-said"
ANSWER = "logs-new-answer"
NONE_YET = "No shop here yet."
UNDER = (
    "Drop a sheet of your own, as it is: it is looked at, a first shop file is proposed, and nothing is written "
    "before you say so."
)


def first() -> list[Any]:
    """What Logs shows where there is no shop yet."""
    note = f"CSV or xlsx, up to {LARGEST // 1_000_000} MB; more at once if they belong together"
    return [parts.sheet("Bring your first sheet", note, _drop("Drop a sheet here, or ")), html.Div(id=PROPOSAL)]


def another() -> html.Details:
    """The same for a shop that meets a new kind of sheet: only what its shop.toml lacks is proposed."""
    say = "What its headings and words seem to mean, and what shop.toml would need to read it. Nothing is written."
    return html.Details(
        [
            html.Summary("A new kind of sheet?"),
            html.P(say, className="small"),
            _drop("Drop it here to have it looked at, or "),
            html.Div(id=PROPOSAL),
        ],
        className="behind",
    )


def _drop(words: str) -> dcc.Upload:
    return dcc.Upload(
        html.Div([words, html.Span("choose a file", className="as-link")]),
        id=DROP,
        multiple=True,
        max_size=LARGEST,
        className="drop",
    )


def shown(proposal: Proposal, answers: dict[str, str]) -> list[Any]:
    """A proposal: each sheet column by column, the questions, what would be written, and the button that writes it."""
    sheets = [_survey(seen) for seen in proposal.surveys]
    if proposal.additions and not proposal.shop_toml:
        return [*sheets, parts.sheet("For shop.toml", "", html.P("It lacks nothing for this sheet: drop it above."))]
    if proposal.additions:
        how = "Put what is right into shop.toml, then drop the sheet above. Every guess is marked."
        return [
            *sheets,
            parts.sheet(
                "For shop.toml", "additions only", [html.P(how), html.Pre(proposal.shop_toml, className="paste")]
            ),
        ]
    count = len(proposal.asks)
    right = (
        f"{numbers.count(count)} {'question' if count == 1 else 'questions'}; a guess you leave stands, and is "
        "marked in the file"
    )
    fields = [_field(ask, answers.get(ask.key, ask.default)) for ask in proposal.asks]
    would = html.Details(
        [
            html.Summary("What would be written"),
            html.H3("shop.toml"),
            html.Pre(proposal.shop_toml, className="paste"),
            html.H3("specs.csv"),
            html.Pre(proposal.specs_csv, className="paste"),
        ],
        className="behind",
    )
    acts = html.Div(html.Button("Write the shop and load", id=WRITE, className="button primary"), className="acts")
    return [
        *sheets,
        parts.sheet("What the sheets cannot tell", right, [*fields, acts, html.P(id=SAID, role="status"), would]),
    ]


def _survey(seen: Survey) -> html.Section:
    units = {
        column.guess.measure: seen.usual_unit(column.guess.measure)[0]
        for column in seen.measures()
        if not column.guess.unit
    }
    rows = [
        {
            "heading": column.heading,
            "meaning": _meaning(column, units),
            "sure": "guess"
            if (column.guess.field and not column.guess.sure) or units.get(column.guess.measure)
            else "",
            "filled": numbers.count(column.filled),
            "cells": _cells(column.samples),
        }
        for column in seen.columns
    ]
    columns = [
        ("heading", "Heading"),
        ("meaning", "Taken as"),
        ("sure", ""),
        ("filled", "Filled", "n"),
        ("cells", "Some of its cells", "wide-only"),
    ]
    right = f"{numbers.count(seen.rows)} rows, a row {'an instrument' if seen.shape == 'instrument' else 'a visit'}"
    return parts.sheet(
        seen.name, right, [parts.plain_table(rows, columns), *(html.P(note, className="small") for note in seen.notes)]
    )


def _meaning(column: ColumnSeen, units: dict[str, str]) -> str:
    """What a column is taken as, with the unit of its bare numbers."""
    guess = column.guess
    unit = units.get(guess.measure, "") if guess.field == "reading" and not guess.unit else ""
    return replace(guess, unit=guess.unit or unit).target(guess.stage) or "not known, kept as typed"


def _cells(samples: tuple[str, ...]) -> html.Span:
    """Sample cells one behind the other."""
    told: list[Any] = [part for sample in samples for part in (html.Code(sample[:24]), " ")]
    return html.Span(told)


def _field(ask: Ask, value: str) -> html.Div:
    """One question with its answers, the guess filled in."""
    id = {"type": ANSWER, "key": ask.key}
    if not ask.options:
        return html.Div(parts.text_field(ask.text, id, value), className="asked")
    return html.Div(
        parts.field(ask.text, id, value, list(dict.fromkeys([*ask.options, ask.default]))), className="asked"
    )


def connect(app: Dash, watch: tuple[Output, Output]) -> None:
    """watch : where Logs shows how far its work is, and the clock that looks."""
    app.callback(
        Output(PROPOSAL, "children"), Input(DROP, "contents"), State(DROP, "filename"), prevent_initial_call=True
    )(look_at)
    app.callback(
        Output(PROPOSAL, "children", allow_duplicate=True),
        Output(SAID, "children"),
        *watch,
        Input(WRITE, "n_clicks"),
        State({"type": ANSWER, "key": ALL}, "value"),
        State({"type": ANSWER, "key": ALL}, "id"),
        State(DROP, "contents"),
        State(DROP, "filename"),
        prevent_initial_call=True,
    )(begin)


def files_of(contents: list[str] | None, names: list[str] | None) -> list[tuple[str, bytes]]:
    """Dropped files by name and bytes; FileProblem where one came empty."""
    files = []
    for content, name in zip(contents or [], names or [], strict=True):
        _, comma, data = content.partition(",")
        if not comma:
            raise FileProblem(f"{name} came empty; load it at the command line: truerun load {name}")
        try:
            files.append((name, base64.b64decode(data, validate=True)))
        except ValueError:
            raise FileProblem(f"{name} came damaged; load it at the command line: truerun load {name}") from None
    return files


def look_at(contents: list[str] | None, names: list[str] | None) -> Any:
    """What dropped sheets seem to hold."""
    if not contents:
        return no_update
    try:
        shop = desk.here().snapshot().shop if desk.here().has_shop else None
        return shown(propose(files_of(contents, names), shop=shop), {})
    except Problem as problem:
        return parts.ask(str(problem))


def begin(
    clicks: int | None,
    values: list[str | None],
    ids: list[dict[str, str]],
    contents: list[str] | None,
    names: list[str] | None,
) -> tuple[Any, Any, Any, Any]:
    """Write the shop as the answers have it, and begin to load its sheets; questions that the answers bring up are
    asked first.
    """
    if not clicks:
        return no_update, no_update, no_update, no_update
    answers = {id["key"]: (value or "").strip() for id, value in zip(ids, values, strict=True) if (value or "").strip()}
    folder = desk.here().folder
    try:
        files = files_of(contents, names)
        proposal = propose(files, answers=answers)
        wrong = [said for ask in proposal.asks if (said := unfit(ask, answers.get(ask.key, ask.default)))]
        if wrong:
            return no_update, " ".join(wrong), no_update, no_update
        fresh = [ask.key for ask in proposal.asks if ask.key not in {id["key"] for id in ids}]
        if fresh:
            more = f"{numbers.count(len(fresh))} more to ask, after what you said; look again, then write."
            return [*shown(proposal, answers), html.P(more, role="status")], no_update, no_update, no_update
        written = write(folder, proposal)
    except (Problem, OSError) as problem:
        return no_update, str(problem), no_update, no_update
    desk.here().jobs.load(files)
    say = [
        html.P([parts.picture("take"), f" Written: {', '.join(str(path) for path in written)}."]),
        html.P(
            "Guesses are marked in shop.toml, and the limits in specs.csv are starting values, not yours: put them "
            "right, then ask again."
        ),
        html.P(dcc.Link("To the week", href="/", className="button")),
    ]
    return parts.sheet("Your shop", "", say), "", [html.P("The sheets are being loaded.")], False
