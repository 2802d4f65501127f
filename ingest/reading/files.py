"""A file as it came, to tables of text with line numbers: encodings, separators, headers, title and total lines.

A regular file (UTF-8, no quotes, header first, every line as wide as the header) is read by Polars in one go; every
other goes through `careful`, which must say the same of a regular file. A workbook goes through `workbook`.
"""

import io

import polars as pl

from ingest.reading.careful import read_any
from ingest.reading.heading_rows import joined, looks_like_headings
from ingest.reading.tabular import LONGEST_CELL, SEPARATORS, Form, Table, Tables, _undated, tidied
from ingest.reading.workbook import Tabs, read_workbook
from ingest.terms.questions import FileProblem

_CONTROL_BYTES = bytes([*range(0x09), *range(0x0E, 0x20)])


def read_tables(data: bytes, name: str, form: Form, tabs: Tabs | None = None) -> Tables:
    """The tables of a CSV file or workbook. FileProblem where there is none to read.

    form : tells a header from a row.  tabs : of a workbook, those to be read; None: all.
    """
    if not data.strip(b"\x00 \t\r\n\xef\xbb\xbf"):
        raise FileProblem(f"{name}: the file is empty; nothing to load")
    if data[:4] == b"PK\x03\x04":
        return read_workbook(data, name, form, tabs)
    quick = read_regular(data, form)
    if quick is not None:
        return quick
    return read_any(data, name, form)


def _more_headings(body: bytes, header: list[str], separator: str, form: Form) -> bool:
    """Do the headings go on in the second line?"""
    second = body.split(b"\n", 2)[1:2]
    cells = second[0].decode("utf-8", "replace").rstrip("\r").split(separator) if second else []
    return looks_like_headings(cells) and form.score(joined(header, cells)) > form.score(header)


def read_regular(data: bytes, form: Form) -> Tables | None:
    """A regular file in one go, or None where it is not regular.

    Regular: UTF-8 without control characters or quotes at the start of a cell, one header on the first line, every line
    as wide as it.
    """
    body = data[3:] if data.startswith(b"\xef\xbb\xbf") else data
    if (
        len(body.translate(None, _CONTROL_BYTES)) != len(body)
        or (b"\r" in body and body.count(b"\r") != body.count(b"\r\n"))
        or body[:1] in b"\r\n"
    ):
        return None
    first = body.split(b"\n", 1)[0].rstrip(b"\r")
    if not body.isascii():
        try:
            body.decode("utf-8")
        except UnicodeDecodeError:
            return None
    text = first.decode("utf-8")
    separator = max(SEPARATORS, key=lambda sep: (form.score(text.split(sep)), text.count(sep)))
    header = text.split(separator)
    if form.score(header) == 0 or len(header) < 2 or '"' in text:
        return None
    if _more_headings(body, header, separator, form):
        return None
    mark = separator.encode()
    if b'"' in body and (mark + b'"' in body or b'\n"' in body):
        return None
    lines = body.count(b"\n") + (not body.endswith(b"\n"))
    if lines < 2 or body.count(mark) != lines * (len(header) - 1):
        return None
    names = [f"c{place}" for place in range(len(header))]
    try:
        rows = pl.read_csv(
            io.BytesIO(body),
            has_header=False,
            skip_rows=1,
            separator=separator,
            quote_char=None,
            schema=dict.fromkeys(names, pl.String),
            empty_string_is_null=False,
            row_index_name="line",
            row_index_offset=2,
        )
    except (
        pl.exceptions.PolarsError
    ):  # a row longer than the header; with the count above, then also one that is shorter
        return None
    if (
        rows.height != lines - 1
        or rows.select(pl.max_horizontal(pl.col(names).str.len_bytes().max())).item() > LONGEST_CELL
    ):
        return None
    if not header[-1].strip():
        return None
    table = Table(tuple(header), 1, rows.with_columns(pl.col("line").cast(pl.Int64)))
    again = [cell.strip() for cell in header]
    doubtful = table.rows.filter(_undated(table, form)).drop("line").unique().iter_rows()
    if any(form.score(row) > 0 and [cell.strip() for cell in row] != again for row in doubtful):
        return None  # another table below, with a header of its own
    return tidied([table], form, [], 0, [])
