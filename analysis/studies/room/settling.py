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


def pairs(snapshot: Snapshot) -> pl.DataFrame:
    """A row an instrument, characteristic and position with a first final reading: serial, setup, model, day, log_id,
    line, value `after`, `before` (null: left out), `change` = after - before.

    `before` is the reading (left where there is one) of the visit right before the first final one, rests aside, where
    that visit passed and measured the same at pitch.
    """
    told = snapshot.once(story)
    first_round = told.visits.filter(pl.col("round") == 1)
    awake = first_round.filter(pl.col("role") != "rest").with_columns(
        pl.col("visit").shift(1).over("serial").alias("previous"),
        pl.col("outcome").shift(1).over("serial").alias("previous_outcome"),
        pl.col("bench_order").shift(1).over("serial").alias("previous_order"),
    )
    finals = awake.filter(pl.col("role") == "final").unique("serial", keep="first", maintain_order=True)
    readings = told.readings.filter(pl.col("value").is_not_null() & pl.col("visit").is_not_null())
    after = readings.filter(pl.col("moment") == "found").join(
        finals.select("visit", "previous", "previous_outcome", "previous_order"),
        on="visit",
        how="inner",
        maintain_order="left",
    )
    earlier = (
        readings.sort("visit", pl.col("moment") == "left", maintain_order=True)
        .unique(["visit", "characteristic", "position"], keep="last", maintain_order=True)
        .select(pl.col("visit").alias("previous"), "characteristic", "position", pl.col("value").alias("before"))
    )
    at_pitch = {
        item.key: snapshot.shop.bench_order.get(item.at_pitch_from, -1) for item in snapshot.shop.characteristics
    }
    joined = after.join(
        earlier, on=["previous", "characteristic", "position"], how="left", maintain_order="left"
    ).with_columns(from_order=pl.col("characteristic").replace_strict(at_pitch, default=-1, return_dtype=pl.Int64))
    usable = (pl.col("previous_outcome") == "pass") & (pl.col("previous_order") >= pl.col("from_order"))
    return joined.select(
        "serial",
        "setup",
        "model",
        "family",
        "supplier",
        "lot",
        "set_by",
        "characteristic",
        "position",
        "day",
        "taken_at",
        "log_id",
        "line",
        pl.col("value").alias("after"),
        pl.when(usable).then("before").alias("before"),
    ).with_columns(change=pl.col("after") - pl.col("before"))


def settling_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`settling` of the figures: mean change with its 95 % interval; `model` is the setup."""
    return summed(snapshot.once(pairs))


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
