"""An .xlsx workbook to the same tables as a CSV file.

Sheets follow one another: the line of a row is its row in the sheet, counted on through the sheets before it, so that
every line is named once.
"""

import re
from collections.abc import Iterator

import fastexcel

from ingest.reading.careful import Headers, Record, tables_of
from ingest.reading.tabular import Form, Tables
from ingest.terms.questions import FileProblem

_MIDNIGHT = re.compile(r"(\d{4}-\d{2}-\d{2}) 00:00:00")
_CLOCK = re.compile(r"1899-12-3[01] (\d{2}:\d{2}:\d{2})")
_NUMBER = re.compile(r"-?\d+\.\d+")


def read_workbook(data: bytes, name: str, form: Form) -> Tables:
    """The tables of every sheet. FileProblem where the file is no workbook or no sheet has a header."""
    try:
        book = fastexcel.read_excel(data)
        sheets = [
            (sheet, book.load_sheet(sheet, header_row=None, skip_rows=0, dtypes="string").to_polars())
            for sheet in book.sheet_names
        ]
    except Exception as fault:  # fastexcel has one error for each thing that can be wrong with a workbook
        raise FileProblem(
            f"{name}: cannot be read as a workbook ({str(fault).splitlines()[0]}); save it as .xlsx or CSV"
        ) from None
    notes: list[str] = []
    before, headers = 0, Headers(form)
    records: list[Record] = []
    for sheet, frame in sheets:
        if before and frame.height:
            notes.append(f"sheet {sheet!r}: its row 1 is counted as line {before + 1}")
        records += _rows(frame.rows(), before, form, headers)
        before += frame.height
    found = tables_of(records, name, form)
    found.notes += notes
    return found


def _rows(rows: list[tuple[str | None, ...]], before: int, form: Form, headers: Headers) -> Iterator[Record]:
    for place, row in enumerate(rows, before + 1):
        cells = [_as_typed(cell, form.decimal) if cell else "" for cell in row]
        yield place, cells, headers.is_one(cells)


def _as_typed(cell: str, decimal: str) -> str:
    """A cell as a person would have typed it: a day without midnight, a time of day without a day, the sheet's own
    decimal sign.
    """
    if found := _MIDNIGHT.fullmatch(cell):
        return found[1]
    if found := _CLOCK.fullmatch(cell):
        return found[1]
    return cell.replace(".", ",") if decimal == "," and _NUMBER.fullmatch(cell) else cell
