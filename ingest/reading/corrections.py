"""A person's value laid over one cell of an original: the file stays as it came, what is read from it changes."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

import polars as pl

from ingest.reading.tabular import Table
from ingest.terms.questions import FileProblem, closest, listed

READING = ["line", "stage", "characteristic", "position", "moment"]


def heading_of(tables: Sequence[Table], line: int, column: str, name: str) -> tuple[str, str]:
    """The heading as typed and the text of the cell at a line and column; FileProblem where there is no such cell."""
    for table in tables:
        row = table.rows.filter(pl.col("line") == line)
        if row.is_empty():
            continue
        headings = [heading.strip() for heading in table.header]
        for plain in (str.strip, str.casefold, _without_unit):
            places = [place for place, heading in enumerate(headings) if plain(heading) == plain(column.strip())]
            if places:
                break
        if len(places) != 1:
            near = closest(_without_unit(column), {_without_unit(heading): heading for heading in headings})
            hint = f"; did you mean {near!r}?" if near else f"; it has {listed(headings)}"
            raise FileProblem(f"{name}, line {line}: no one column is headed {column!r}{hint}")
        return headings[places[0]], str(row[f"c{places[0]}"].item()).strip()
    raise FileProblem(
        f"{name}: line {line} is no row of a table; wanted the line of a row, as it is shown with every question"
    )


def _without_unit(heading: str) -> str:
    return re.sub(r"[(\[].*?[)\]]", "", heading).strip().casefold()


def laid_over(table: Table, cells: Mapping[tuple[int, str], str]) -> Table:
    """The table with corrected cells by (line, heading)."""
    rows = table.rows
    for place, heading in enumerate(table.header):
        mine = {line: text for (line, column), text in cells.items() if column == heading.strip()}
        if mine:
            new = pl.col("line").replace_strict(mine, default=None, return_dtype=pl.String)
            rows = rows.with_columns(pl.coalesce(new, f"c{place}").alias(f"c{place}"))
    return replace(table, rows=rows)


def marked(readings: pl.DataFrame, before: pl.DataFrame) -> pl.DataFrame:
    """Readings with the flag 'corrected' where their value is not that of the original, whose text they keep as `raw`.

    readings, before : tables.READINGS of the corrected log, and of the log as it came.
    """
    came = before.select(*READING, came=pl.struct("value", "raw", "unit", "flag", there=pl.lit(True))).unique(
        READING, keep="first"
    )
    joined = readings.join(came, on=READING, how="left", maintain_order="left")
    there = pl.col("came").struct.field("there").fill_null(False)
    same = (
        there
        & pl.col("came").struct.field("value").eq_missing(pl.col("value"))
        & (pl.col("came").struct.field("raw") == pl.col("raw"))
    )
    flag = (
        pl.when(same)
        .then("flag")
        .when(pl.col("flag") == "")
        .then(pl.lit("corrected"))
        .otherwise(pl.col("flag") + ";corrected")
    )
    raw = pl.when(there).then(pl.col("came").struct.field("raw")).otherwise("raw")
    return joined.with_columns(flag.alias("flag"), raw.alias("raw")).drop("came")
