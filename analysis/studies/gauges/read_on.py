"""Which gauges the readings of a measurement name, so that a note on a gauge stands only where it was in hand."""

import polars as pl

from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

LEAST = 0.1  # share of the readings, as for the step that stands for a stream


def read_on(snapshot: Snapshot) -> dict[tuple[str, str], frozenset[str]]:
    """The gauges named by a tenth of the readings of each characteristic and setup; a pair whose readings name none is
    left out.
    """
    key = ["characteristic", "setup"]
    plain = pl.col("characteristic", "setup", "gauge").cast(pl.String)
    each = story(snapshot).readings.group_by(*key, "gauge").len().with_columns(plain)
    named = each.filter((pl.col("gauge") != "") & (pl.col("len") >= LEAST * pl.col("len").sum().over(key)))
    found = named.group_by(key).agg("gauge")
    return {(characteristic, setup): frozenset(gauge) for characteristic, setup, gauge in found.iter_rows()}
