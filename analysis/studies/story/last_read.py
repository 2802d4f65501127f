"""What was read last on instruments that are still in the shop, and whether it lies outside."""

import polars as pl

from analysis.studies.story.conformity import with_specs
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

HERE = ("bench", "hold")  # standings of an instrument that somebody may have next


def outside_now(snapshot: Snapshot) -> pl.DataFrame:
    """The last reading of each characteristic and position of instruments not yet done, where it lies outside: the
    story's columns with target, lower and upper, by serial.
    """
    told = snapshot.once(story)
    here = told.instruments.filter(pl.col("standing").is_in(HERE))["serial"]
    last = (
        told.readings.filter(
            pl.col("value").is_not_null() & (pl.col("serial") != "") & pl.col("serial").is_in(here.implode())
        )
        .sort("visit", pl.col("moment") == "left", maintain_order=True)
        .unique(["serial", "characteristic", "position"], keep="last", maintain_order=True)
    )
    return with_specs(snapshot, last).filter(pl.col("outside")).sort("serial", maintain_order=True)
