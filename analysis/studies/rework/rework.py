"""Work that comes back: the tables of stages, send-backs and weeks, and how it flows from where it is caught to where
it began.
"""

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import polars as pl

from analysis.studies.rework.yields import rolled_yields, routes, stage_yields
from analysis.studies.story.calendar import first_day, local_day, week_of
from analysis.studies.story.of_visits import ELSEWHERE
from analysis.studies.story.outcomes import causes_read, minutes_known, outcome_read, outcomes_at
from analysis.studies.story.scope import ALL, Scope, events_caught, judged, loops_caught
from analysis.studies.story.story import story
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

SUMS = ("minutes", "hours", "cost")


def stages(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """A row a stage in bench order, then supplier, handling and unknown, so that the sums equal those of `send_backs`.

    stage, instruments (judged ones that came), visits and minutes (all of theirs, round 1), yield_caught, yield_caused
    (null where none came), caught_here, caused_here (send-backs), loop_minutes, loop_hours, loop_cost (at the stage
    that caused the loop).
    """
    table = stage_yields(snapshot, scope).select(
        "stage", "instruments", "visits", "minutes", "yield_caught", "yield_caused"
    )
    elsewhere = pl.DataFrame(
        {"stage": ELSEWHERE, "instruments": 0, "visits": 0, "minutes": 0.0, "yield_caught": None, "yield_caused": None},
        schema=table.schema,
    )
    loops = loops_caught(snapshot, scope)
    caught = loops.group_by(pl.col("caught_at").alias("stage")).agg(pl.len().cast(pl.Int64).alias("caught_here"))
    caused = loops.group_by(pl.col("caused_at").alias("stage")).agg(
        pl.len().cast(pl.Int64).alias("caused_here"), *_loop_sums()
    )
    joined = pl.concat([table, elsewhere])
    for part in (caught, caused):
        joined = joined.join(part, on="stage", how="left", maintain_order="left")
    joined = joined.with_columns(
        pl.col("caught_here", "caused_here").fill_null(0),
        pl.col("loop_minutes", "loop_hours", "loop_cost").fill_null(0.0),
    )
    return _of_what_was_read(joined, snapshot)


def _of_what_was_read(table: pl.DataFrame, snapshot: Snapshot) -> pl.DataFrame:
    """Send-backs null at stages of which no log tells how a visit ended; what was caused there also where no log tells
    of causes (then all stands under unknown); work of loops null where no minutes of any repeat are known.
    """
    at = snapshot.once(outcomes_at)["stage"].to_list()
    any_told = bool(at) or snapshot.once(story).visits.is_empty()
    at_stage = pl.col("stage").is_in(list(snapshot.shop.bench_order))
    caused = pl.lit(any_told) & (~at_stage | pl.lit(causes_read(snapshot)))
    caught = pl.lit(any_told) & (~at_stage | pl.col("stage").is_in(at) | (pl.col("visits") == 0))
    table = table.with_columns(
        pl.when(caught).then("caught_here").alias("caught_here"),
        *(
            pl.when(caused).then(name).alias(name)
            for name in ("caused_here", "loop_minutes", "loop_hours", "loop_cost")
        ),
    )
    if snapshot.once(work_known):
        return table
    worked = pl.col("loop_hours").is_not_null() & (pl.col("caused_here") == 0)
    return table.with_columns(pl.when(worked).then(name).alias(name) for name in ("loop_minutes", "loop_cost"))


def work_known(snapshot: Snapshot) -> bool:
    """Are the minutes of any repeated visit within a loop known: typed, clocked or planned? True without a repeat."""
    every = snapshot.once(story).visits
    visits = every.at(every["loop"].is_not_null().arg_true(), "role", "pass_no", "minutes_from", "minutes")
    visits = visits.filter(pl.col("role") != "rest")
    again = visits.filter((pl.col("pass_no") > 1) | (pl.col("role") == "repair"))
    return again.is_empty() or bool(again.select(minutes_known().any()).item())


def send_backs(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """Every send-back of round 1 once: caused_at, caught_at, fault (its first, '' none), count, loop_minutes,
    loop_hours, loop_cost. Where no log at all says how a visit ended one row stands for what nobody knows: caused at
    unknown, caught at '', every number null.
    """
    table = (
        loops_caught(snapshot, scope)
        .group_by("caused_at", "caught_at", "fault")
        .agg(pl.len().cast(pl.Int64).alias("count"), *_loop_sums())
    )
    if outcomes_unread(snapshot):
        nobody_knows = {"caused_at": "unknown", "caught_at": "", "fault": ""}
        return pl.DataFrame([nobody_knows | dict.fromkeys(table.columns[3:])], schema=table.schema)
    return table.sort(_place("caused_at", snapshot.shop), _place("caught_at", snapshot.shop), "fault")


def outcomes_unread(snapshot: Snapshot) -> bool:
    """Are there visits, and says no log how any of them ended?"""
    read = snapshot.once(outcome_read)
    return not read.is_empty() and not read.any()


def weeks(
    snapshot: Snapshot, signals: pl.DataFrame | None = None, scope: Scope = ALL, *, since: date | None = None
) -> pl.DataFrame:
    """A row a week with a visit on file, oldest first.

    since : no week before that one; each as it stands among all. signals : opened_at (UTC) of every signal, or None
    (none opened). Columns: week (its first day), finished (null where no log says how the visits to the last stage
    ended), judged, rolled_yield, never_sent_back (null where none was judged), loop_minutes, loop_cost (of send-backs
    caught that week), signals_opened, set_aside (rows and cells, in the week of the visit on their line or the nearest
    line before it in the log).
    """
    told = snapshot.once(story)
    late = scope if since is None else replace(scope, first=max(since, scope.first or since))
    table = late.weeks_of(told.days.filter("visited").select("week").unique().sort("week"), "week")
    finished = scope.models_of(told.instruments).filter(pl.col("finished_week").is_not_null())
    parts = [
        finished.group_by(pl.col("finished_week").alias("week")).agg(pl.len().cast(pl.Int64).alias("finished")),
        rolled_yields(snapshot, late, by=("week",)).select("week", "judged", "rolled_yield", "never_sent_back"),
        _summed(loops_caught(snapshot, late)),
        _opened(signals, snapshot.shop),
        _set_aside(snapshot, late),
    ]
    for part in parts:
        table = table.join(part, on="week", how="left", maintain_order="left")
    table = table.with_columns(
        pl.col("finished", "judged", "signals_opened", "set_aside").fill_null(0),
        pl.col("loop_minutes", "loop_cost").fill_null(0.0),
    )
    read = told.visits["week"].filter(snapshot.once(outcome_read)).unique().to_frame().with_columns(_read=pl.lit(True))
    known = pl.col("_read").fill_null(False) & (pl.lit(snapshot.once(work_known)) | pl.col("_loops").is_null())
    table = table.join(read, on="week", how="left", maintain_order="left")
    table = table.with_columns(pl.when(known).then(name).alias(name) for name in ("loop_minutes", "loop_cost"))
    table = table.join(_untold_ends(snapshot), on="week", how="left", maintain_order="left")
    return table.with_columns(pl.when(pl.col("_untold").is_null()).then("finished").alias("finished")).drop(
        "_read", "_loops", "_untold"
    )


def _summed(loops: pl.DataFrame) -> pl.DataFrame:
    """What loops took in the week in which each was caught: week, loop_minutes, loop_cost, _loops. Summed in their
    order: sums of groups hang in their last digit on how the library shares them out.
    """
    week, code, count = np.unique(
        loops["opened_week"].to_physical().to_numpy(), return_inverse=True, return_counts=True
    )
    summed = {
        f"loop_{name}": np.bincount(code, loops[name].fill_null(0.0).to_numpy(), minlength=len(week))
        for name in ("minutes", "cost")
    }
    return pl.DataFrame({"week": pl.Series(week, dtype=pl.Int32).cast(pl.Date), **summed, "_loops": count})


def _untold_ends(snapshot: Snapshot) -> pl.DataFrame:
    """Weeks (week, _untold) in which nobody can say what was finished: of the visits to the stage that ends the route
    that week, or of all visits on file, no log tells the outcome.
    """
    known = snapshot.once(outcome_read)
    if known.all():
        return pl.DataFrame(schema={"week": pl.Date, "_untold": pl.Boolean})
    visits = snapshot.once(story).visits.select("week", "role").with_columns(known)
    last = "packing" if any(stage.role == "packing" for stage in snapshot.shop.stages) else "final"
    at_end = pl.col("outcome_read").filter(pl.col("role") == last)
    told = visits.group_by("week").agg(ends=at_end.len(), read=at_end.any())
    untold = told.filter(((pl.col("ends") > 0) & ~pl.col("read")) | pl.lit(outcomes_unread(snapshot)))
    return untold.select("week", _untold=pl.lit(True))


@dataclass(frozen=True)
class Flows:
    """What goes back along the bench."""

    rows: (
        pl.DataFrame
    )  # caused_at, caught_at, count, minutes, hours, cost and of each the part whose cause is confirmed (.._confirmed);
    # stages_back (steps of the bench, null from elsewhere); largest minutes first
    # one row: count, open, minutes, hours, cost, confirmed (count), planned_share (of the minutes), rests, rest_hours
    total: pl.DataFrame


def flows(snapshot: Snapshot, scope: Scope = ALL) -> Flows:
    """Caused at by caught at, for a table or a chart along the bench, and their totals.

    rests, rest_hours: how often an instrument rested again within a loop, and the hours from the visit before to the
    end of that rest.
    """
    loops = loops_caught(snapshot, scope)
    confirmed = [pl.col(name).filter("confirmed").sum().alias(f"{name}_confirmed") for name in SUMS]
    rows = loops.group_by("caused_at", "caught_at").agg(
        pl.len().cast(pl.Int64).alias("count"),
        pl.col(*SUMS).sum(),
        pl.col("confirmed").sum().cast(pl.Int64).alias("count_confirmed"),
        *confirmed,
    )
    order = snapshot.shop.bench_order
    caught, caused = (
        pl.col(name).replace_strict(order, default=None, return_dtype=pl.Int64) for name in ("caught_at", "caused_at")
    )
    rows = rows.with_columns((caught - caused).alias("stages_back"))
    rows = rows.sort("minutes", "count", "caused_at", "caught_at", descending=[True, True, False, False])
    visits = snapshot.once(story).visits
    at = visits["loop"].is_in(loops["loop"].implode()).fill_null(False).arg_true()
    inside = visits.at(at, "role", "pass_no", "minutes_from", "loop_minutes", "taken_at")
    before = visits["taken_at"].shift().gather(at)
    inside = inside.with_columns(since=(inside["taken_at"] - before).dt.total_seconds().clip(lower_bound=0))
    again = inside.filter((pl.col("role") == "rest") & (pl.col("pass_no") > 1))
    planned = float(inside.filter(pl.col("minutes_from") == "planned")["loop_minutes"].sum())
    minutes = float(loops["minutes"].sum())
    total = loops.select(
        pl.len().cast(pl.Int64).alias("count"),
        pl.col("open").sum().cast(pl.Int64),
        pl.col(*SUMS).sum(),
        pl.col("confirmed").sum().cast(pl.Int64),
        pl.lit(planned / minutes if minutes else 0.0).alias("planned_share"),
        pl.lit(again.height, dtype=pl.Int64).alias("rests"),
        pl.lit(float(again["since"].sum()) / 3600).alias("rest_hours"),
    )
    return Flows(rows, total)


def answers(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """Other than by a send-back: kind (fixed | reject | second | return), caused_at, caught_at, fault (first), count,
    confirmed (count).

    Fixed, rejected and seconds of round 1, and returns of any round, caught in the weeks asked for.
    """
    asked = ("model", "setup", "family", "week", "outcome", "round", "caused_at", "stage", "fault", "confirmed")
    visits = scope.weeks_of(scope.models_of(snapshot.once(story).visits.select(*asked)), "week")
    kinds = visits.filter(
        (pl.col("outcome").is_in(["fixed", "reject", "second"]) & (pl.col("round") == 1))
        | (pl.col("outcome") == "return")
    )
    table = kinds.group_by(
        pl.col("outcome").alias("kind"), "caused_at", pl.col("stage").alias("caught_at"), "fault"
    ).agg(pl.len().cast(pl.Int64).alias("count"), pl.col("confirmed").sum().cast(pl.Int64))
    return tables.plain(table).sort(
        "kind", "count", "caused_at", "caught_at", "fault", descending=[False, True, False, False, False]
    )


def travels(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """How far each fault went before it was seen: a row a send-back, fix or reject whose causing visit is on file.

    visit, serial, model, kind, caused_at, caught_at, fault, stages (steps along the route of the family; 0 where it was
    caught at or before the causing stage, or at a repair), minutes (worked on the instrument between the two visits),
    days (from the end of the causing visit to the end of the catching one).
    """
    told = snapshot.once(story)
    known = events_caught(snapshot, scope).filter(pl.col("charged_visit").is_not_null())
    worked = pl.concat([pl.Series([0.0]), told.visits["minutes"].cum_sum()])
    begun = told.visits["taken_at"].gather(known["charged_visit"])
    steps = routes(snapshot.shop)
    for name in ("caught_at", "caused_at"):
        known = known.join(
            steps.rename({"stage": name, "step": f"{name}_step"}),
            on=["family", name],
            how="left",
            maintain_order="left",
        )
    return known.select(
        "visit",
        "serial",
        "model",
        "kind",
        "caused_at",
        "caught_at",
        "fault",
        (pl.col("caught_at_step") - pl.col("caused_at_step")).clip(lower_bound=0).fill_null(0).alias("stages"),
        (worked.gather(known["visit"]) - worked.gather(known["charged_visit"] + 1)).alias("minutes"),
        ((pl.col("taken_at") - begun).dt.total_seconds().clip(lower_bound=0) / 86400).alias("days"),
    )


def where_on(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """Where on the instrument: model, fault, fault_at, count, instruments; faults of round 1 with a place, most
    frequent first.
    """
    faults = scope.weeks_of(scope.models_of(snapshot.once(story).faults), "week").filter(
        (pl.col("round") == 1) & (pl.col("fault_at") != "")
    )
    table = faults.group_by(pl.col("setup").alias("model"), "fault", "fault_at").agg(
        pl.len().cast(pl.Int64).alias("count"), pl.col("serial").n_unique().cast(pl.Int64).alias("instruments")
    )
    return table.sort("model", "count", "fault", "fault_at", descending=[False, True, False, False])


def on_the_bench(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """Instruments not yet done, oldest first: serial, model, standing (bench | hold | lost), first_seen, last_seen,
    last_stage, days (since).
    """
    rows = scope.models_of(snapshot.once(story).instruments).filter(pl.col("standing").is_in(["bench", "hold", "lost"]))
    days = (pl.lit(snapshot.as_of) - pl.col("first_seen")).dt.total_seconds() / 86400
    return rows.select("serial", "model", "standing", "first_seen", "last_seen", "last_stage", days.alias("days")).sort(
        "first_seen", "serial"
    )


def first_week(snapshot: Snapshot) -> date:
    """First day of the first week with a visit on file; that of `as_of` where there is none."""
    found = snapshot.once(story).visits["week"].min()
    today = snapshot.as_of.astimezone(snapshot.shop.zone).date()
    return found if isinstance(found, date) else first_day(today, snapshot.shop)


def straight_through(snapshot: Snapshot, scope: Scope = ALL) -> tuple[int, int]:
    """Judged instruments never sent back, and all judged."""
    rows = judged(snapshot, scope)
    return int((rows["sent_back"] == 0).sum()), rows.height


def _loop_sums() -> list[pl.Expr]:
    return [pl.col(name).sum().alias(f"loop_{name}") for name in SUMS]


def _place(column: str, shop: Shop) -> pl.Expr:
    """Place along the bench; supplier, handling, unknown behind it."""
    places = {name: place for place, name in enumerate([*shop.bench_order, *ELSEWHERE])}
    return pl.col(column).replace_strict(places, return_dtype=pl.Int64)


def _opened(signals: pl.DataFrame | None, shop: Shop) -> pl.DataFrame:
    if signals is None or signals.is_empty():
        return pl.DataFrame(schema={"week": pl.Date, "signals_opened": pl.Int64})
    week = week_of(local_day(pl.col("opened_at"), shop), shop)
    return signals.group_by(week.alias("week")).agg(pl.len().cast(pl.Int64).alias("signals_opened"))


def _set_aside(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """Rows and cells set aside, a week: that of the visit on their line, else on the nearest line before, else after,
    in the same log. Of logs with a visit in the weeks asked for.
    """
    visits, asked = snapshot.once(story).visits, snapshot.coded("set_aside", "log_id", "line").sort("line")
    logs = scope.weeks_of(visits.select("log_id", "week"), "week")["log_id"].unique()
    asked = asked.filter(pl.col("log_id").is_in(logs.implode()))
    mine = visits["log_id"].is_in(asked["log_id"].unique().implode()).fill_null(False)
    lines = visits.at(mine.arg_true(), "log_id", "line", "week").sort("line", "week")
    before = asked.join_asof(lines, on="line", by="log_id", strategy="backward", check_sortedness=False)["week"]
    after = asked.join_asof(lines, on="line", by="log_id", strategy="forward", check_sortedness=False)["week"]
    weeks_of_rows = pl.select(pl.coalesce(before, after).alias("week")).drop_nulls()
    return weeks_of_rows.group_by("week").agg(pl.len().cast(pl.Int64).alias("set_aside"))
