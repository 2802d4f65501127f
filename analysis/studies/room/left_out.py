"""What was read and stands in no row of Capability, and why: so that what is missing there is not taken for good."""

import polars as pl

from analysis.studies.story.conformity import SET, judged_where_read
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

NO_LIMITS, FEW, INCOMING, ELSEWHERE = "no limits", "few", "incoming", "elsewhere"
LEFT_OUT: dict[str, pl.DataType] = {
    "characteristic": pl.String(),
    "n": pl.Int64(),
    "stages": pl.List(pl.String()),
    "why": pl.String(),
}


def left_out(snapshot: Snapshot) -> pl.DataFrame:
    """A row a characteristic with readings and without a row as set, in the shop's order: how many readings, the stages
    where they were taken, in bench order, and the first that holds of why.

    `incoming`: all of what comes in; `elsewhere`: none at a final inspection nor at the bench that sets it; `no
    limits`: no spec holds for any of them; `few`: too few to say how much they spread.
    """
    order, places = snapshot.shop.bench_order, [one.key for one in snapshot.shop.characteristics]
    counted = tables.plain(
        snapshot.once(story)
        .readings.filter(pl.col("value").is_not_null())
        .select("characteristic", "stage", "role")
        .group_by("characteristic", "stage", "role")
        .len()
    )
    held = tables.plain(
        judged_where_read(snapshot, SET).select("characteristic", "position", "setup", "value", "outside")
    )
    limits = held.filter(pl.col("outside").is_not_null())
    limited = limits["characteristic"].unique().to_list()
    spread = limits.group_by("characteristic", "position", "setup").agg(pl.col("value").n_unique() > 1)
    shown = spread.filter("value")["characteristic"].unique().to_list()
    key = pl.col("characteristic")
    return (
        counted.filter(~key.is_in(shown), key.is_in(places))
        .sort(pl.col("stage").replace_strict(order, default=len(order), return_dtype=pl.Int64))
        .group_by("characteristic", maintain_order=True)
        .agg(
            pl.col("len").sum().cast(pl.Int64).alias("n"),
            pl.col("stage").alias("stages"),
            (pl.col("role") == "receiving").all().alias("_incoming"),
        )
        .with_columns(
            pl.when("_incoming")
            .then(pl.lit(INCOMING))
            .when(~key.is_in(held["characteristic"].unique().to_list()))
            .then(pl.lit(ELSEWHERE))
            .when(~key.is_in(limited))
            .then(pl.lit(NO_LIMITS))
            .otherwise(pl.lit(FEW))
            .alias("why")
        )
        .sort(key.replace_strict({name: k for k, name in enumerate(places)}, return_dtype=pl.Int64))
        .select(LEFT_OUT.keys())
    )
