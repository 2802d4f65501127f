"""Rows of a new log against those the store holds: the same visit is held once, the same visit with other values is a
question. Pure.

Of several rows of one visit the one that counts does not hang on the order in which logs were loaded: rows of an older
edition give way to the newer one; of the others it is the row a person has taken, else that of the log whose last
visit is the earlier: which of two logs counts is the same for all their rows, and mostly it is the one that came first.
Of rows in the same words the one stands whose log was loaded first.
"""

from dataclasses import dataclass

import polars as pl

from ingest.reading.pieces import key_hash, visit_hash
from ingest.terms import tables

# What makes two rows the same visit: serial (of a part without one: lot and neck), stage, time, tech and, with a date
# only, its place that day.
# The time is the start where one was written: a sheet that grows fills in the finish later.
KEY = ("who", "stage", "time", "tech", "ordinal")
ROW = (tables.LOG_ID, tables.LINE, tables.STAGE)  # what names one row's visit
CANDIDATE: dict[str, pl.DataType] = {
    tables.LOG_ID: pl.String(),
    tables.LINE: pl.Int64(),
    "who": pl.String(),
    "stage": pl.String(),
    "time": tables.TIME,
    "tech": pl.String(),
    "ordinal": pl.Int64(),
    "text_hash": pl.Int64(),
    "status": pl.String(),  # new | held | lost (set aside as a question) | given (another row stands for it)
    "loaded": pl.Int64(),  # when its log was loaded, as a number that rises
    "last_visit": tables.TIME,  # of its log
    "kind": pl.String(),  # the kind of sheet where newer files replace older ones, else ''
    "taken": pl.Int64(),  # the sequence of the verdict 'take new' on this row, else 0
    "dropped": pl.Boolean(),  # the verdict 'keep held' stands against this row
    "superseded": pl.Boolean(),  # a newer edition of its log covers its day
}


@dataclass(frozen=True)
class Merged:
    """What became of rows of one visit.

    Each table has log_id, line, stage, and of the row that counts now other_log, other_line.
    """

    counts: pl.DataFrame  # new rows that count; `changed`: in the place of another
    held: pl.DataFrame  # new rows that say nothing new, or that another row stands for
    lost: pl.DataFrame  # new rows set aside as a question
    displaced: pl.DataFrame  # rows held so far that count no longer; `asked`: set aside as a question
    closed: pl.DataFrame  # rows set aside as a question so far that ask no longer: another stands for them
    wanted: (
        pl.DataFrame
    )  # rows that another stood for, or that were set aside, and that count or ask now: their log is to be read again

    @classmethod
    def of_none(cls, changed: pl.DataFrame) -> "Merged":
        """Where no two rows share a visit; `changed`: rows in the place of rows of a log that is gone."""
        rows = changed.select(*ROW, other_log=pl.lit(""), other_line=pl.lit(0, dtype=pl.Int64))
        none = rows.clear()
        asked = none.with_columns(asked=pl.lit(False))
        return cls(rows.with_columns(changed=pl.lit(True)), none, none, asked, none, none)


def with_key(visits: pl.LazyFrame) -> pl.LazyFrame:
    """Visits with the columns `who` and `time` of KEY."""
    part = pl.when(pl.col("serial") == "").then("/" + pl.col("lot") + "/" + pl.col("neck")).otherwise(pl.col("serial"))
    return visits.with_columns(part.alias("who"), pl.coalesce("started_at", "finished_at").alias("time"))


def met(keys: pl.Series, others: pl.DataFrame) -> pl.Series:
    """The keys (of Sheet.marks) that more than one row of a log has, or a row of `others`."""
    shared = keys.filter(keys.is_duplicated())
    if others.height:
        near = others.select(key_hash(visit_hash()).unique()).to_series()
        shared = pl.concat([shared, near.filter(near.is_in(keys.implode()))])
    return shared.unique()


