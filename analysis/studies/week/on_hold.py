"""Instruments that pile up on hold at one stage: what they wait for stands in the word of each."""

import polars as pl

from analysis.studies.story.story import story
from analysis.studies.week.not_passed import main_fault
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

LEAST, SHARE = 10, 0.1  # on hold, and of those that the stage tried in the last seven days of its logs
ON_HOLD: dict[str, pl.DataType] = {
    "stage": pl.String(),
    "count": pl.Int64(),
    "of_late": pl.Int64(),  # put on hold in the last seven days
    "tried": pl.Int64(),  # that passed the stage, or were tried there, in these days
    "first_at": tables.TIME,  # the oldest of them
    "fault": pl.String(),  # that most of them have
}


def on_hold(snapshot: Snapshot) -> pl.DataFrame:
    """ON_HOLD of the stages at which many wait, the most first, as of the snapshot."""
    told = snapshot.once(story)
    held = told.instruments.filter(pl.col("standing") == "hold").select(
        "last_visit", "last_seen", stage=pl.col("last_stage").cast(pl.String)
    )
    if len(held) < LEAST:
        return pl.DataFrame(schema=ON_HOLD)
    late = snapshot.as_of - pl.duration(days=7)
    seen = told.visits.select("stage", "serial", "taken_at").filter(pl.col("taken_at") > late)
    tried = tables.plain(seen).group_by("stage").agg(tried=pl.col("serial").n_unique().cast(pl.Int64))
    counted = held.group_by("stage").agg(
        pl.len().cast(pl.Int64).alias("count"),
        (pl.col("last_seen") > late).sum().cast(pl.Int64).alias("of_late"),
        pl.col("last_seen").min().alias("first_at"),
        pl.col("last_visit").alias("visits"),
    )
    rows = counted.join(tried, on="stage", how="left").with_columns(pl.col("tried").fill_null(0))
    rows = rows.filter((pl.col("count") >= LEAST) & (pl.col("count") >= SHARE * pl.col("tried")))
    rows = rows.sort("count", "stage", descending=[True, False])
    faults = [main_fault(told.faults, visits) for visits in rows["visits"]]
    return tables.shaped(rows.with_columns(fault=pl.Series(faults, dtype=pl.String)), ON_HOLD)
