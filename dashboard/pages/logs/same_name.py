"""Two logs of one name that share some visits: is the later one a newer edition of the earlier, or another log?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import polars as pl
from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.desk.jobs import Job

WHO, WHY, SAID, VERDICT = "logs-same-who", "logs-same-why", "logs-same-said", "logs-same"
EDITION, OTHER = "edition", "other"
MOST = 10  # pairs at a time; the next come as these are settled


def asked() -> pl.DataFrame:
    """Pairs of logs of one name of which nobody has said what they are: editions, name, loaded, loaded_before."""
    snapshot = desk.here().snapshot()
    logs = snapshot.table("logs", "log_id", "name", "loaded_at")
    pairs = snapshot.table("editions").filter("asked")
    newer = logs.select(newer="log_id", name="name", loaded="loaded_at")
    older = logs.select(older="log_id", loaded_before="loaded_at")
    return pairs.join(newer, on="newer").join(older, on="older").sort("loaded", "newer", "older")


def sheets() -> list[html.Section]:
    """The question of each pair with its two answers; nothing where none waits."""
    found = asked()
    if found.is_empty():
        return []
    rows = [_pair(row) for row in found.head(MOST).iter_rows(named=True)]
    more = len(found) - MOST
    left = [html.P(f"and {numbers.count(more)} more come as these are settled", className="small")] if more > 0 else []
    fields = html.Div([parts.who_field(WHO, "Who says it"), parts.text_field("Why", WHY)], className="ruled")
    say = "They count as two logs until you say so. What you say is kept in the book and can be said anew."
    told = [html.P(say, className="small"), fields, html.P("", id=SAID, role="status")]
    return [parts.sheet("Sheets of one name", "one newer edition, or two logs?", [*rows, *left, *told])]


def _pair(row: dict[str, Any]) -> html.Div:
    zone = desk.here().snapshot().shop.zone
    day, before = (numbers.day(row[name].astimezone(zone).date()) for name in ("loaded", "loaded_before"))
    say = (
        f"{row['name']}, loaded {day}, tells of {numbers.of(row['shared'], row['of'])} visits of the log of that name "
        f"loaded {before}."
    )
    buttons = [
        html.Button(words, id={"type": VERDICT, "key": f"{verdict}:{row['newer']}:{row['older']}"}, className="button")
        for verdict, words in ((EDITION, "It is a newer edition"), (OTHER, "It is another log"))
    ]
    return html.Div([html.P(parts.ask(say)), html.Div(buttons, className="acts")])


def connect(app: Dash, watch: tuple[Output, Output], told: Callable[[Job], list[Any]]) -> None:
    """watch : where Logs shows how far its work is, and the clock that looks.  told : a job in words."""

    def said(clicks: list[int | None], who: str | None, why: str | None) -> tuple[Any, Any, Any]:
        return say(told, ctx.triggered_id, clicks, who, why)

    app.callback(
        [Output(SAID, "children"), *watch],
        Input({"type": VERDICT, "key": ALL}, "n_clicks"),
        State(WHO, "value"),
        State(WHY, "value"),
        prevent_initial_call=True,
    )(said)


def say(
    told: Callable[[Job], list[Any]], pressed: Any, clicks: list[int | None], who: str | None, why: str | None
) -> tuple[Any, Any, Any]:
    """What somebody says of one pair, by the button that was pressed."""
    if not any(clicks) or not isinstance(pressed, dict):
        return no_update, no_update, no_update
    if not (who or "").strip() or not (why or "").strip():
        return "An answer wants who gives it and why.", no_update, no_update
    verdict, newer, older = str(pressed["key"]).split(":")
    jobs = desk.here().jobs
    number = jobs.say_edition(newer, older, str(who).strip(), str(why).strip(), edition=verdict == EDITION)
    return "Written into the book.", told(jobs.look(number) or Job(number, "Answer")), False
