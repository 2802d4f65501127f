"""Logs: what was read, what was set aside and why, and the shop's answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl
from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.studies.story.two_people import one_code
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.desk.jobs import INDEX, LARGEST, MOST, Job
from dashboard.pages.logs import months, same_name, work, work_deeds
from dashboard.pages.logs import new as logs_new
from dashboard.pages.logs.questions import (
    AGAIN,
    CELL,
    CORRECT,
    KEEP,
    REAL,
    SAID,
    TAKE,
    TEN,
    VALUE,
    VERDICTS,
    WHO,
    WHY,
    answer_to,
    look_once,
    parsed,
    waiting,
)
from dashboard.sentences import logs as sentences_logs
from dashboard.sentences import two_people
from ingest.terms.questions import FileProblem

PATH, NAME = "/logs", "Logs"
DROP, TICK, PROGRESS, HERE = "logs-drop", "logs-tick", "logs-progress", "logs-here"
UNLOAD, UNLOAD_LOG, UNLOAD_WHO, UNLOAD_WHY = "logs-unload", "logs-unload-log", "logs-unload-who", "logs-unload-why"
TOP, REST = "logs-top", "logs-rest"
SHOWN = 60


def layout(question: str | None = None, changed: str | None = None, **_address: str) -> Any:
    """The page as its address asks for it."""
    tick = dcc.Interval(id=TICK, interval=700, disabled=not _running())
    here = dcc.Store(id=HERE, data=question or "")
    progress = html.Div(_latest(), id=PROGRESS)
    if not desk.here().has_shop:
        top = html.Div(parts.page_head(logs_new.NONE_YET, logs_new.UNDER), id=TOP)
        return parts.page(top, *logs_new.first(), progress, tick, html.Div(id=REST), here)
    bring_in = f"CSV or xlsx, up to {numbers.count(MOST // 1_000_000)} MB"
    return parts.page(
        html.Div(head(), id=TOP),
        *([months.changed(changed)] if changed else []),
        *on_tablets(),
        parts.sheet("Bring a log", bring_in, [_drop(), progress, tick, logs_new.another()]),
        html.Div(rest(question), id=REST),
        here,
    )


def on_tablets() -> list[Any]:
    """Cards that wait on tablets, as these last told, and clocks that are wrong; nothing where all is in."""
    lines = sentences_logs.on_tablets(desk.here().tablets(), desk.here().snapshot().shop)
    return [html.Div([html.P(line) for line in lines], className="caution", id="logs-tablets")] if lines else []


def head() -> html.Div:
    """The account of all logs in a sentence."""
    snapshot = desk.here().snapshot()
    logs = snapshot.table("logs")
    rows = int(logs["rows_read"].sum()) if len(logs) else 0
    under = _under(logs, rows) if len(logs) else "Drop a sheet below, or load it with truerun load at the command line."
    return parts.page_head(sentences_logs.headline(logs.height, waiting().height, _answers()), under)


def _answers() -> tuple[int, int]:
    """How many answers settle all that waits, and how many of them are guessed."""
    asked = [one for one in work.decisions() if not one.asks_once]
    return sum(len(one.groups) for one in asked), sum(one.guessed for one in asked)


def rest(question: str | None) -> list[Any]:
    """Everything that a load or an answer changes: laid out anew when the work has ended."""
    snapshot = desk.here().snapshot()
    logs, asked = snapshot.table("logs"), waiting()
    return [
        *([answer_to(question, asked)] if question else []),
        work.sheet(),
        *same_name.sheets(),
        *look_once(),
        *_two_people(),
        html.Div(months.sheet(asked), id=work_deeds.LOADED),
        _take_out(logs),
    ]


def _two_people() -> list[Any]:
    """Codes that may be two people; nothing where there is none, or the shop shows nobody."""
    snapshot = desk.here().snapshot()
    found = desk.ask(one_code) if snapshot.shop.people.show != "none" else []
    lines = [html.P(parts.ask(two_people.asked(one))) for one in found]
    return [parts.sheet("One code, two people?", "codes in sheets of other hours", lines)] if lines else []


def _cells(n: int) -> str:
    return f"{numbers.count(n)} {'cell' if n == 1 else 'cells'}"


def _under(logs: pl.DataFrame, rows: int) -> str:
    told = {
        name: int(logs[name].sum())
        for name in ("accepted", "changed", "already_held", "set_aside", "cells_set_aside", "passed_over")
    }
    return (
        f"{numbers.count(rows)} rows read = {numbers.count(told['accepted'])} accepted + "
        f"{numbers.count(told['changed'])} changed + "
        f"{numbers.count(told['already_held'])} already held + {numbers.count(told['set_aside'])} set aside. "
        f"{_cells(told['cells_set_aside'])} set aside"
        + (
            f", {numbers.count(told['passed_over'])} blank, title, total or not meant lines passed over."
            if told["passed_over"]
            else "."
        )
    )


def _drop() -> html.Div:
    return parts.drop("Drop a log here, or ", DROP, LARGEST, in_pieces=MOST, tick=TICK)


def _running() -> bool:
    job = desk.here().jobs.latest()
    return job is not None and job.state in ("waiting", "running")


def _latest() -> list[Any]:
    job = desk.here().jobs.latest()
    by_itself = job is not None and job.title == INDEX and job.state == "done"
    return told(job) if job and not by_itself else []


def told(job: Job) -> list[Any]:
    """A job in words: how far it is, or what became of it."""
    if job.state in ("waiting", "running"):
        done = f"{numbers.share(job.share, 100)} done"
        return [
            html.P([html.B(f"{job.title}: "), f"{job.doing}, {done}{numbers.time_left(job.share, job.seconds)}"]),
            html.Progress(value=f"{job.share:.2f}", max="1"),
        ]
    if job.state in ("refused", "failed"):
        return [parts.ask([html.B("Nothing was changed. "), job.problem])]
    lines: list[Any] = []
    for file in job.files:
        if file.outcome == "refused":
            lines.append(parts.ask(file.problem))
            continue
        if file.outcome == "already loaded":
            lines.append(html.P(f"{file.name}: this file is loaded already; nothing changed."))
            continue
        rest = [
            f"{numbers.count(count)} {word}"
            for count, word in (
                (file.changed, "changed"),
                (file.already_held, "already held"),
                (file.set_aside, "set aside"),
            )
            if count
        ]
        say = (
            f"{file.name}: {numbers.count(file.rows_read)} rows read = "
            f"{' + '.join([f'{numbers.count(file.accepted)} accepted', *rest])}."
        )
        cells = f" {_cells(file.cells_set_aside)} set aside." if file.cells_set_aside else ""
        lines.append(html.P([parts.picture("take"), " ", say + cells]))
        lines += [html.P(note, className="small") for note in file.notes[:TEN]]
    return lines or [html.P([parts.picture("take"), f" {job.title}: done."])]


def _take_out(logs: pl.DataFrame) -> html.Details:
    """Taking a log out again: behind a fold, with who and why."""
    names = sorted(logs["name"].unique().to_list())
    fields = [
        parts.field("Log", UNLOAD_LOG, None, names),
        parts.who_field(UNLOAD_WHO, "Who"),
        parts.text_field("Why", UNLOAD_WHY),
    ]
    say = "Its original stays in the shop folder; rows that other logs share with it come back from them."
    button = html.Div(html.Button("Take it out", id=UNLOAD, className="button"), className="acts")
    return html.Details(
        [
            html.Summary("Take a log out again"),
            html.P(say, className="small"),
            html.Div(fields, className="ruled"),
            button,
        ],
        className="behind",
    )


def saved(**_asked: str) -> tuple[str, pl.DataFrame]:
    """The questions that wait, as a table a person saves."""
    return "questions.csv", waiting()


def connect(app: Dash) -> None:
    """The page's callbacks."""
    watch = (Output(PROGRESS, "children", allow_duplicate=True), Output(TICK, "disabled", allow_duplicate=True))
    app.callback(*watch, Input(DROP, "contents"), State(DROP, "filename"), prevent_initial_call=True)(bring)
    app.callback(*watch, Input(AGAIN, "n_clicks"), prevent_initial_call=True)(ask_again)
    app.callback(
        *watch,
        Input(UNLOAD, "n_clicks"),
        State(UNLOAD_LOG, "value"),
        State(UNLOAD_WHO, "value"),
        State(UNLOAD_WHY, "value"),
        prevent_initial_call=True,
    )(take_out)
    app.callback(
        Output(PROGRESS, "children"),
        Output(TICK, "disabled"),
        Output(TOP, "children"),
        Output(REST, "children"),
        Input(TICK, "n_intervals"),
        State(HERE, "data"),
        prevent_initial_call=True,
    )(look)
    logs_new.connect(app, watch)
    work_deeds.connect(app, watch, head)
    same_name.connect(app, watch, told)
    app.callback(
        [Output(SAID, "children"), *watch],
        inputs={"presses": [Input(button, "n_clicks") for button in (CORRECT, REAL, KEEP, TAKE)]},
        state={
            "value": State(VALUE, "value"),
            "cell": State(CELL, "value"),
            "question": State(HERE, "data"),
            "who": State(WHO, "value"),
            "why": State(WHY, "value"),
        },
        prevent_initial_call=True,
    )(answer)


