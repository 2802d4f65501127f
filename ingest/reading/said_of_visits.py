"""Rows of a sheet with a row a measurement that measure nothing: they say the result of the visit, its fault, where it
went back to, a lot or a note, as columns do elsewhere. `words.what` says which: `"verdict" = "outcome"`.
"""

from collections.abc import Mapping
from dataclasses import replace

import polars as pl

from ingest.reading.headings import Column, Columns, Headings, plain
from ingest.reading.sheet import Reading
from ingest.reading.tabular import Table

OF_A_VISIT = ("outcome", "fault", "sent_back_to", "cause", "note", "lot", "supplier")  # what such a row may say


def said_of_visits(table: Table, columns: Columns, reading: Reading) -> tuple[Table, Columns]:
    """The table with what its rows say of their visit under a column of its own, and no longer as a measurement."""
    what, value = columns.find("what"), next(iter(columns.values()), None)
    if reading.log.shape != "measurement" or what is None or value is None:
        return table, columns
    rows, known = table.rows, fields_of(table.rows[f"c{what.place}"], reading)
    for field in sorted(set(known.values()), key=OF_A_VISIT.index):
        mine = pl.col(f"c{what.place}").is_in([word for word, meant in known.items() if meant == field])
        said = pl.coalesce(*(pl.when(pl.col(f"c{at.place}") != "").then(f"c{at.place}") for at in columns.values()))
        rows, columns = _told(rows, columns, field, pl.when(mine).then(said), value.heading)
        if field == "fault" and (place := columns.find("position")):
            where = pl.when(mine & (pl.col(f"c{place.place}") != "")).then(f"c{place.place}")
            rows, columns = _told(rows, columns, "fault_at", where, place.heading)
    mine = pl.col(f"c{what.place}").is_in(list(known))
    said_in = [column.place for column in columns.all if column.field in ("what", "value", "position", "unit")]
    gone = [pl.when(~mine).then(f"c{at}").otherwise(pl.lit("")).alias(f"c{at}") for at in said_in]
    return replace(table, rows=rows.with_columns(gone) if known else rows), columns


def fields_of(names: pl.Series, reading: Reading) -> Mapping[str, str]:
    """The field of the visit that a name of a measurement stands for, of those that stand for one."""
    headings = Headings(reading.shop, reading.log)
    own = {plain(word): meaning for word, meaning in reading.log.words.get("what", {}).items()}
    fields = {name: headings.read(own.get(plain(name), name)).field for name in names.unique().to_list() if name}
    return {name: field for name, field in fields.items() if field in OF_A_VISIT}


def _told(
    rows: pl.DataFrame, columns: Columns, field: str, said: pl.Expr, heading: str
) -> tuple[pl.DataFrame, Columns]:
    """The rows with what some of them say under the column of a field; a new one where the sheet has none."""
    column = columns.find(field)
    if column is None:
        column = Column(rows.width - 1, heading, field)
        rows = rows.with_columns(pl.lit("").alias(f"c{column.place}"))
        columns = replace(columns, all=(*columns.all, column))
    return rows.with_columns(pl.coalesce(said, f"c{column.place}").alias(f"c{column.place}")), columns
