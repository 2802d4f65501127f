"""Each stage, week by week: the share of instruments that came back to it and the faults an instrument, judged by the
twelve weeks before.

Dated so that work not yet inspected flatters nobody: an instrument counts in the week it was judged, with all that was
caused to it in round 1, whenever that was caught.
"""

import numpy as np
import polars as pl

from analysis.methods.counts_ahead import binomial_ahead, poisson_ahead
from analysis.methods.segments import Floats
from analysis.studies.story.scope import ALL, Scope, judged, visits_judged
from analysis.studies.story.story import ANSWERED, story
from ingest.store.snapshot import Snapshot

BASE_WEEKS = 12
FALSE_RATE = 0.003  # a stage and week, on each side, whatever the true share


def weekly_shares(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """A row a stage and week with judged instruments that visited the stage, stages in bench order, oldest week first.

    stage, week · instruments, came_back (with a send-back caused there), share · base_instruments, base_came_back,
    base_share (the twelve calendar weeks before; null without) · lower, upper (shares still within), state (above |
    below | within | no base) · faults (recorded with a send-back, fix or reject caused there; one where none is named),
    faults_each, base_faults_each, faults_lower, faults_upper, faults_state.

    scope : its weeks are those shown; the twelve weeks before are there all the same.
    """
    everyone = judged(snapshot, Scope(models=scope.models, families=scope.families))
    if everyone.is_empty():
        return pl.DataFrame(schema=_SCHEMA)
    cells = _cells(snapshot, everyone)
    order = snapshot.shop.bench_order
    first = everyone["week"].min()
    week = ((cells["week"] - first).dt.total_days() // 7).to_numpy()
    stage = cells["stage"].replace_strict(order, return_dtype=pl.Int64).to_numpy()
    grid = np.zeros((3, len(order), int(week.max()) + 1))
    for i, name in enumerate(("instruments", "came_back", "faults")):
        grid[i, stage, week] = cells[name].to_numpy()
    base = _before(grid)[:, stage, week]
    now = grid[:, stage, week]
    held = base[0] > 0
    low, high = (np.full(len(cells), np.nan) for _ in range(2))
    low[held], high[held] = binomial_ahead(base[1][held], base[0][held], now[0][held], false_rate=FALSE_RATE)
    few, many = (np.full(len(cells), np.nan) for _ in range(2))
    few[held], many[held] = poisson_ahead(base[2][held], base[0][held], now[0][held], false_rate=FALSE_RATE)
    size, base_size = now[0], np.where(held, base[0], np.nan)
    columns = {
        "share": now[1] / size,
        "base_share": base[1] / base_size,
        "lower": low / size,
        "upper": high / size,
        "faults_each": now[2] / size,
        "base_faults_each": base[2] / base_size,
        "faults_lower": few / size,
        "faults_upper": many / size,
    }
    table = cells.with_columns(
        *(pl.Series(name, values).fill_nan(None) for name, values in columns.items()),
        pl.Series("base_instruments", base[0]).cast(pl.Int64),
        pl.Series("base_came_back", base[1]).cast(pl.Int64),
        pl.Series("state", _state(now[1], low, high)),
        pl.Series("faults_state", _state(now[2], few, many)),
        pl.Series("_order", stage),
    )
    return scope.weeks_of(table.sort("_order", "week").select(*_SCHEMA), "week")


_SCHEMA = {
    "stage": pl.String,
    "week": pl.Date,
    "instruments": pl.Int64,
    "came_back": pl.Int64,
    "share": pl.Float64,
    "base_instruments": pl.Int64,
    "base_came_back": pl.Int64,
    "base_share": pl.Float64,
    "lower": pl.Float64,
    "upper": pl.Float64,
    "state": pl.String,
    "faults": pl.Int64,
    "faults_each": pl.Float64,
    "base_faults_each": pl.Float64,
    "faults_lower": pl.Float64,
    "faults_upper": pl.Float64,
    "faults_state": pl.String,
}


def _cells(snapshot: Snapshot, instruments: pl.DataFrame) -> pl.DataFrame:
    """stage, week, instruments, came_back, faults."""
    told = snapshot.once(story)
    weeks = instruments.select("serial", pl.col("week").alias("judged_week"))
    here = visits_judged(snapshot, instruments).select("serial", "stage").unique().join(weeks, on="serial")
    named = (
        told.faults.filter(pl.col("outcome").is_in(ANSWERED))
        .group_by("visit")
        .agg(pl.len().cast(pl.Int64).alias("faults"))
    )
    caused = (
        told.caused.filter(pl.col("round") == 1)
        .join(named, on="visit", how="left")
        .group_by("serial", pl.col("caused_at").alias("stage"))
        .agg(
            (pl.col("kind") == "send back").any().cast(pl.Int64).alias("came_back"), pl.col("faults").fill_null(1).sum()
        )
    )
    joined = here.join(caused, on=["serial", "stage"], how="left").with_columns(
        pl.col("came_back", "faults").fill_null(0)
    )
    return joined.group_by("stage", pl.col("judged_week").alias("week")).agg(
        pl.len().cast(pl.Int64).alias("instruments"), pl.col("came_back").sum(), pl.col("faults").sum()
    )


def _before(grid: Floats) -> Floats:
    """Sums over the twelve weeks before each, shape of `grid` (.., weeks)."""
    run = np.cumsum(np.pad(grid, ((0, 0), (0, 0), (BASE_WEEKS + 1, 0))), axis=2)
    return np.asarray(run[:, :, BASE_WEEKS:-1] - run[:, :, : -BASE_WEEKS - 1], dtype=np.float64)


def _state(count: Floats, low: Floats, high: Floats) -> list[str]:
    with np.errstate(invalid="ignore"):
        picked = np.select([np.isnan(high), count > high, count < low], ["no base", "above", "below"], "within")
    return [str(word) for word in picked]
