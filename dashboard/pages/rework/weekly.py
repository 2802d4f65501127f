"""Weekly shares on Rework: each stage's week against its last twelve, those that stand out first, and what is not
judged yet.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import polars as pl
from dash import dcc, html

from analysis.methods.problems import NotWorkedOut, UnusableData
from analysis.studies.drift.shares_standing import Standing, standing
from analysis.studies.people.catchers import caught_by_one
from analysis.studies.rework import rework
from analysis.studies.rework.stage_weeks import BASE_WEEKS, weekly_shares
from analysis.studies.rework.work_mix import UNKNOWN
from analysis.studies.story.scope import Scope
from analysis.studies.story.seen_again import untold
from analysis.studies.story.unread import unread
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.weekly import Week
from dashboard.charts.weekly import weekly as drawn
from dashboard.desk import desk
from dashboard.sentences import rework as sentences_rework
from dashboard.sentences import shares_moved
from dashboard.sentences import unread as words
from ingest.shopfiles.shop import Shop

LARGEST = 3  # stages shown where fewer stand out; the rest fold away
MEASURES = (
    ("share", "lower", "upper", "base_share", "state"),
    ("faults_each", "faults_lower", "faults_upper", "base_faults_each", "faults_state"),
)
OUT = ("above", "below")


def weekly(shop: Shop, scope: Scope, last: date) -> html.Section:
    """Send-back share and faults an instrument of each stage in the week under review, drawn with the twelve weeks
    before.
    """
    first = last - timedelta(weeks=BASE_WEEKS)
    every = desk.ask(weekly_shares, scope=Scope(models=scope.models, families=scope.families, first=first, last=last))
    missing = words.causes_missing(desk.ask(unread))
    if missing:  # all stand under no stage: each stage would be shown as if nothing came back
        every = every.filter(pl.col("stage") == UNKNOWN)
    now = every.filter(pl.col("week") == last)
    if missing and every.is_empty():
        said = f"{words.OF_CAUSES[0].upper()}{words.OF_CAUSES[1:]}."
        return parts.sheet("This week against the last twelve", "", parts.problem_state(said))
    right = f"instruments judged in the week of {numbers.day(last)}, by the stage that caused it"
    if now.is_empty():
        return parts.sheet(
            "This week against the last twelve",
            right,
            [html.P("No instrument was judged in this week."), _not_judged(shop, scope)],
        )
    lasts, unasked = _lasting(scope, last)
    lasts = [one for one in lasts if one.stage == UNKNOWN or not missing]
    out = pl.any_horizontal(pl.col("state", "faults_state").is_in(OUT))
    few = pl.col("instruments") < sentences_rework.FEW
    order = now.with_columns(out.alias("out"), pl.col("stage").is_in([one.stage for one in lasts]).alias("lasts"))
    first_ones = pl.col("out") | pl.col("lasts")
    order = order.sort(~first_ones, few, -pl.col("share"), maintain_order=True)
    many = max(int(order.select(first_ones.sum()).item()), LARGEST)
    say = sentences_rework.weekly_say(order.filter("out"), shop, held=bool((order["base_instruments"] > 0).any()))
    rest = order.slice(many)
    fold = (
        [parts.behind(_charts(rest, every, shop, scope, last), sentences_rework.others(len(rest)))] if len(rest) else []
    )
    key = (
        "13 weeks, this one large; grey: what chance gives by the twelve weeks before each; line: what they let expect "
        "of this week's models, lots and inspectors; a wedge marks a week outside."
    )
    body = [
        *([html.P(sentences_rework.lasting(lasts, shop, last))] if lasts else []),
        *[html.P(text) for text in _testers(lasts, shop, last)],
        *(
            [html.P(f"What lasts is not known. {unasked[:1].upper()}{unasked[1:]}.", className="small")]
            if unasked
            else []
        ),
        html.P(say),
        _charts(order.head(many), every, shop, scope, last),
        html.P(key, className="small"),
        *fold,
        parts.behind(_table(order, shop)),
        _not_judged(shop, scope),
    ]
    return parts.sheet("This week against the last twelve", right, body, id="rework-weekly")


def since_when(shop: Shop, scope: Scope, last: date) -> str:
    """What comes back more, or less, since some week, for the page's first screen; '' where nothing does."""
    try:
        lasts, _ = ([], "") if words.causes_missing(desk.ask(unread)) else _lasting(scope, last)
    except NotWorkedOut:  # said in its own sheet
        return ""
    return f" {sentences_rework.lasting(lasts, shop, last)}" if lasts else ""


