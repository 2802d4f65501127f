"""An .xlsx workbook to the same tables as a CSV file.

Sheets follow one another: the line of a row is its row in the sheet, counted on through the sheets before it, so that
every line is named once.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import TypeVar

import fastexcel
import polars as pl

from ingest.reading.careful import tables_in_turn
from ingest.reading.on_disk import Data, is_workbook
from ingest.reading.records import Headers, Record
from ingest.reading.tabular import Form, Tables
from ingest.terms.questions import FileProblem

T = TypeVar("T")
Tabs = Callable[[str], bool]  # is the tab of this name to be read
_MIDNIGHT = re.compile(r"(\d{4}-\d{2}-\d{2}) 00:00:00")
_CLOCK = re.compile(r"1899-12-3[01] (\d{2}:\d{2}:\d{2})")
_NUMBER = re.compile(r"-?\d+\.\d+")


def tab_names(data: Data) -> list[str]:
    """The names of a workbook's tabs, none where it is no workbook that can be read."""
    if not is_workbook(data):
        return []
    try:
        return list(_opened(data).sheet_names)
    except Exception:  # said in one line by `read_workbook`
        return []


def tab_lines(data: Data) -> list[tuple[int, str]]:
    """Of a workbook of several tabs the line that the first row of each is counted as, and its name; else none."""
    if len(tab_names(data)) < 2:
        return []
    book, out, line = _opened(data), [], 1
    for name in book.sheet_names:
        out.append((line, str(name)))
        line += book.load_sheet(name, header_row=None, skip_rows=0, dtypes="string").to_polars().height
    return out


def filled_rows(data: Data) -> list[tuple[str, pl.Series]]:
    """Of each tab of a workbook its name, and the lines of its rows that hold anything, counted through all tabs."""
    book, out, before = _opened(data), [], 1
    for name in book.sheet_names:
        rows = _rows_of(book, name)
        filled = pl.any_horizontal(pl.col("*").fill_null("").str.strip_chars() != "") if rows.width else pl.lit(False)
        out.append(
            (
                str(name),
                rows.select(line=pl.int_range(pl.len()) + before).filter(rows.select(filled).to_series())["line"],
            )
        )
        before += rows.height
    return out


def first_rows(data: Data, tab: str, most: int) -> list[list[str]]:
    """The first rows of a tab as a person would have typed them."""
    frame = _opened(data).load_sheet(tab, header_row=None, n_rows=most, dtypes="string").to_polars()
    return [[_as_typed(cell, ".") if cell else "" for cell in row] for row in frame.rows()]


def read_workbook(data: Data, name: str, form: Form, tabs: Tabs | None = None) -> Iterator[Tables]:
    """The tables of the tabs wanted (None: of every one), one tab after another, so many rows at a time. FileProblem
    where the file is no workbook or none of them has a header.

    A tab without a heading line of a log among others with one is left, and said so; its lines are passed over.
    """
    before, headers, found = 0, Headers(form), False
    left: list[str] = []
    book = _sure(name, lambda: _opened(data))
    for sheet in book.sheet_names:
        frame = _sure(name, partial(_rows_of, book, sheet))
        if tabs is None or tabs(sheet):
            try:
                yield from tables_in_turn(_records(frame.iter_rows(), before, form, headers), name, form)
            except FileProblem:
                yield Tables([], passed_over=frame.height)
                left += [sheet] if frame.height else []
            else:
                found = True
                yield Tables([], notes=[f"tab {sheet!r}: its row 1 is counted as line {before + 1}"] if before else [])
        before += frame.height
        del frame
    if not found:
        one = f", tab {left[0]!r}" if len(left) == 1 and len(book.sheet_names) > 1 else ""
        raise FileProblem(f"{name}{one}: {form.missing}")
    yield Tables([], notes=[f"tab {sheet!r} has no heading line of a log; it is left" for sheet in left])


def _sure(name: str, work: Callable[[], T]) -> T:
    """What a step of reading a workbook gives; FileProblem, one line, where it cannot be taken."""
    try:
        return work()
    except Exception as fault:  # fastexcel has one error for each thing that can be wrong with a workbook
        raise FileProblem(
            f"{name}: cannot be read as a workbook ({str(fault).splitlines()[0]}); save it as .xlsx or CSV"
        ) from None


def _rows_of(book: fastexcel.ExcelReader, sheet: str) -> pl.DataFrame:
    return book.load_sheet(sheet, header_row=None, skip_rows=0, dtypes="string").to_polars()


def _opened(data: Data) -> fastexcel.ExcelReader:
    return fastexcel.read_excel(data if isinstance(data, bytes) else data.path)


def _records(rows: Iterable[tuple[str | None, ...]], before: int, form: Form, headers: Headers) -> Iterator[Record]:
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
