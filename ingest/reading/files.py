"""A file as it came, to tables of text with line numbers: encodings, separators, headers, title and total lines.

A regular file (UTF-8, no quotes, header first, every line as wide as the header) is read by Polars in one go; every
other goes through `careful`, which must say the same of a regular file. A workbook goes through `workbook`.
"""

import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import polars as pl

from ingest.reading.careful import any_in_pieces
from ingest.reading.heading_rows import joined, looks_like_headings
from ingest.reading.on_disk import Data, is_workbook, pieces
from ingest.reading.tabular import (
    CONTROL,
    LONGEST_CELL,
    SEPARATORS,
    Form,
    Table,
    Tables,
    joined_tables,
    tidied,
    undated,
)
from ingest.reading.workbook import Tabs, read_workbook
from ingest.terms.questions import FileProblem

Look = Callable[[float], None]
PIECE = 3_000_000  # bytes of a regular file that are read at a time
_FILLED = re.compile(rb"[^\x00 \t\r\n\xef\xbb\xbf]")
_CONTROL_BYTES = bytes([*range(0x09), *range(0x0E, 0x20)])


def read_tables(data: Data, name: str, form: Form, tabs: Tabs | None = None) -> Tables:
    """The tables of a CSV file or workbook. FileProblem where there is none to read.

    form : tells a header from a row.  tabs : of a workbook, those to be read; None: all.
    """
    return joined_tables(tables_in_pieces(data, name, form, tabs))


def tables_in_pieces(
    data: Data, name: str, form: Form, tabs: Tabs | None = None, look: Look | None = None
) -> Iterator[Tables]:
    """As `read_tables`, of a long file so many rows at a time: tables of one header line are one table.

    look : told which share of a regular file was looked over, before the first of it comes.
    """
    if not any(_FILLED.search(piece) for piece in pieces(data)):
        raise FileProblem(f"{name}: the file is empty; nothing to load")
    if is_workbook(data):
        return read_workbook(data, name, form, tabs)
    return regular_in_pieces(data, form, PIECE, look) or any_in_pieces(data, name, form)


def read_regular(data: Data, form: Form) -> Tables | None:
    """A regular file in one go, or None where it is not regular.

    Regular: UTF-8 without control characters or quotes at the start of a cell, one header on the first line, every line
    as wide as it.
    """
    found = regular_in_pieces(data, form, len(data))
    return joined_tables(found) if found else None


def regular_in_pieces(data: Data, form: Form, most: int, look: Look | None = None) -> Iterator[Tables] | None:
    """A regular file, about `most` bytes of it at a time; None where it is not regular."""
    begin = 3 if data[:3] == b"\xef\xbb\xbf" else 0
    if data[begin : begin + 1] in (b"\r", b"\n"):
        return None
    text = _line(data, begin)
    if text is None or '"' in text or "\r" in text or CONTROL.search(text):
        return None
    separator = max(SEPARATORS, key=lambda sep: (form.score(text.split(sep)), text.count(sep)))
    header = text.split(separator)
    if form.score(header) == 0 or len(header) < 2 or not header[-1].strip():
        return None
    below = data.find(b"\n", begin) + 1
    cells = (_line(data, below) or "").split(separator) if below else []
    if looks_like_headings(cells) and form.score(joined(header, cells)) > form.score(header):
        return None  # the headings go on in the second line
    lines, marks, quoted = _counted(data, separator.encode())
    if quoted or lines < 2 or marks != lines * (len(header) - 1):
        return None
    regular = _Regular(data, below, tuple(header), separator, form)
    return regular.tables(most) if regular.is_so(most, look) else None


def _counted(data: Data, mark: bytes) -> tuple[int, int, bool]:
    """Lines of a file, signs between cells, and whether a cell begins with a quote."""
    lines = marks = 0
    quoted, before = False, b""
    for piece in pieces(data):
        lines += piece.count(b"\n")
        marks += piece.count(mark)
        if b'"' in piece:
            near = before + piece
            quoted = quoted or mark + b'"' in near or b'\n"' in near
        before = piece[-1:]
    return lines + (before != b"\n"), marks, quoted


def _line(data: Data, begin: int) -> str | None:
    """The line that begins at a byte; None where it is not UTF-8."""
    end = data.find(b"\n", begin)
    try:
        return data[begin : len(data) if end < 0 else end].rstrip(b"\r").decode("utf-8")
    except UnicodeDecodeError:
        return None


@dataclass
class _Regular:
    """The rows of a file whose header may be a regular one's."""

    data: Data
    begin: int  # where the first row begins
    header: tuple[str, ...]
    separator: str
    form: Form
    only: Table | None = None  # of a file of one piece, once it was looked at

    def _pieces(self, most: int) -> Iterator[tuple[int, bytes]]:
        """Whole lines, about so many bytes of them, with the number of the first."""
        begin, line = self.begin, 2
        while begin < len(self.data):
            end = self.data.find(b"\n", min(begin + most, len(self.data)) - 1) + 1 or len(self.data)
            piece = self.data[begin:end]
            yield line, piece
            begin, line = end, line + piece.count(b"\n")

    def is_so(self, most: int, look: Look | None) -> bool:
        """Is every row as wide as the header, of letters that can be read, and none a header again?"""
        again = [cell.strip() for cell in self.header]
        for place, (line, piece) in enumerate(self._pieces(most)):
            if look:
                look(min(1.0, place * most / len(self.data)))
            table = self._read(line, piece)
            if table is None:
                return False
            doubtful = table.rows.filter(undated(table, self.form)).drop("line").unique().iter_rows()
            if any(self.form.score(row) > 0 and [cell.strip() for cell in row] != again for row in doubtful):
                return False  # another table below, with a header of its own
            self.only = None if place else table
        return True

    def tables(self, most: int) -> Iterator[Tables]:
        """The rows, without blank and total lines."""
        if self.only is not None:
            yield tidied([self.only], self.form, [], 0, [])
            return
        for line, piece in self._pieces(most):
            if (table := self._read(line, piece)) is not None:
                yield tidied([table], self.form, [], 0, [])

    def _read(self, line: int, piece: bytes) -> Table | None:
        """Some rows; None where they are not regular."""
        if len(piece.translate(None, _CONTROL_BYTES)) != len(piece) or piece.count(b"\r") != piece.count(b"\r\n"):
            return None
        if not piece.isascii():
            try:
                piece.decode("utf-8")
            except UnicodeDecodeError:
                return None
        names = [f"c{place}" for place in range(len(self.header))]
        try:
            rows = pl.read_csv(
                io.BytesIO(piece),
                has_header=False,
                separator=self.separator,
                quote_char=None,
                schema=dict.fromkeys(names, pl.String),
                empty_string_is_null=False,
                row_index_name="line",
                row_index_offset=line,
            )
        except pl.exceptions.PolarsError:  # a longer row; with the count of signs between cells then also a shorter one
            return None
        longest = rows.select(pl.max_horizontal(pl.col(names).str.len_bytes().max())).item()
        if rows.height != piece.count(b"\n") + (not piece.endswith(b"\n")) or longest > LONGEST_CELL:
            return None
        return Table(self.header, 1, rows.with_columns(pl.col("line").cast(pl.Int64)))
