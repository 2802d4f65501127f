"""Returns: instruments that came back after they had passed packing, and the work that took.

A round after the first is a return. Its loops stand in no figure of rework, which are of round 1; its work is told
here.
"""

import polars as pl

from analysis.studies.story.scope import ALL, Scope
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

FIRST = ("model", "visit", "day", "week", "caused_at", "confirmed", "fault")  # what is told of the first visit


def returns(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """A row a return whose first visit lies in the weeks asked for, the newest first.

    serial, model, visit (that first visit), round, returned_at (UTC), day, week · caused_at ('unknown' where nobody
    says), confirmed, fault (of its first visit, '' none) · days_out (since the last visit of the round before) ·
    visits, minutes, cost (bench work of the whole round, so far where it is not packed) · packed Bool.
    """
    told = snapshot.once(story)
    asked = told.visits.select("setup", "family", "taken_at", "role", "outcome", "minutes", "serial", "round", *FIRST)
    rounds = scope.models_of(asked).sort("visit").with_columns(_before=pl.col("taken_at").shift(1).over("serial"))
    rows = tables.plain(
        rounds.filter(pl.col("round") > 1)
        .group_by("serial", "round", maintain_order=True)
        .agg(
            pl.col(*FIRST).first(),
            pl.col("taken_at").first().alias("returned_at"),
            pl.col("_before").first(),
            pl.len().cast(pl.Int64).alias("visits"),
            pl.col("minutes").sum(),
            ((pl.col("role") == "packing") & (pl.col("outcome") == "pass")).any().alias("packed"),
        )
    )
    out = (pl.col("returned_at") - pl.col("_before")).dt.total_seconds().clip(lower_bound=0) / 86400
    table = rows.with_columns(
        out.alias("days_out"),
        (pl.col("minutes") * (snapshot.shop.shop.labour_per_hour / 60)).alias("cost"),
        pl.when(pl.col("caused_at") == "").then(pl.lit("unknown")).otherwise("caused_at").alias("caused_at"),
    )
    return scope.weeks_of(table, "week").sort("returned_at", "serial", descending=[True, False]).select(COLUMNS)


COLUMNS = (
    *("serial", "model", "visit", "round", "returned_at", "day", "week", "caused_at", "confirmed", "fault", "days_out"),
    *("visits", "minutes", "cost", "packed"),
)
