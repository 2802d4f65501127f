"""What left the bench: outside its limits as set, and shipped outside them or without a final inspection."""

from datetime import date

import polars as pl

from analysis.methods.intervals import binomial_exact
from analysis.studies.story.conformity import SET, SHIPPED, as_set, judged_readings
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

ANY = "any"
OUTSIDE, NO_FINAL = "outside", "no final"  # why an instrument that was shipped is in doubt


def outside_as_set(snapshot: Snapshot, *, first: date | None = None, last: date | None = None) -> pl.DataFrame:
    """Readings as set against their limits, of instruments judged in the weeks `first` to `last`.

    A row a characteristic and position with a limit, and one with characteristic `any`: instruments with at least one
    reading outside. characteristic, position, outside, n, starting (of those outside, how many by a limit that is a
    starting value and not the shop's own), share, low, high (95 %, exact).
    """
    weeks = _weeks(snapshot, first, last)
    some = first is not None or last is not None
    readings = judged_readings(snapshot, SET, weeks["serial"]) if some else snapshot.once(as_set)
    readings = readings.filter(pl.col("outside").is_not_null()).join(weeks, on="serial", how="semi")
    starting = snapshot.specs.starting.gather(readings["spec"]).fill_null(False)
    readings = readings.with_columns(starting=starting & pl.col("outside"))
    by_position = tables.plain(readings.select("characteristic", "position", "outside", "starting"))
    by_position = by_position.group_by("characteristic", "position").agg(
        pl.col("outside").sum().cast(pl.Int64),
        pl.len().cast(pl.Int64).alias("n"),
        pl.col("starting").sum().cast(pl.Int64),
    )
    whole = (
        readings.group_by("serial")
        .agg(pl.col("outside", "starting").any())
        .select(
            pl.lit(ANY).alias("characteristic"),
            pl.lit("").alias("position"),
            pl.col("outside").sum().cast(pl.Int64),
            pl.len().cast(pl.Int64).alias("n"),
            pl.col("starting").sum().cast(pl.Int64),
        )
    )
    order = {item.key: place for place, item in enumerate(snapshot.shop.characteristics)}
    rows = pl.concat([by_position, whole.filter(pl.col("n") > 0)])
    rows = rows.sort(
        pl.col("characteristic").replace_strict(order, default=len(order), return_dtype=pl.Int64), "position"
    )
    low, high = binomial_exact(rows["outside"].to_numpy(), rows["n"].to_numpy())
    return rows.with_columns(share=pl.col("outside") / pl.col("n"), low=pl.Series(low), high=pl.Series(high))


def shipped_in_doubt(snapshot: Snapshot, *, week: date) -> pl.DataFrame:
    """Instruments packed in `week` whose last final readings lie outside, a row a reading; or without a final
    inspection on file.

    serial, model, why ('outside' | 'no final'), characteristic, position, value, lower, upper, packed_at, set_outside
    (did the instrument lie outside as set too, at whatever characteristic; null without a final inspection).
    """
    told = snapshot.once(story)
    packed = told.instruments.filter(pl.col("finished_week") == week).with_columns(packed_at="finished_at")
    readings = judged_readings(snapshot, SHIPPED, packed["serial"]).filter(pl.col("outside").fill_null(False))
    names = ("serial", "model", "why", "characteristic", "position", "value", "lower", "upper", "packed_at")
    columns = [*names, "set_outside"]
    before = judged_readings(snapshot, SET, readings["serial"]).filter(pl.col("outside").fill_null(False))
    outside = (
        tables.plain(readings)
        .join(packed.select("serial", "packed_at"), on="serial")
        .with_columns(why=pl.lit(OUTSIDE), set_outside=pl.col("serial").is_in(before["serial"].unique().implode()))
        .select(columns)
    )
    without = (
        packed.filter(pl.col("first_final_visit").is_null())
        .with_columns(
            why=pl.lit(NO_FINAL),
            characteristic=pl.lit(""),
            position=pl.lit(""),
            value=pl.lit(None, dtype=pl.Float64),
            lower=pl.lit(None, dtype=pl.Float64),
            upper=pl.lit(None, dtype=pl.Float64),
            set_outside=pl.lit(None, dtype=pl.Boolean),
        )
        .select(columns)
    )
    return pl.concat([outside, without]).sort("why", "serial", "characteristic", "position")


def _weeks(snapshot: Snapshot, first: date | None, last: date | None) -> pl.DataFrame:
    rows = snapshot.once(story).instruments.filter("judged")
    if first is not None:
        rows = rows.filter(pl.col("week") >= first)
    return (rows.filter(pl.col("week") <= last) if last is not None else rows).select("serial")
