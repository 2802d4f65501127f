"""What the rest does: the first final reading minus the last one before the rest, instrument by instrument."""

import numpy as np
import polars as pl

from analysis.methods.intervals import mean_t
from analysis.methods.segments import Ints, dense, fresh
from analysis.studies.story.scope import instrument_of
from analysis.studies.story.story import Story, story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

SETTLING: dict[str, pl.DataType] = {
    "model": pl.String(),
    "characteristic": pl.String(),
    "position": pl.String(),
    "n": pl.Int64(),
    "left_out": pl.Int64(),
    "mean": pl.Float64(),
    "sd": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
}
KEY = ["setup", "characteristic", "position"]


def pairs(snapshot: Snapshot) -> pl.DataFrame:
    """A row an instrument, characteristic and position with a first final reading: serial, model, setup,
    characteristic, position, value `after`, `before` (null: left out), `change` = after - before.

    `before` is the reading (left where there is one) of the visit right before the first final one, rests aside, where
    that visit passed and measured the same at pitch.
    """
    told = snapshot.once(story)
    previous, passed = _before_final(told)
    single = (pl.col("moment") == "found") | pl.col("only_left")
    asked = told.readings.select("visit", single=single.fill_null(False), has=pl.col("value").is_not_null())
    visit = asked["visit"].fill_null(-1).to_numpy()  # -1: the last of `previous`, which has none
    has = asked["has"].to_numpy()
    after = np.flatnonzero(has & asked["single"].to_numpy() & (previous[visit] >= 0))
    place = np.full(len(previous), -1, dtype=np.int64)  # of visits that are the previous ones of some reading
    place[previous[visit[after]]] = 0
    place[-1] = -1
    sought = np.flatnonzero(place >= 0)
    place[sought] = np.arange(len(sought))
    earlier = np.flatnonzero(has & (place[visit] >= 0))
    what = tables.one_key(*(tables.rank(told.readings[name]) for name in ("characteristic", "position")))
    kind = dense(np.concatenate([what[after], what[earlier]])).code
    kinds = int(kind.max(initial=0)) + 1
    last = np.full(len(sought) * kinds + 1, -1, dtype=np.int64)  # the reading that counts of each visit and kind; none
    cell = place[visit[earlier]] * kinds + kind[len(after) :]
    left = (told.readings["moment"].gather(earlier) == "left").fill_null(False).to_numpy()
    for some in (~left, left):  # what is put down later stays
        last[cell[some]] = earlier[some]
    mine = place[previous[visit[after]]]
    before = last[np.where(mine >= 0, mine * kinds + kind[: len(after)], -1)]
    at_pitch = {
        item.key: snapshot.shop.bench_order.get(item.at_pitch_from, -1) for item in snapshot.shop.characteristics
    }
    rows = told.readings.at(after, "serial", "model", *KEY, "value")
    from_order = rows["characteristic"].replace_strict(at_pitch, default=-1, return_dtype=pl.Int64).to_numpy()
    order = passed[visit[after]]
    counts = (before >= 0) & (order >= 0) & (order >= from_order)
    value = told.readings["value"].gather(np.where(counts, before, 0)) if len(after) else rows["value"]
    return rows.select(
        "serial",
        "model",
        *KEY,
        pl.col("value").alias("after"),
        pl.select(pl.when(pl.Series(counts)).then(value)).to_series().alias("before"),
    ).with_columns(change=pl.col("after") - pl.col("before"))


def _before_final(told: Story) -> tuple[Ints, Ints]:
    """Of each visit that is the first final one of its instrument the visit right before it, rests aside, n where
    there is none, -1 of all others; and the place on the bench of that visit where it passed, else -1 (n + 1,).
    """
    marks = told.visits.select(
        awake=(pl.col("round") == 1) & (pl.col("role") != "rest"),
        final=pl.col("role") == "final",
        passed=pl.col("outcome") == "pass",
    ).with_columns(pl.all().fill_null(False))
    awake = np.flatnonzero(marks["awake"].to_numpy())
    instrument = instrument_of(told)[awake]
    finals = np.flatnonzero(marks["final"].gather(awake).to_numpy())
    finals = finals[fresh(instrument[finals])]
    previous, order = np.full((2, len(marks) + 1), -1, dtype=np.int64)
    previous[awake[finals]] = len(marks)
    finals = finals[(finals > 0) & (instrument[finals] == instrument[finals - 1])]
    before = awake[finals - 1]
    previous[awake[finals]] = before
    place = told.visits["bench_order"].gather(before).fill_null(-1).to_numpy()
    order[awake[finals]] = np.where(marks["passed"].gather(before).to_numpy(), place, -1)
    return previous, order


def settling_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`settling` of the figures: mean change with its 95 % interval; `model` is the setup."""
    return summed(pairs(snapshot))


def summed(changes: pl.DataFrame) -> pl.DataFrame:
    """Pairs, left out, mean, sd and interval for each model, characteristic and position of the rows of `pairs`."""
    rows = (
        changes.group_by(KEY, maintain_order=True)
        .agg(
            pl.col("change").is_not_null().sum().alias("n"),
            pl.col("change").is_null().sum().alias("left_out"),
            pl.col("change").mean().alias("mean"),
            pl.col("change").std().alias("sd"),
        )
        .sort(KEY)
    )
    n, mean, sd = rows["n"].to_numpy(), rows["mean"].to_numpy(), rows["sd"].to_numpy()
    low, high = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    some = n >= 2
    if some.any():
        low[some], high[some] = mean_t(mean[some], sd[some], n[some])
    return (
        rows.with_columns(
            pl.col("setup").alias("model"),
            low=pl.Series(low, dtype=pl.Float64).fill_nan(None),
            high=pl.Series(high, dtype=pl.Float64).fill_nan(None),
        )
        .select(SETTLING.keys())
        .cast(dict(SETTLING))  # type: ignore[arg-type]
    )
