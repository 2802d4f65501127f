"""Cells left empty since they say what the row above says: a day that is written once for all rows of that day."""

from collections.abc import Collection
from dataclasses import replace

import polars as pl

from ingest.reading.headings import plain
from ingest.reading.tabular import Table

DITTO = ("", '"', "''", "″", "〃", "”", "do.", "dto.", "ditto", "dito", "idem", "id.")


def as_above(table: Table, headings: Collection[str], held: dict[str, str]) -> Table:
    """The table with empty cells and ditto marks of these columns filled from the last filled cell above.

    headings : as typed.  held : by heading, what stood last in the pieces of the file before; it is brought up to date.
    """
    wanted = {plain(heading) for heading in headings}
    rows = table.rows
    for place, heading in enumerate(table.header):
        if plain(heading) not in wanted or not rows.height:
            continue
        name = f"c{place}"
        typed = pl.col(name).str.strip_chars()
        said = pl.when(typed.str.to_lowercase().is_in(DITTO)).then(None).otherwise(pl.col(name)).forward_fill()
        rows = rows.with_columns(said.fill_null(held.get(plain(heading), "")).alias(name))
        held[plain(heading)] = str(rows[name][-1])
    return replace(table, rows=rows)
