"""Outcomes of open visits, rounds, pass numbers, minutes: what one visit is among all visits of its instrument."""

import numpy as np
import polars as pl

from analysis.methods.segments import Floats, Ints, Rows
from analysis.studies.story.clocked import BELIEVED, TOO_LONG, clock_of, usual_in
from ingest.shopfiles.shop import Shop


def with_passes(visits: pl.DataFrame) -> pl.DataFrame:
    """Adds outcome_typed, round, pass_no, first_pass to visits in time order (time_order.visits_in_order), and settles
    open outcomes.

    An open visit that a visit at a later stage of the bench follows counts as a pass (from a repair stage: a visit at
    any stage of the bench). Round 2 begins after the first passed packing, or with a visit whose outcome is `return`;
    and so on.
    """
    who, order = _ints(visits["who"]), _ints(visits["bench_order"])
    repair = (visits["role"] == "repair").to_numpy()
    reached = _later_maximum(np.where(repair, -1, order), who)
    went_on = reached > np.where(repair, -1, order)
    outcome = visits.select(
        pl.when((pl.col("outcome") == "open") & pl.Series(went_on)).then(pl.lit("pass")).otherwise("outcome")
    )
    settled = visits.with_columns(pl.col("outcome").alias("outcome_typed"), outcome.to_series().alias("outcome"))

    packed = ((settled["role"] == "packing") & (settled["outcome"] == "pass")).to_numpy()
    returned = (settled["outcome"] == "return").to_numpy()
    first = np.diff(who, prepend=-1) != 0
    begins = returned | (np.concatenate([[False], packed[:-1]]) & ~first)
    begun = np.cumsum(begins)
    starts = np.flatnonzero(first)
    rounds = 1 + begun - np.repeat((begun - begins)[starts], np.diff(starts, append=len(who)))
    stages = int(order.max(initial=0)) + 1
    pass_no = _places((who * (int(rounds.max(initial=0)) + 1) + rounds) * stages + order)
    return settled.with_columns(
        pl.Series("round", rounds, dtype=pl.Int32),
        pl.Series("pass_no", pass_no, dtype=pl.Int32),
        pl.Series("first_pass", (pass_no == 1) & (rounds == 1), dtype=pl.Boolean),
    )


def with_minutes(visits: pl.DataFrame, shop: Shop, usual: pl.DataFrame | None = None) -> pl.DataFrame:
    """Works out `minutes` and `minutes_from` (typed | clock | planned): as typed, else by the clock within paid hours,
    else as planned.

    A clock that ran backwards, or longer than half an hour, four times the planned minutes and four times what the
    stage's own clocks usually say, tells nothing; a stage without planned minutes is not held against them. A rest has
    no paid minutes.

    usual : clocked.USUAL, where the visits are not all that tell of it.
    """
    clock, typed = clock_of(visits, shop), visits["minutes"].is_not_null()
    if usual is None:
        usual = usual_in(visits, clock, typed, shop)
    pairs = visits.select("stage", "family").unique()
    bounds = {(stage, family): minutes for stage, family, minutes in usual.select("stage", "family", "usual").rows()}
    planned = [(shop.by_stage[stage].planned_minutes(family), stage, family) for stage, family in pairs.iter_rows()]
    told = pairs.with_columns(
        pl.Series("planned", [minutes for minutes, _, _ in planned], dtype=pl.Float64),
        pl.Series(
            "longest",
            [
                max(BELIEVED, TOO_LONG * minutes, TOO_LONG * bounds.get((stage, family), 0.0))
                for minutes, stage, family in planned
            ],
            dtype=pl.Float64,
        ),
    )
    asked = visits.select("stage", "family", "role", "minutes").with_columns(clock)
    timed = asked.join(told, on=["stage", "family"], how="left", maintain_order="left")
    trusted = pl.col("clock").is_not_null() & ((pl.col("planned") == 0) | (pl.col("clock") <= pl.col("longest")))
    source = (
        pl.when(pl.col("minutes").is_not_null())
        .then(pl.lit("typed"))
        .when(trusted)
        .then(pl.lit("clock"))
        .otherwise(pl.lit("planned"))
    )
    amount = (
        pl.when(pl.col("role") == "rest")
        .then(0.0)
        .when(pl.col("minutes").is_not_null())
        .then("minutes")
        .when(trusted)
        .then("clock")
    )
    worked_out = timed.select(
        amount.otherwise("planned").alias("minutes"), source.cast(pl.Categorical).alias("minutes_from")
    )
    return visits.with_columns(worked_out.get_columns())


def last_before(visits: pl.DataFrame, at: Ints | Rows, stage: Ints, *, itself: bool) -> Ints:
    """Row of the last visit of the same instrument at bench order `stage` before row `at` (`itself`: or at it), -1
    where there is none.

    visits : in time order with `who` and bench_order; at, stage : shape (n,), stage -1 for none.
    """
    who, order = _ints(visits["who"]), _ints(visits["bench_order"])
    n, stages = len(who), int(order.max(initial=0)) + 1
    if n == 0 or len(at) == 0:
        return np.full(len(at), -1, dtype=np.int64)
    keys = np.sort((who * stages + order) * n + np.arange(n))
    reachable = (stage >= 0) & (stage < stages)
    wanted = (who[at] * stages + np.where(reachable, stage, 0)) * n
    found = np.searchsorted(keys, wanted + at, side="right" if itself else "left") - 1
    key = keys[np.maximum(found, 0)]
    return np.where(reachable & (found >= 0) & (key >= wanted), key % n, -1)


def planned_share(minutes: Floats, planned: pl.Series) -> float:
    """Share of the minutes that is planned rather than typed or clocked; 0 of none."""
    total = float(minutes.sum())
    return float(minutes[(planned == "planned").to_numpy()].sum()) / total if total else 0.0


def _ints(column: pl.Series) -> Ints:
    return np.asarray(column.to_numpy(), dtype=np.int64)


def _later_maximum(values: Ints, who: Ints) -> Ints:
    """The largest value among the later rows of the same instrument, -1 where none follows. `who` rises."""
    if len(values) == 0:
        return values
    step = int(values.max(initial=0)) + 3
    lifted = values[::-1] + (who.max() - who[::-1] + 1) * step
    running = np.maximum.accumulate(lifted)
    later = np.concatenate([[0], running[:-1]]) - (who.max() - who[::-1] + 1) * step
    return np.asarray(np.maximum(later, -1)[::-1], dtype=np.int64)


def _places(keys: Ints) -> Ints:
    """How many rows up to and with this one have its key, shape (n,)."""
    if len(keys) == 0:
        return keys
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    first = np.flatnonzero(np.diff(ordered, prepend=ordered[0] - 1))
    places = np.empty_like(keys)
    places[order] = np.arange(len(keys)) - np.repeat(first, np.diff(first, append=len(keys))) + 1
    return places
