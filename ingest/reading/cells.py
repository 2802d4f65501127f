"""The cells of a table by field, and the rows of it that are set aside whole."""

from typing import Self

import polars as pl

from ingest.reading.headings import JOINED, Column, Columns
from ingest.reading.notation import SHEET_ERRORS
from ingest.reading.row_text import row_text
from ingest.reading.sheet import Reading

_EMPTY = ("-", "--", "–", "—", "－", "―", "ー", "n/a", "N/A", *SHEET_ERRORS)  # a field so filled is empty


class Refusals:
    """Rows set aside whole while a table is read; the first reason counts."""

    def __init__(self, rows: pl.DataFrame) -> None:
        self.rows = rows
        self.frames: list[pl.DataFrame] = []

    def add(self, mask: pl.Series, reason: pl.Series | str, wanted: pl.Series | str) -> None:
        """Refuse the rows of a mask (null = no); reason and wanted are one text or one a row."""
        if not mask.any():
            return
        frame = pl.DataFrame({"row": pl.int_range(len(mask), dtype=pl.UInt32, eager=True)}).with_columns(
            reason=pl.lit(reason) if isinstance(reason, str) else reason,
            wanted=pl.lit(wanted) if isinstance(wanted, str) else wanted,
        )
        self.frames.append(frame.filter(mask.fill_null(False)))

    def settle(self, reading: Reading) -> pl.Series | None:
        """Hand all refused rows to the questions; the mask of rows that remain, None where all do."""
        if not self.frames:
            return None
        refused = pl.concat(self.frames).unique("row", keep="first", maintain_order=True)
        whole = self.rows[refused["row"]]
        reading.asides.add_frame(
            refused.with_columns(whole["line"], pl.lit("").alias("column"), row_text(whole).alias("raw"))
        )
        keep = pl.Series("keep", [True]).new_from_index(0, self.rows.height)
        return keep.scatter(refused["row"], False)


class Cells:
    """The cells of a table's rows by field, stripped, '' where empty; at one stage where the sheet has a row an
    instrument.
    """

    def __init__(self, rows: pl.DataFrame, columns: Columns, at: str = "") -> None:
        self.rows, self.columns, self.at = rows, columns, at

    def as_typed(self) -> pl.DataFrame:
        """The rows as a person typed them."""
        return self.rows

    def kept(self, mask: pl.Series) -> Self:
        """The same of the rows of a mask."""
        return type(self)(self.rows.filter(mask), self.columns, self.at)

    def column(self, field: str) -> Column | None:
        """The column of a field: the stage's own, else the one for the whole row."""
        return (self.columns.find(field, self.at) if self.at else None) or self.columns.find(field)

    def text(self, field: str) -> pl.Series:
        """Cells of a field; a dash counts as empty."""
        column = self.column(field)
        if column is None:
            return pl.Series(field, [""], dtype=pl.String).new_from_index(0, self.rows.height)
        if field in JOINED:
            several = [self.filled(one) for one in self.columns.all if (one.field, one.stage) == (field, column.stage)]
            parts = [pl.when(each != "").then(each) for each in several]
            return pl.select(pl.concat_str(parts, separator="; ", ignore_nulls=True).alias(field)).to_series()
        return self.filled(column).rename(field)

    def filled(self, column: Column) -> pl.Series:
        """Cells of one column; a dash counts as empty."""
        cell = pl.col(f"c{column.place}")
        return self.rows.select(pl.when(cell.is_in(_EMPTY)).then(pl.lit("")).otherwise(cell)).to_series()

    def long(self, column: Column) -> pl.DataFrame:
        """row, line, text of one column."""
        return self.rows.select(
            pl.int_range(pl.len(), dtype=pl.UInt32).alias("row"), "line", pl.col(f"c{column.place}").alias("text")
        )
