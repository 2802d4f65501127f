"""Readings against what was asked: the spec that held for each, and whether it lies outside.

As built: the first play-test readings; as set: the first final-inspection readings; as shipped: the last
final-inspection readings of the round, after any touch-up. Work is judged as set: what was shipped has been sorted by
inspection.
"""

import polars as pl

from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

BUILT, SET, SHIPPED = "as built", "as set", "as shipped"
ON = 1e-9  # nearer to a limit than this share of it, a reading lies on it and conforms


def with_specs(snapshot: Snapshot, readings: pl.DataFrame) -> pl.DataFrame:
    """The same readings with `spec` (row of specs, null: none holds), target, lower, upper, and `outside` (null without
    a limit).

    readings : the story's columns characteristic, position, family, model, stage, supplier, set_on and value.
    """
    keys = readings.select(
        "characteristic", "position", "family", "model", "stage", "supplier", pl.col("set_on").alias("date")
    )
    spec = snapshot.specs.match(keys)
    rows = snapshot.specs.rows.select("target", "lower", "upper")
    held = rows.select(pl.all().gather(spec))
    slack = ON * pl.max_horizontal(pl.col("value").abs(), pl.col("lower").abs(), pl.col("upper").abs(), pl.lit(1e-12))
    below = (pl.col("value") < pl.col("lower") - slack).fill_null(False)
    above = (pl.col("value") > pl.col("upper") + slack).fill_null(False)
    limited = pl.col("lower").is_not_null() | pl.col("upper").is_not_null()
    return readings.with_columns(spec.alias("spec"), held["target"], held["lower"], held["upper"]).with_columns(
        outside=pl.when(limited).then(below | above)
    )


def judged_readings(snapshot: Snapshot, when: str) -> pl.DataFrame:
    """Round-1 readings as built, as set or as shipped, one a serial, characteristic and position, with their specs."""
    told = snapshot.once(story)
    role = "test" if when == BUILT else "final"
    readings = told.readings.filter(
        (pl.col("role") == role) & (pl.col("round") == 1) & pl.col("value").is_not_null() & (pl.col("serial") != "")
    )
    if when == SHIPPED:
        readings = readings.sort("visit", pl.col("moment") == "left", maintain_order=True)
        last = readings.group_by("serial").agg(pl.col("visit").max().alias("_last"))
        readings = (
            readings.join(last, on="serial", maintain_order="left")
            .filter(pl.col("visit") == pl.col("_last"))
            .drop("_last")
        )
        readings = readings.unique(["serial", "characteristic", "position"], keep="last", maintain_order=True)
    else:
        readings = readings.filter((pl.col("moment") == "found") & pl.col("first_pass"))
    return with_specs(snapshot, readings)


def as_built(snapshot: Snapshot) -> pl.DataFrame:
    return judged_readings(snapshot, BUILT)


def as_set(snapshot: Snapshot) -> pl.DataFrame:
    return judged_readings(snapshot, SET)


def as_shipped(snapshot: Snapshot) -> pl.DataFrame:
    return judged_readings(snapshot, SHIPPED)
