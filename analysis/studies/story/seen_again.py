"""Was anything that was sent back ever seen again? Where a log has a row an instrument, nothing may tell of what came
back but the row that sent it back.
"""

import polars as pl

from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot


def untold(snapshot: Snapshot) -> frozenset[str]:
    """Serials sent back of which no log tells whether they came back: all of them where no instrument that was sent
    back was ever seen again in this shop, none where one was.
    """
    told = snapshot.once(story)
    sent = told.loops.group_by("serial").agg(pl.col("visit").min())
    last = told.instruments.select("serial", last="last_visit")  # visits stand in time order
    again = sent.with_columns(pl.col("serial").cast(pl.String)).join(last, on="serial")
    return frozenset() if (again["last"] > again["visit"]).any() else frozenset(again["serial"].to_list())
