"""Drift: every stream at a glance, and one of them in full - what moved, since when, together with what, and what was
done about it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from typing import Any
from urllib.parse import parse_qs

import polars as pl
from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.methods.problems import UnusableData
from analysis.studies.drift import states
from analysis.studies.matters.in_sight import in_sight
from analysis.studies.story.calendar import last_moment
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages import days
from dashboard.pages.drift import book as drift_book
from dashboard.pages.drift import budget as drift_budget
from dashboard.pages.drift import closer as drift_closer
from dashboard.pages.drift import limits as drift_limits
from dashboard.pages.drift import moved as drift_moved
from dashboard.pages.drift import on_chart as drift_on_chart
from dashboard.pages.drift import patterns as drift_patterns
from dashboard.pages.drift import played as drift_played
from dashboard.pages.drift import seen as drift_seen
from dashboard.pages.drift import stream as drift_stream
from dashboard.pages.drift.asked import ALL_STAGES, FAMILY, PATH, WEEKS_SEEN, Asked, of_models, read, techs_of
from dashboard.pages.drift.glance import cell_key, counts, glance, leads
from dashboard.pages.drift.odd import SHOWN_ODD, odd_instruments
from dashboard.pages.folds import Fold, folded
from dashboard.pages.held import held
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import ended, judging, what_moved
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

NAME = "Drift"
BODY, ROUTER = "drift-body", "_pages_location"
STAGE, MODELS, TECH, STATE, WEEKS, BY = (
    "drift-stage",
    "drift-models",
    "drift-tech",
    "drift-state",
    "drift-weeks",
    "drift-by",
)
SINCE, UNTIL = "drift-since", "drift-until-day"
FIELDS = {
    "stage": STAGE,
    "models": MODELS,
    "tech": TECH,
    "state": STATE,
    "weeks": WEEKS,
    "since": SINCE,
    "until": UNTIL,
}


def layout(**given: Any) -> Any:
    """The page as its address asks for it."""
    shop = desk.here().snapshot().shop
    asked = read(shop, given)
    return html.Div([dcc.Store(id=drift_book.WRITTEN), html.Div(body(asked), id=BODY)])


def body(asked: Asked) -> html.Div:
    """Everything below the header, for one address; of a period of one's own as it stood at its end."""
    snapshot = desk.here().snapshot()
    first, last = (date.fromisoformat(day) if day else None for day in (asked.since, asked.until))
    end = last_moment(last, snapshot.shop) if last else None
    with desk.as_it_stood(end if end and end < snapshot.as_of else None):
        stood = desk.here().snapshot()
        if first:
            days = (sentences.local(stood.shop, stood.as_of).date() - first).days
            asked = replace(asked, weeks=max(days // 7 + 1, 1))
        return _body(asked)


def _body(asked: Asked) -> html.Div:
    snapshot = desk.here().snapshot()
    shop, now = snapshot.shop, sentences.local(snapshot.shop, snapshot.as_of)
    found = desk.ask(in_sight, weeks=asked.weeks, tech=asked.tech)
    rows = found.streams  # those of the rack, with their matters
    if rows.is_empty() and not asked.tech:
        nothing = (
            "No reading on file belongs to a series yet. A series holds the first-pass readings of one "
            "characteristic, model and stage."
        )
        return parts.page(
            parts.page_head(what_moved.headline([], [], 0, 0, ""), ""),
            parts.empty_state(nothing, "Load a log", "/logs"),
        )
    here = of_models(rows, asked.models, shop)
    here = here.filter(pl.col("stage") == asked.stage) if asked.stage != ALL_STAGES else here
    of_one = bool(asked.tech)
    sight = drift_moved.in_view(found, here, of_one=of_one)
    stream = _stream(rows, here, asked, sight)
    counted = {word: int((here["state"] == word).sum()) for word in (states.MOVED, states.STEADY, states.THIN)}
    stages = (
        [asked.stage]
        if asked.stage != ALL_STAGES
        else [stage.key for stage in shop.stages if stage.key in set(here["stage"])]
    )
    told, elsewhere, watched, nearer = drift_moved.names(sight, shop)
    where = f" at {sentences_drift.small(shop.stage_name(stages[0]))}" if len(stages) == 1 else ""
    judged, back = counted[states.MOVED] + counted[states.STEADY], int(here["ended"].is_not_null().sum())
    head = parts.page_head(
        what_moved.headline(
            told, elsewhere, judged, counted[states.THIN], where, watched=watched, nearer=nearer, back=back
        ),
        f"{sentences_drift.under(shop, stages, asked.weeks, now.date(), asked.tech)} "
        f"{what_moved.beside(told, elsewhere, watched) or ended.on_drift(sight.back, shop, now.date())}".strip(),
    )
    shown = here.filter(pl.col("state") == asked.state) if asked.state else here
    picked = cell_key(stream) if stream else ""
    seen = drift_moved.in_view(found, shown, of_one=of_one) if asked.state else sight
    what = partial(drift_moved.sheet, shop=shop, now=now.date())
    looked = _looked_at(stream, asked, shop, now)
    kept = {name: value for name, value in parse_qs(asked.search.lstrip("?")).items() if name != "open"}
    return parts.page(
        head,
        _filters(asked, shop, now),
        folded(
            [
                *looked.folds,
                Fold(
                    "all",
                    "All series at a glance",
                    "a straightedge each, by characteristic and model",
                    partial(glance, shown, stages, asked, stream=stream, shop=shop, now=now),
                ),
                Fold(
                    "odd",
                    "Odd instruments",
                    "single readings beyond four times the usual spread; they open no signal",
                    partial(odd_instruments, rows, asked, stages, shop, now),
                ),
                Fold(
                    "patterns",
                    "Patterns",
                    "what the eight rules mark, and instruments whose readings do not go together",
                    partial(drift_patterns.sheet, shop, asked.weeks),
                ),
                Fold("played", "Play test", "what players found", partial(drift_played.sheet, shop, asked.weeks)),
                Fold(
                    "judges",
                    "How it judges",
                    "what the words mean, and how far the promise goes",
                    partial(how_it_judges, shop),
                ),
            ],
            PATH,
            {**{name: values[-1] for name, values in kept.items()}, "open": asked.open},
            above=lambda: [
                held(drift_moved.NAME, what, seen, picked, partial(leads, asked)),
                counts(counted, shop, watched=sum(len(one.rows) for one in sight.watched), back=back),
                *looked.sheets(),
                *unjudged(shop),
            ],
        ),
    )


def unjudged(shop: Shop) -> list[Any]:
    """Streams that could not be judged, each with its reason; nothing where all could."""
    apart = desk.ask(states.unjudged_streams)
    if shop.people.show == "none":
        apart = apart.filter(pl.col("tech") == "")
    if apart.is_empty():
        return []
    rows = [
        {
            "what": sentences_drift.stream_name(shop, row, stage=True) + (f", {row['tech']}" if row["tech"] else ""),
            "n": numbers.count(row["n"]),
            "why": row["why"],
        }
        for row in apart.head(SHOWN_ODD).iter_rows(named=True)
    ]
    more = [html.P(f"and {numbers.count(len(apart) - SHOWN_ODD)} more", className="small")][: len(apart) > SHOWN_ODD]
    columns = [("what", "Series"), ("n", "Readings", "n"), ("why", "Why")]
    table = parts.plain_table(rows, columns)
    return [parts.sheet("Series that could not be judged", "the others stand without them", [table, *more])]


@dataclass(frozen=True)
class _Looked:
    """What makes the sheets of one stream, and what of it stays folded."""

    sheets: Callable[[], list[Any]]
    folds: list[Fold]


def _looked_at(stream: dict[str, Any] | None, asked: Asked, shop: Shop, now: datetime) -> _Looked:
    if stream is None:
        return _Looked(list, [])
    try:
        seen = drift_seen.look(stream, asked.tech, asked.weeks, now)
    except UnusableData as problem:
        told = str(problem)
        return _Looked(lambda: [parts.sheet("The series", "", parts.problem_state(told))], [])

    def one() -> Any:
        by_field, foot = drift_on_chart.by_field(BY, asked.by, shop), [drift_closer.opener(seen)]
        return held("The series", partial(drift_stream.sheet, below=foot), seen, asked.by, by_field, shop)

    def sheets() -> list[Any]:
        book = held("Bench book", drift_book.sheet, seen, shop)
        if seen.signal is None:
            return [one(), book]
        return [one(), parts.row("75", held("What it moves together with", drift_stream.moves, seen, shop), book)]

    name = sentences_drift.stream_name(shop, stream)
    return _Looked(
        sheets,
        [
            Fold(
                "limits",
                "Limits",
                f"{name}: set anew from a baseline",
                lambda: html.Div([one(), drift_limits.sheet(seen, shop)]),
            ),
            Fold(
                "buys",
                "What a budget buys",
                "how many instruments until a shift is seen",
                lambda: html.Div([one(), drift_budget.budget_sheet(seen, shop)]),
            ),
        ],
    )


def _stream(rows: pl.DataFrame, here: pl.DataFrame, asked: Asked, sight: drift_moved.Sight) -> dict[str, Any] | None:
    """The stream of the address, else the farthest of what is told first, else the first of those in sight."""
    if asked.characteristic:
        wanted = {"characteristic": asked.characteristic, "position": asked.position, "model": asked.model}
        found = rows.filter(*[pl.col(name) == value for name, value in wanted.items()])
        at = found.filter(pl.col("stage") == asked.stage)
        if len(at) or (asked.stage == ALL_STAGES and len(found)):
            return (at if len(at) else found).row(0, named=True)
    first = sight.things[0].farthest if sight.things and not asked.state else None
    if first is not None:
        return rows.filter(*[pl.col(name) == first[name] for name in drift_moved.KEY]).row(0, named=True)
    in_state = here.filter(pl.col("state") == asked.state) if asked.state else here
    return in_state.row(0, named=True) if len(in_state) else None


def _filters(asked: Asked, shop: Shop, now: datetime) -> html.Div:
    setups = list(dict.fromkeys(shop.setups.values()))
    families = list(dict.fromkeys(shop.families.values()))
    every = f"All {numbers.in_words(len(setups))}" if len(setups) > 1 else "All models"
    models: list[Any] = [{"value": "", "label": every}]
    if 1 < len(families) < len(setups):
        models.append(
            {
                "group": "Families",
                "items": [{"value": f"{FAMILY}{family}", "label": family.capitalize()} for family in families],
            }
        )
    models.append({"group": "Models", "items": [{"value": one, "label": sentences.model(shop, one)} for one in setups]})
    stages = [
        {"value": stage.key, "label": shop.stage_name(stage.key)} for stage in shop.stages if stage.role != "rest"
    ]
    weeks = [{"value": str(n), "label": f"{n}, to {numbers.day(now)}"} for n in sorted({*WEEKS_SEEN, asked.weeks})]
    techs = [{"value": "", "label": "Everybody"}] + [{"value": key, "label": key} for key in techs_of(shop)]
    found = [("", "All"), (states.MOVED, "Moved"), (states.STEADY, "Steady"), (states.THIN, "Thin")]
    return parts.fields(
        parts.field("Stage", STAGE, asked.stage, [*stages, {"value": ALL_STAGES, "label": "All stages"}]),
        parts.field("Models", MODELS, asked.models, models),
        parts.field("Set by", TECH, asked.tech, techs),
        parts.field("State", STATE, asked.state, [{"value": value, "label": label} for value, label in found]),
        parts.field("Weeks", WEEKS, str(asked.weeks), weeks, disabled=bool(asked.since)),
        days.field("From", SINCE, asked.since),
        days.field("To", UNTIL, asked.until),
    )


def how_it_judges(shop: Shop) -> html.Section:
    """What the words of the page mean, and how far its promise goes."""
    return parts.sheet(
        "How it judges", "", html.Div([html.P(text, className="small") for text in judging.how_it_judges(shop)])
    )


def connect(app: Dash) -> None:
    """The page's callbacks."""
    app.callback(
        Output(ROUTER, "search", allow_duplicate=True),
        {name: Input(field, "value") for name, field in FIELDS.items()},
        State(ROUTER, "search"),
        State(ROUTER, "pathname"),
        prevent_initial_call=True,
    )(filtered)
    app.callback(
        Output(ROUTER, "search", allow_duplicate=True),
        Input(BY, "value"),
        State(ROUTER, "search"),
        State(ROUTER, "pathname"),
        prevent_initial_call=True,
    )(shown_by)
    app.callback(
        Output(BODY, "children"), Input(drift_book.WRITTEN, "data"), State(ROUTER, "search"), prevent_initial_call=True
    )(shown)
    drift_book.connect(app)
    drift_limits.connect(app)
    drift_closer.connect(app)


def asked_for(search: str | None) -> Asked:
    """The filters of an address as the browser holds it."""
    given = {name: values[-1] for name, values in parse_qs((search or "").lstrip("?"), keep_blank_values=True).items()}
    return read(desk.here().snapshot().shop, given)


def filtered(fields: dict[str, str | None], search: str | None, path: str | None) -> Any:
    """The address of other filters, from which the page is laid out anew; another stage, tech or model lets go of a
    stream that is not there.
    """
    if path != PATH:
        return no_update
    before = asked_for(search)
    told = {**fields, **{name: days.in_address(fields[name]) for name in ("since", "until")}}
    given = {**before.__dict__, **{name: value or "" for name, value in told.items()}}
    if before.since:
        given["weeks"] = before.weeks  # shown, but not chosen
    given["page"] = ""
    after = read(desk.here().snapshot().shop, given)
    if (after.models, after.state) != (before.models, before.state):
        after = replace(after, characteristic="", position="", model="")
    return no_update if after.search == before.search else after.search


def shown_by(by: str | None, search: str | None, path: str | None) -> Any:
    """The address with who, lot or gauge by shape."""
    before = asked_for(search)
    return no_update if path != PATH or (by or "") == before.by else replace(before, by=by or "").search


def shown(written: int | None, search: str | None) -> Any:
    """The page as it stands once something was written."""
    return body(asked_for(search)) if written else no_update
