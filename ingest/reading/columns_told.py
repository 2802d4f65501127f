"""What each column of a file was taken for, and how much of it was read: so that what was not read is said first."""

from collections.abc import Sequence

import polars as pl

from ingest.reading.headings import Columns
from ingest.reading.tabular import Table
from ingest.terms import tables

EMPTY = ("", "-", "--", "–", "—")
NUMBER = r"^[<>~+\-−]?\s*[.,]?\d"  # how a number begins, whatever comes after it


_NAMES = ["heading", "field", "stage", "characteristic", "position", "moment"]


def counted_columns(table: Table, taken: Columns) -> pl.DataFrame:
    """What each column of a table, or of a piece of one, was taken for, with how many of its cells are `filled` and how
    many are `numbers`.
    """
    counts = table.rows.select(
        *(
            _count(~pl.col(f"c{column.place}").is_in(EMPTY), f"f{column.place}", column.place, table)
            for column in taken.all
        ),
        *(
            _count(pl.col(f"c{column.place}").str.contains(NUMBER), f"n{column.place}", column.place, table)
            for column in taken.all
        ),
    ).row(0, named=True)
    rows = [
        {
            "heading": column.heading,
            "field": "text" if column.field == "other" and column.meant else column.field,
            "stage": column.stage,
            "characteristic": column.characteristic,
            "position": "/".join(column.positions) if column.field == "reading" else "",
            "moment": column.moment if column.field == "reading" else "",
            "filled": counts[f"f{column.place}"],
            "numbers": counts[f"n{column.place}"],
        }
        for column in taken.all
    ]
    kinds = dict.fromkeys(_NAMES, pl.String) | {"filled": pl.Int64, "numbers": pl.Int64}
    return pl.DataFrame(rows, schema=kinds)


def told_columns(counted: Sequence[pl.DataFrame], aside: pl.DataFrame, log_id: str) -> pl.DataFrame:
    """tables.COLUMNS of one log, from what was counted in its pieces; columns of one heading in several tables of the
    file are told as one.
    """
    if not counted or not sum(frame.height for frame in counted):
        return tables.empty(tables.COLUMNS)
    told = pl.concat(counted).group_by(_NAMES, maintain_order=True).agg(pl.col("filled", "numbers").sum())
    unread = aside.filter(pl.col("column") != "").group_by(heading="column").agg(aside=pl.len())
    told = told.join(unread, on="heading", how="left", maintain_order="left").with_columns(pl.col("aside").fill_null(0))
    return tables.shaped(told.with_columns(log_id=pl.lit(log_id)), tables.COLUMNS)


def _count(mask: pl.Expr, name: str, place: int, table: Table) -> pl.Expr:
    """How many cells of a column fulfil a mask; a column that is not in the rows has none."""
    return mask.sum().cast(pl.Int64).alias(name) if f"c{place}" in table.rows.columns else pl.lit(0).alias(name)
