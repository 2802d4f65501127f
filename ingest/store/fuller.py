"""Two rows of one visit of which one says all that the other says, and more: a row that was open when one export was
made and finished in the next. The fuller one counts, whatever the order of loading; the other gives way without a
question, and its log is read again where it was there first.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import polars as pl

from ingest.reading.pieces import Frames, Pieces
from ingest.reading.sheet import Sheet
from ingest.store.differences import differing
from ingest.store.merge import KEY


@dataclass(frozen=True)
class Lacking:
    """Of pairs of rows of one visit those of which one only lacks what the other has."""

    mine: pl.DataFrame  # line, stage of the new rows that lack
    theirs: pl.DataFrame  # KEY, text_hash of the rows on file that lack


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


def lacking(pairs: pl.DataFrame, before: Mapping[str, pl.DataFrame], after: Mapping[str, pl.DataFrame]) -> Lacking:
    """Which rows of the pairs lack only. before, after : `visits`, `readings`, `faults` that hold the rows."""
    cells = differing(pairs, before, after).with_columns(
        pl.col("before", "after").replace({"open": ""})  # an outcome that nobody has said yet
    )
    told = cells.filter(pl.col("before") != pl.col("after")).group_by("line", "stage")
    which = told.agg(mine=(pl.col("after") == "").all(), theirs=(pl.col("before") == "").all())
    less = pairs.join(which.filter("theirs"), on=["line", "stage"], how="semi")
    return Lacking(which.filter("mine").select("line", "stage"), less.select(*KEY, text_hash="text_hash_before"))


def without(sheet: Sheet, rows: pl.DataFrame) -> Sheet:
    """A sheet less the visits of some rows (line, stage), which another log tells of."""

    def less(frames: Frames) -> Frames:
        return {
            name: frames[name].join(rows, on=["line", "stage"], how="anti", maintain_order="left") for name in frames
        }

    lines = rows["line"].unique()
    left = sheet.stages_of(lines).join(rows, on=["line", "stage"], how="anti")["line"].n_unique()
    held = sheet.rows_held + lines.len() - left
    if sheet.pieces is None:
        return replace(sheet, **less(sheet.whole()), rows_held=held)  # type: ignore[arg-type]
    made = Pieces(sheet.pieces.root)
    for place, frames in enumerate(sheet.parts()):
        kept = less(frames)
        made.add(kept["visits"], [kept["readings"]], kept["faults"], sheet.pieces.table_of(place))
    return replace(sheet, pieces=made, rows_held=held)