def _lasting(scope: Scope, last: date) -> tuple[list[Standing], str]:
    """What comes back more, or less, since some week, and why that is not known (else empty). Signals are of all models
    together, or of single ones: where some models are asked for, of these.
    """
    if scope.families:
        return [], ""
    try:
        found = desk.ask(standing, week=last)
    except UnusableData as why:
        return [], str(why)
    return [one for one in found if not scope.models or (one.models and set(one.models) <= set(scope.models))], ""


def _testers(lasts: list[Standing], shop: Shop, last: date) -> list[str]:
    """Of what comes back more: where one of several testers sends more back than before, as Week says it."""
    told = []
    for stage in dict.fromkeys(one.stage for one in lasts if one.since.low > 1):
        text = shares_moved.by_one(desk.ask(caught_by_one, stage=stage, until=last), shop, last)
        if text:
            told.append(f"{sentences_rework.charted(shop, stage)}: {text[:1].lower()}{text[1:]}")
    return told


def _charts(rows: pl.DataFrame, every: pl.DataFrame, shop: Shop, scope: Scope, last: date) -> html.Div:
    lines, first = [], last - timedelta(weeks=BASE_WEEKS)
    model = scope.models[0] if scope.models else None
    for row in rows.iter_rows(named=True):
        own = every.filter(pl.col("stage") == row["stage"]).with_columns(
            ((pl.col("week") - first).dt.total_days() // 7).alias("place")
        )
        name = sentences_rework.charted(shop, row["stage"])
        link = addresses.address(
            "/logs/visits", caused_at=row["stage"], model=model, judged_from=last, judged_to=last + timedelta(days=6)
        )
        told = sentences_rework.weekly_row(row)
        came_back = dcc.Link(told["came_back"], href=link) if row["came_back"] else told["came_back"]
        line: dict[str, Any] = {
            "told": [
                html.B(name),
                html.Div([came_back, f", {told['share']}"]),
                html.Div(told["before"], className="small"),
                *_word(row["state"]),
            ],
            "faults_told": [
                told["faults"],
                html.Div(told["faults_before"], className="small"),
                *_word(row["faults_state"]),
            ],
        }
        for column, (value, low, high, base, state), what in zip(
            ("chart", "faults"), MEASURES, ("came back", "faults an instrument"), strict=True
        ):
            weeks = [Week(*each) for each in own.select("place", value, low, high, state).iter_rows()]
            picture = f"{name}, {what}, {sentences_rework.weekly(row[state])}"
            line[column] = html.Div(parts.sparkline(drawn(weeks, row[base]), picture), className="spark")
        lines.append(line)
    columns = [
        ("told", "Came back to"),
        ("chart", "Share of instruments"),
        ("faults_told", "Faults an instrument", "wide-only"),
        ("faults", "", "wide-only"),
    ]
    return parts.plain_table(lines, columns)


def _word(state: str) -> list[Any]:
    return (
        [parts.mark(f"moved-{'up' if state == 'above' else 'down'}", sentences_rework.weekly(state))]
        if state in OUT
        else []
    )


def _table(rows: pl.DataFrame, shop: Shop) -> html.Div:
    lines = [
        {"stage": sentences_rework.charted(shop, row["stage"]), **sentences_rework.weekly_figures(row)}
        for row in rows.iter_rows(named=True)
    ]
    columns = [
        ("stage", "Caused at"),
        ("came_back", "Came back", "n"),
        ("share", "Share", "n"),
        ("base", "Twelve weeks before", "n"),
        ("mixed", "Of this week's models, lots, inspectors", "n wide-only"),
        ("within", "Still chance", "n wide-only"),
        ("state", "", "wide-only"),
        ("faults", "Faults an instrument", "n wide-only"),
        ("faults_base", "Twelve weeks before", "n wide-only"),
        ("faults_within", "Still chance", "n wide-only"),
        ("faults_state", "", "wide-only"),
    ]
    return parts.plain_table(lines, columns)


def _not_judged(shop: Shop, scope: Scope) -> html.P:
    """Work that no week counts yet: on the bench and the oldest, on hold, lost from sight."""
    waiting = desk.ask(rework.on_the_bench, scope=Scope(models=scope.models, families=scope.families))
    told: list[Any] = [sentences_rework.not_judged(waiting, desk.ask(untold))]
    oldest = waiting.filter(pl.col("standing") == "bench").head(1)
    for serial, stage, days in oldest.select("serial", "last_stage", "days").iter_rows():
        link = dcc.Link(serial, href=addresses.address("/logs/instrument", serial=serial), className="serial")
        told += [
            " The oldest on the bench: ",
            link,
            f", {numbers.count(int(days))} days, last seen at {shop.stage_name(stage).lower()}.",
        ]
    return html.P(told, className="small")
