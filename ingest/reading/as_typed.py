"""The cells of a log as they were typed: one of them, all of a row, and what their headings mean."""

from collections.abc import Collection, Iterator
from dataclasses import replace

import polars as pl

from ingest.reading.corrections import heading_of
from ingest.reading.files import tables_in_pieces
from ingest.reading.headings import Headings
from ingest.reading.on_disk import Data
from ingest.reading.reader import form_for
from ingest.reading.tabular import Table
from ingest.reading.which_log import logs_of
from ingest.shopfiles.shop import Shop
from ingest.terms.questions import FileProblem


def cell_of(data: Data, name: str, shop: Shop, line: int, column: str) -> tuple[str, str]:
    """The heading as typed and the text of one cell of a log; FileProblem where there is no such cell."""
    found = [replace(table, rows=table.rows.filter(pl.col("line") == line)) for _, table in _tables(data, name, shop)]
    return heading_of(found, line, column, name)


def _tables(data: Data, name: str, shop: Shop) -> Iterator[tuple[Headings, Table]]:
    """The tables of a log, of a long one in pieces; without those of a workbook's tabs that have no headings."""
    for log, tabs in logs_of(data, name, shop):
        headings = Headings(shop, log)
        try:
            for piece in tables_in_pieces(data, name, form_for(headings, log), tabs):
                for table in piece.tables:
                    yield headings, table
        except FileProblem:
            if tabs is None:
                raise


def headings_in(data: Data, name: str, shop: Shop) -> dict[str, str]:
    """What the heading of each column of a log means, by the heading as typed; columns that nobody has mapped by their
    own heading.
    """
    out: dict[str, str] = {}
    for headings, table in _tables(data, name, shop):
        try:
            columns = headings.table([cell.strip() for cell in table.header], name).all
        except FileProblem:  # a tab that is left
            continue
        for column in columns:
            out.setdefault(column.heading, column.meaning if column.field != "other" else column.heading)
    return out


def rows_in(data: Data, name: str, shop: Shop, lines: Collection[int]) -> dict[int, dict[str, str]]:
    """The cells of the rows on some lines of a log, by line and heading as typed."""
    out: dict[int, dict[str, str]] = {}
    for _, table in _tables(data, name, shop):
        header = [heading.strip() for heading in table.header]
        for line, *cells in table.rows.filter(pl.col("line").is_in(list(lines))).iter_rows():
            out[line] = {heading: str(cell).strip() for heading, cell in zip(header, cells, strict=False)}
    return out
