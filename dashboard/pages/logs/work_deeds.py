"""What a person does with the questions of Logs: chooses one, answers many at once, undoes, looks at the rows."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages.logs import months
from dashboard.pages.logs.questions import waiting
from dashboard.pages.logs.work import (
    ABOUT,
    ACCEPT,
    AT,
    DONE,
    LATER,
    SAID,
    UNDO,
    VERDICTS,
    WHO,
    WHY,
    WORK,
    decisions,
    laid_out,
    story_of,
)
from ingest.verbs.groups import Decision

LOADED = "logs-loaded"
PATIENCE = 120.0  # seconds that an answer waits for its logs to be read


def connect(app: Dash, watch: tuple[Output, Output], head: Any) -> None:
    """The callbacks: choosing, answering, undoing, looking at rows. `head` gives the page's account anew."""
    del watch
    app.callback(
        Output(WORK, "children"),
        Output(AT, "data"),
        Input({"type": "logs-work-decision", "key": ALL}, "n_clicks"),
        Input(LATER, "n_clicks"),
        State(AT, "data"),
        State(DONE, "data"),
        prevent_initial_call=True,
    )(choose)
    outputs = (
        Output(WORK, "children", allow_duplicate=True),
        Output(AT, "data", allow_duplicate=True),
        Output(DONE, "data", allow_duplicate=True),
        Output(SAID, "children", allow_duplicate=True),
        Output("logs-top", "children", allow_duplicate=True),
        Output(LOADED, "children", allow_duplicate=True),
    )
    busy = [(Output(WORK, "className"), "w-busy", "")]  # logs are read again: it takes seconds

    def answered(*given: Any) -> Any:
        return act(head, *given)

    def undone(*given: Any) -> Any:
        return undo(head, *given)

    app.callback(
        *outputs,
        *(Input(one, "n_clicks") for one in (ACCEPT, *VERDICTS)),
        State({"type": "logs-work-tick", "key": ALL}, "value"),
        State({"type": "logs-work-tick", "key": ALL}, "id"),
        State({"type": "logs-work-text", "key": ALL}, "value"),
        State(WHO, "value"),
        State(WHY, "value"),
        State(AT, "data"),
        State(DONE, "data"),
        prevent_initial_call=True,
        running=busy,
    )(answered)
    app.callback(
        *outputs,
        Input(UNDO, "n_clicks"),
        State(WHO, "value"),
        State(AT, "data"),
        State(DONE, "data"),
        prevent_initial_call=True,
        running=busy,
    )(undone)
    app.callback(
        Output(ABOUT, "children"), Input({"type": "logs-work-rows", "key": ALL}, "n_clicks"), prevent_initial_call=True
    )(rows_of)


def rows_of(clicks: list[int | None]) -> Any:
    """The rows of a group, once somebody looks."""
    asked = ctx.triggered_id
    return story_of(str(asked["key"])) if any(clicks) and isinstance(asked, dict) else no_update


def choose(clicks: list[int | None], later: int | None, at: str, done: list[dict[str, Any]]) -> Any:
    """Open another decision, or the next one."""
    pressed = ctx.triggered_id
    if pressed == LATER and later:
        found = [one.key for one in decisions()]
        place = found.index(at) if at in found else 0
        at = found[(place + 1) % len(found)] if found else ""
    elif isinstance(pressed, dict) and any(clicks):
        at = str(pressed["key"])
    else:
        return no_update, no_update
    return laid_out(at, done), at


def act(head: Any, *given: Any) -> Any:
    """Answer what is ticked, by the button that was pressed."""
    *clicks, ticks, ids, texts, who, why, at, done = given
    pressed = ctx.triggered_id
    if not any(clicks):
        return (no_update,) * 6
    if not (who or "").strip():
        anew = str(sum(each or 0 for each in clicks))  # the line is led to at each press
        words = "Say who answers; it stands in the book beside each answer."
        return _only_said(html.Span(words, key=anew, **parts.data(wants="who")))
    ticked = {one["key"]: (text or "").strip() for one, tick, text in zip(ids, ticks, texts, strict=True) if tick}
    found = decisions()
    here = next((one for one in found if one.key == at), found[0] if found else None)
    if here is None or not ticked:
        return _only_said("Tick what you answer first.")
    verdict = VERDICTS.get(str(pressed), "")
    said = [(group, verdict or ticked[group.key]) for group in here.groups if group.key in ticked]
    said = [(group, text) for group, text in said if text]
    if not said:
        return _only_said("Write what it means, or say that it cannot be known.")
    job = desk.here().jobs.wait(desk.here().jobs.answers(said, who, why or here.title.lower()), PATIENCE)
    if job.state != "done":
        return _only_said(job.problem)
    became = job.answer
    told = " ".join([told_of(here, became.settled, became.rows_in, len(said)), *became.told])
    token = {"first": became.first, "last": became.last, "logs": became.logs, "at": here.key}
    done = [*(done or []), token | {"said": told, "settled": became.settled, "texts": len(said)}]
    now = decisions()
    keys = [one.key for one in now]
    if here.key in keys:
        at = here.key
    else:
        after = [one.key for one in found[found.index(here) + 1 :] if one.key in keys]
        at = after[0] if after else (keys[0] if keys else "")
    left = sum(one.rows for one in now if not one.asks_once)
    return laid_out(at, done), at, done, f"{told} {numbers.count(left)} left.", head(), months.sheet(waiting())


def told_of(one: Decision, settled: int, rows_in: int, texts: int) -> str:
    """What answers did: how many questions, for how many rows, and what came in; of words kept as typed the rows were
    in already.
    """
    came = f"{numbers.count(rows_in)} came in"
    if one.asks_once and not rows_in:
        came = "their rows were in already and stand under what was said"
    return f"{one.title}: {_questions(texts, settled, 'answered')}, {came}."


def _questions(texts: int, settled: int, did: str) -> str:
    """`one question answered for 344 rows`."""
    asked = f"{numbers.count(texts)} {'question' if texts == 1 else 'questions'} {did}"
    return asked if texts == settled else f"{asked} for {numbers.count(settled)} rows"


def _only_said(words: Any) -> Any:
    """Nothing changes but what is said."""
    return no_update, no_update, no_update, words, no_update, no_update


def undo(head: Any, clicks: int | None, who: str | None, at: str, done: list[dict[str, Any]]) -> Any:
    """Take the last answer back."""
    if not clicks or not done:
        return (no_update,) * 6
    last = done[-1]
    jobs = desk.here().jobs
    job = jobs.wait(jobs.take_back(last["first"], last["last"], who or "", last["logs"]), PATIENCE)
    if job.state != "done":
        return _only_said(job.problem)
    told = f"Taken back: {_questions(last['texts'], last['settled'], 'asked again')}."
    at = str(last["at"])
    return laid_out(at, done[:-1]), at, done[:-1], told, head(), months.sheet(waiting())
