"""The cells of a log as they were typed: one of them, all of a row, and what their headings mean."""

from ingest.reading.corrections import heading_of
from ingest.reading.files import read_tables
from ingest.reading.headings import Headings
from ingest.reading.reader import form_for, logs_of
from ingest.reading.tabular import Table
from ingest.shopfiles.shop import Shop


def cell_of(data: bytes, name: str, shop: Shop, line: int, column: str) -> tuple[str, str]:
    """The heading as typed and the text of one cell of a log; FileProblem where there is no such cell."""
    found: list[Table] = []
    for log, tabs in logs_of(data, name, shop):
        found += read_tables(data, name, form_for(Headings(shop, log), log), tabs).tables
    return heading_of(found, line, column, name)


def headings_in(data: bytes, name: str, shop: Shop) -> dict[str, str]:
    """What the heading of each column of a log means, by the heading as typed; columns that nobody has mapped by their
    own heading.
    """
    out: dict[str, str] = {}
    for log, tabs in logs_of(data, name, shop):
        headings = Headings(shop, log)
        for table in read_tables(data, name, form_for(headings, log), tabs).tables:
            for column in headings.table([cell.strip() for cell in table.header], name).all:
                out.setdefault(column.heading, column.meaning if column.field != "other" else column.heading)
    return out


def rows_in(data: bytes, name: str, shop: Shop) -> dict[int, dict[str, str]]:
    """The cells of every row of a log, by line and heading as typed."""
    out: dict[int, dict[str, str]] = {}
    for log, tabs in logs_of(data, name, shop):
        for table in read_tables(data, name, form_for(Headings(shop, log), log), tabs).tables:
            header = [heading.strip() for heading in table.header]
            for line, *cells in table.rows.iter_rows():
                out[line] = {heading: str(cell).strip() for heading, cell in zip(header, cells, strict=False)}
    return out
