"""The cells in which two rows of one visit differ: what a newer edition of a sheet changes, cell by cell, in the words
it was typed in.
"""

from collections.abc import Mapping

import polars as pl

from ingest.store.editions import CELLS
from ingest.terms import tables

# What a row says of its visit beside its readings; serial, stage, start and tech make it the same visit.
FIELDS = (
    "model", "finished_at", "minutes", "outcome", "sent_back_to", "cause", "supplier", "lot", "neck", "job",
    "string_set", "grade", "hand", "rh", "temperature", "note",
)  # fmt: skip
_WHERE = ["log_id", "line", "stage"]


def differing(
    pairs: pl.DataFrame, before: Mapping[str, pl.DataFrame], after: Mapping[str, pl.DataFrame]
) -> pl.DataFrame:
    """CELLS of pairs of rows.

    pairs : who, stage, time, tech, log_id, line, log_id_before, line_before.  before, after : `visits`, `readings`,
    `faults` that hold the rows.
    """
    old = pairs.select(
        pl.col("log_id_before").alias("log_id"),
        pl.col("line_before").alias("line"),
        "stage",
        pair=pl.int_range(pl.len()),
    )
    new = pairs.select("log_id", "line", "stage", pair=pl.int_range(pl.len()))
    one, other = _cells(old, before), _cells(new, after)
    both = one.join(other, on=["pair", "column"], how="full", coalesce=True, suffix="_after")
    both = both.with_columns(pl.col("text", "text_after").fill_null(""))
    both = both.filter(pl.col("text") != pl.col("text_after"))
    told = pairs.with_columns(pair=pl.int_range(pl.len()))
    joined = both.join(told, on="pair").sort("pair", "column")
    return tables.shaped(joined.rename({"who": "serial", "text": "before", "text_after": "after"}), CELLS)


def _cells(rows: pl.DataFrame, held: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """pair, column, text: every filled cell of some rows."""
    visits = held["visits"].join(rows, on=_WHERE).unique(_WHERE)
    plain = visits.select("pair", *(_text(name, dtype) for name, dtype in visits.schema.items() if name in FIELDS))
    fields = plain.unpivot(index="pair", variable_name="column", value_name="text").filter(pl.col("text") != "")
    name = pl.concat_str(
        "characteristic",
        pl.when(pl.col("position") != "").then("position"),
        pl.when(pl.col("moment") != "found").then("moment"),
        separator=" ",
        ignore_nulls=True,
    )
    readings = held["readings"].join(rows, on=_WHERE).select("pair", name.alias("column"), pl.col("raw").alias("text"))
    faults = (
        held["faults"]
        .join(rows, on=_WHERE)
        .with_columns(
            pl.concat_str(
                "fault", pl.when(pl.col("fault_at") != "").then("fault_at"), separator=" at ", ignore_nulls=True
            ).alias("text")
        )
    )
    faults = (
        faults.group_by("pair")
        .agg(pl.col("text").sort().str.join("; "))
        .select("pair", pl.lit("fault").alias("column"), "text")
    )
    return pl.concat([fields, readings, faults]).unique(["pair", "column"], keep="first", maintain_order=True)


def _text(name: str, dtype: pl.DataType) -> pl.Expr:
    if dtype == tables.TIME:
        return pl.col(name).dt.strftime("%Y-%m-%d %H:%M UTC").fill_null("").alias(name)
    if dtype == pl.Float64():
        number = pl.col(name).cast(pl.String).str.strip_suffix(".0")
        return number.fill_null("").alias(name)
    return pl.col(name).cast(pl.String).fill_null("").alias(name)
