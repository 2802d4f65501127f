"""What the rest does: the first final reading minus the last one before the rest, instrument by instrument."""

import numpy as np
import polars as pl

from analysis.methods.intervals import mean_t
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

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
ASKED_OF_VISITS = ("visit", "serial", "round", "role", "outcome", "bench_order")


def pairs(snapshot: Snapshot) -> pl.DataFrame:
    """A row an instrument, characteristic and position with a first final reading: serial, model, setup,
    characteristic, position, value `after`, `before` (null: left out), `change` = after - before.

    `before` is the reading (left where there is one) of the visit right before the first final one, rests aside, where
    that visit passed and measured the same at pitch.
    """
    told = snapshot.once(story)
    awake = told.visits.select(ASKED_OF_VISITS).filter((pl.col("round") == 1) & (pl.col("role") != "rest"))
    same = pl.col("serial") == pl.col("serial").shift(1)  # visits stand instrument after instrument, in time order
    awake = awake.with_columns(
        pl.when(same).then(pl.col(name).shift(1)).alias(to)
        for name, to in (("visit", "previous"), ("outcome", "previous_outcome"), ("bench_order", "previous_order"))
    )
    finals = awake.filter(pl.col("role") == "final").unique("serial", keep="first", maintain_order=True)
    n = len(told.visits)
    of = {name: np.full(n + 1, -1) for name in ("previous", "order")}
    at = finals["visit"].to_numpy()
    of["previous"][at] = finals["previous"].fill_null(n).to_numpy()
    passed = (finals["previous_outcome"] == "pass").fill_null(False).to_numpy()
    of["order"][at] = np.where(passed, finals["previous_order"].fill_null(-1).to_numpy(), -1)
    single = (pl.col("moment") == "found") | pl.col("only_left")
    readings = told.readings.select("visit", single.alias("single"), has=pl.col("value").is_not_null())
    visit = readings["visit"].fill_null(n).to_numpy()
    has = readings["has"].to_numpy() & (visit < n)
    after = np.flatnonzero(has & readings["single"].to_numpy() & (of["previous"][visit] >= 0))
    sought = np.zeros(n + 1, dtype=bool)
    sought[of["previous"][visit[after]]] = True
    sought[n] = False
    earlier = (
        told.readings[["visit", "characteristic", "position", "moment", "value"]][np.flatnonzero(has & sought[visit])]
        .sort("visit", pl.col("moment") == "left", maintain_order=True)
        .unique(["visit", "characteristic", "position"], keep="last", maintain_order=True)
        .select(pl.col("visit").alias("previous"), "characteristic", "position", pl.col("value").alias("before"))
    )
    at_pitch = {
        item.key: snapshot.shop.bench_order.get(item.at_pitch_from, -1) for item in snapshot.shop.characteristics
    }
    joined = (
        told.readings.at(after, "serial", "model", *KEY, "value")
        .with_columns(
            previous=pl.Series(of["previous"][visit[after]]),
            order=pl.Series(of["order"][visit[after]]),
            from_order=pl.col("characteristic").replace_strict(at_pitch, default=-1, return_dtype=pl.Int64),
        )
        .join(earlier, on=["previous", "characteristic", "position"], how="left", maintain_order="left")
    )
    passed_at_pitch = (pl.col("order") >= 0) & (pl.col("order") >= pl.col("from_order"))
    return joined.select(
        "serial", "model", *KEY, pl.col("value").alias("after"), pl.when(passed_at_pitch).then("before").alias("before")
    ).with_columns(change=pl.col("after") - pl.col("before"))


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
