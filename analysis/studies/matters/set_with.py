"""With which gauge a reading that is taken later was set: one that reads too high sets too low, and what is read of it
at its own bench looks as ever.
"""

import polars as pl

from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

AT = tables.TAKEN_AT


def set_with(snapshot: Snapshot, characteristic: str, set_at: tuple[str, ...], read: pl.DataFrame) -> pl.Series:
    """For each reading (serial, taken_at) the gauge named in the last visit before it at which its characteristic was
    set; '' where none is.
    """
    none = pl.Series("set_with", [""], dtype=pl.String).new_from_index(0, len(read))
    if not set_at:
        return none
    told = snapshot.once(story).readings
    here = told.select("characteristic", "stage", "gauge").with_row_index("row")
    rows = here.filter(
        pl.col("characteristic") == characteristic, pl.col("stage").is_in(list(set_at)), pl.col("gauge") != ""
    )["row"]
    if not len(rows):
        return none
    known = tables.plain(told[["serial", AT, "gauge"]][rows]).filter(pl.col("serial") != "").sort(AT)
    asked = tables.plain(read.select("serial", AT)).with_row_index("place").sort(AT)
    found = asked.join_asof(
        known, on=AT, by="serial", strategy="backward", allow_exact_matches=False, check_sortedness=False
    )
    return found.sort("place")["gauge"].fill_null("").rename("set_with")
