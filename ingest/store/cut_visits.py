"""Visits that the edge of an export has cut, where a sheet has a row a measurement: two exports that overlap tell the
same rows, and each may begin or end in the middle of a visit, so that it is told under two starts or in two lengths.

Rows are one reading where serial, stage, tech, moment, what was measured and how it was typed are the same. Of two
visits of two logs that share one, that which holds all readings of the other stands; where neither does, or both do,
that which began earlier. The other one gives up what is shared, and is gone where it says nothing else. Whatever the
order of loading, for the log that gives up is read again where it was there first. A newer edition stands for the older
one as it is.
"""

from dataclasses import dataclass, replace

import polars as pl

from ingest.reading.measurement_rows import WORST_FIRST
from ingest.reading.pieces import Frames, Pieces
from ingest.reading.sheet import Sheet
from ingest.store.merge import ROW

SAME = ("serial", "stage", "tech", "taken_at", "characteristic", "position", "moment", "raw", "unit")
CELL = ("line", *(name for name in SAME if name != "tech"))  # names a reading of one log


@dataclass(frozen=True)
class Shared:
    """What a new log shares with those on file under another start or in another length.

    sheet : the new log without what others stand for.  logs : those it shares with.  displaced : log_id, line, stage
    and rows of visits on file for which the new one stands.  give_up : logs that are to be read again, since it stands
    for a part of a visit of theirs.
    """

    sheet: Sheet
    logs: list[str]
    displaced: pl.DataFrame
    give_up: list[str]


def shared(sheet: Sheet, visits: pl.LazyFrame, readings: pl.LazyFrame, older: list[str]) -> Shared:
    """A new log with a row a measurement beside those that count so far.

    visits, readings : of these logs, as the store has them.  older : logs of which it is a newer edition.
    """
    mine = pl.concat([_told(frames["visits"].lazy(), frames["readings"].lazy()).collect() for frames in sheet.parts()])
    if mine.is_empty():
        return Shared(sheet, [], pl.DataFrame(), [])
    day = pl.duration(days=1)
    near = pl.col("taken_at").is_between(mine["taken_at"].min() - day, mine["taken_at"].max() + day)
    others = ~pl.col("log_id").is_in(older)
    serials = mine.select("serial").unique().lazy()
    held = _told(visits.filter(others), readings.filter(others & near).join(serials, on="serial", how="semi"))
    both = mine.join(held.collect(), on=SAME, suffix="_other", nulls_equal=True)
    both = both.with_columns(pl.len().over("line", "log_id_other", "line_other").alias("same"))
    n, other, same = pl.col("n"), pl.col("n_other"), pl.col("same")
    told_alike = (pl.col("time") == pl.col("time_other")) & ((same == n) == (same == other))  # merge settles these
    gives = pl.when((same == n) != (same == other)).then(same == n).otherwise(pl.col("time") > pl.col("time_other"))
    both = both.filter(~told_alike).with_columns(gives=gives)
    out = both.filter("gives")
    theirs = both.filter(~pl.col("gives")).with_columns(
        whole=(same == other) & (pl.col("mild_other") >= pl.col("mild"))
    )
    part = theirs.filter(~pl.col("whole"))["log_id_other"].unique()
    visits_of = theirs.filter(pl.col("whole") & ~pl.col("log_id_other").is_in(part.implode()))
    rows = pl.struct("taken_at", "characteristic", "position").n_unique().cast(pl.Int64)
    displaced = visits_of.group_by(log_id="log_id_other", line="line_other", stage="stage").agg(rows=rows)
    return Shared(
        _without(sheet, out) if out.height else sheet,
        both["log_id_other"].unique().sort().to_list(),
        displaced,
        part.sort().to_list(),
    )


def _told(visits: pl.LazyFrame, readings: pl.LazyFrame) -> pl.LazyFrame:
    """Readings by a clock with log_id, line, the time of their visit and `n`, how many it has."""
    clocked = visits.filter(pl.col("time_known") & (pl.col("serial") != ""))
    rank = pl.col("outcome").replace_strict({word: at for at, word in enumerate(WORST_FIRST)}, default=len(WORST_FIRST))
    times = clocked.select(*ROW, "tech", time=pl.coalesce("started_at", "finished_at"), mild=rank)
    counted = readings.select("log_id", *CELL)
    return counted.with_columns(n=pl.len().over(*ROW)).join(times, on=ROW)


def _without(sheet: Sheet, out: pl.DataFrame) -> Sheet:
    """The sheet less some readings, and less their visits where none is left and the others end no better.

    out : CELL, and `mild`, `mild_other`: how the visit ends, the worst first, here and in the log that stands for it.
    """
    lost = out.select(CELL).unique()
    silent = out.filter(pl.col("mild") >= pl.col("mild_other")).select("line").unique()

    def less(frames: Frames) -> Frames:
        readings = frames["readings"].join(lost, on=CELL, how="anti", nulls_equal=True, maintain_order="left")
        gone = silent.join(readings, on="line", how="anti")
        kept = {name: frames[name].join(gone, on="line", how="anti", maintain_order="left") for name in frames}
        return kept | {"readings": readings}

    rows = sheet.rows_held + lost.unique(["line", "taken_at", "characteristic", "position"]).height
    if sheet.pieces is None:
        return replace(sheet, **less(sheet.whole()), rows_held=rows)  # type: ignore[arg-type]
    made = Pieces(sheet.pieces.root)
    for place, frames in enumerate(sheet.parts()):
        kept = less(frames)
        made.add(kept["visits"], [kept["readings"]], kept["faults"], sheet.pieces.table_of(place))
    return replace(sheet, pieces=made, rows_held=rows)