def bring(contents: list[str] | None, names: list[str] | None) -> tuple[Any, Any]:
    """Begins to load the dropped files."""
    if not contents or not names:
        return no_update, no_update
    try:
        number = desk.here().jobs.load(logs_new.files_of(contents, names))
    except FileProblem as problem:
        return [parts.ask(str(problem))], True
    return told(desk.here().jobs.look(number) or Job(number, "Load")), False


def ask_again(clicks: int | None) -> tuple[Any, Any]:
    """Open questions tried anew."""
    if not clicks:
        return no_update, no_update
    number = desk.here().jobs.again()
    return told(desk.here().jobs.look(number) or Job(number, "Try open questions again")), False


def take_out(clicks: int | None, log: str | None, who: str | None, why: str | None) -> tuple[Any, Any]:
    """A log taken out again."""
    if not clicks:
        return no_update, no_update
    if not log or not (who or "").strip():
        return [parts.ask("Taking a log out wants the log and who does it.")], True
    number = desk.here().jobs.unload(log, str(who).strip(), (why or "").strip())
    return told(desk.here().jobs.look(number) or Job(number, "Unload")), False


def look(_ticks: int | None, question: str | None) -> tuple[Any, bool, Any, Any]:
    """How far the work is; when it has ended what it changed is laid out anew."""
    job = desk.here().jobs.latest()
    if job is None:
        return [], True, no_update, no_update
    if job.state in ("waiting", "running"):
        return told(job), False, no_update, no_update
    return told(job), True, head(), rest(question)


def answer(
    presses: Sequence[int | None],
    value: str | None,
    question: str,
    who: str | None,
    why: str | None,
    cell: str | None = None,
) -> tuple[Any, Any, Any]:
    """One answer to one question, by the button that was pressed."""
    from dash import ctx

    pressed = ctx.triggered_id
    if not any(presses) or not question:
        return no_update, no_update, no_update
    if not (who or "").strip() or not (why or "").strip():
        return "An answer wants who gives it and why.", no_update, no_update
    log_id, line, column = parsed(question)
    if pressed == CORRECT:
        column = column or cell or ""
        if not column:
            return "Say which cell of the row is to be put right.", no_update, no_update
        if not (value or "").strip():
            return "Write the value to lay over it, as it should have been typed.", no_update, no_update
        number = desk.here().jobs.correct(log_id, line, column, str(value).strip(), str(who).strip(), str(why).strip())
    else:
        number = desk.here().jobs.settle(
            log_id, line, column, VERDICTS[str(pressed)], str(who).strip(), str(why).strip()
        )
    return "Written into the book.", told(desk.here().jobs.look(number) or Job(number, "Answer")), False