def merge(candidates: pl.DataFrame, replaced: pl.DataFrame | None = None) -> Merged:
    """Settle all rows of the visits that more than one row tells of.

    candidates : CANDIDATE, every row of each visit concerned, new and held and lost before.
    replaced : KEY and text_hash of the rows of a log in whose place the new rows come.
    """
    rows = tables.shaped(candidates, CANDIDATE).with_columns(
        pl.struct(KEY).rank("dense").alias("visit"),
        pl.int_range(pl.len(), dtype=pl.Int64).alias("index"),
        pl.col("superseded", "dropped").fill_null(False),
    )
    rows = rows.with_columns(older=pl.col("superseded") | _older(rows))
    beside = (~pl.col("older") & ~pl.col("dropped")).any().over("visit")
    rows = rows.with_columns(out=pl.col("older") | (pl.col("dropped") & beside))
    by = ("visit", "taken", "last_visit", "log_id", "text_hash")
    live = rows.filter(~pl.col("out")).sort(by, descending=[name == "taken" for name in by])
    best = live.unique("visit", keep="first")
    best = best.select("visit", best_hash="text_hash", person=pl.col("taken") > 0)
    rows = rows.join(best, on="visit", how="left", maintain_order="left")
    same = pl.col("text_hash") == pl.col("best_hash")
    standing = rows.filter(same & (pl.col("older") | ~pl.col("out"))).sort(
        "visit", "taken", "loaded", "line", descending=[False, True, False, False]
    )
    first = standing.unique("visit", keep="first")
    first = first.select("visit", best="index", other_log="log_id", other_line="line")
    rows = rows.join(first, on="visit", how="left", maintain_order="left").with_columns(
        pl.col("other_log").fill_null("")
    )
    losing = rows.filter(~pl.col("out") & (pl.col("text_hash") != pl.col("best_hash")) & ~pl.col("person"))
    losing = losing.sort("visit", "text_hash", "loaded", "line")
    asked = losing.unique(["visit", "text_hash"], keep="first")["index"]
    rows = rows.with_columns(
        wins=(pl.col("index") == pl.col("best")).fill_null(False),
        asked=pl.col("index").is_in(asked.to_list()),
        after_older=(pl.col("older") & (pl.col("text_hash") != pl.col("best_hash")))
        .any()
        .over("visit")
        .fill_null(False),
    )
    new, held, lost, given = (rows.filter(pl.col("status") == status) for status in ("new", "held", "lost", "given"))
    columns = [*ROW, "other_log", "other_line"]
    counts = new.filter("wins").with_columns(changed=pl.col("after_older"))
    if replaced is not None and replaced.height:
        counts = counts.with_columns(changed=pl.col("changed") | in_place_of(counts, replaced))
    wanted = pl.concat([lost.filter("wins"), given.filter(pl.col("wins") | pl.col("asked"))])
    return Merged(
        counts.select(*columns, "changed"),
        new.filter(~pl.col("wins") & ~pl.col("asked")).select(columns),
        new.filter("asked").select(columns),
        held.filter(~pl.col("wins")).select(*columns, "asked"),
        lost.filter(~pl.col("wins") & ~pl.col("asked")).select(columns),
        wanted.select(columns),
    )


def in_place_of(rows: pl.DataFrame, replaced: pl.DataFrame) -> pl.Series:
    """Which rows come in the place of a row of the same visit with another text."""
    before = replaced.select(*KEY, before="text_hash").unique(KEY)
    return (
        rows.join(before, on=KEY, how="left", nulls_equal=True, maintain_order="left")
        .select((pl.col("before").is_not_null() & (pl.col("before") != pl.col("text_hash"))).alias("changed"))
        .to_series()
    )


def _older(rows: pl.DataFrame) -> pl.Series:
    """Which rows give way to a newer file of their own kind that says otherwise."""
    sheets = rows.filter(pl.col("kind") != "")
    if sheets.is_empty():
        return pl.Series("older", [False]).new_from_index(0, rows.height)
    newest = sheets.filter(pl.col("loaded") == pl.col("loaded").max().over("visit", "kind"))
    said = newest.select("visit", "kind", "text_hash").unique()
    gone = sheets.join(newest.select("index"), on="index", how="anti").join(
        said, on=["visit", "kind", "text_hash"], how="anti"
    )["index"]
    return rows.select(pl.col("index").is_in(gone.to_list()).alias("older")).to_series()
