"""Two rows of one visit of which one says all that the other says, and more: a row that was open when one export was
made and finished in the next. The fuller one counts, whatever the order of loading; the other gives way unasked.
"""

from collections.abc import Mapping

import polars as pl

from ingest.store.differences import differing
from ingest.store.merge import KEY


def pairs_of(new: pl.DataFrame, held: pl.DataFrame) -> pl.DataFrame:
    """Rows of one visit in two logs in other words, as `differing` asks for them.

    new : Sheet.keyed with log_id.  held : merge.CANDIDATE that count so far.  Only where a clock says that it is one.
    """
    clocked = pl.col("ordinal") == 0
    named = [*KEY, "log_id", "line", "text_hash"]
    both = (
        new.filter(clocked)
        .select(named)
        .join(held.filter(clocked).select(named), on=list(KEY), nulls_equal=True, suffix="_before")
    )
    return both.filter(pl.col("text_hash") != pl.col("text_hash_before"))


def lacking(pairs: pl.DataFrame, before: Mapping[str, pl.DataFrame], after: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """log_id, line, stage of the rows of pairs that only lack what the other has.

    before, after : `visits`, `readings`, `faults` that hold the rows.
    """
    cells = differing(pairs, before, after).with_columns(
        pl.col("before", "after").replace({"open": ""})  # an outcome that nobody has said yet
    )
    told = cells.filter(pl.col("before") != pl.col("after")).group_by("line", "stage")
    which = told.agg(mine=(pl.col("after") == "").all(), theirs=(pl.col("before") == "").all())
    both = pairs.join(which, on=["line", "stage"])
    mine = both.filter("mine").select("log_id", "line", "stage")
    theirs = both.filter("theirs").select(pl.col("log_id_before").alias("log_id"), line="line_before", stage="stage")
    return pl.concat([mine, theirs])
