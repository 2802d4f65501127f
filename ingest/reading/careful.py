"""Files that are not regular: any encoding, quotes and quoted line breaks, title lines, short and long rows, several
tables one below another.

Says the same of a regular file as `files.read_regular`, only slower (a test keeps it so).
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import polars as pl

from ingest.reading.encodings import MARK, letters_of
from ingest.reading.heading_rows import MOST_ROWS, headings_over, joined, looks_like_headings
from ingest.reading.lines import Lines
from ingest.reading.on_disk import Data
from ingest.reading.records import Headers, Record, records, separator_of
from ingest.reading.tabular import (
    CONTROL,
    LONGEST_CELL,
    SEPARATOR_CELL,
    TOTAL_CELL,
    Form,
    Table,
    Tables,
    joined_tables,
    tidied,
)
from ingest.terms.questions import FileProblem, Question, short

AT_ONCE, HELD_BACK = 20_000, 1_000  # rows that are handed on together; those that wait, for they may be titles


def read_any(data: Data, name: str, form: Form) -> Tables:
    """The tables of any text file. FileProblem where it is binary or holds no header of a log."""
    return joined_tables(any_in_pieces(data, name, form))


def any_in_pieces(data: Data, name: str, form: Form) -> Iterator[Tables]:
    """As `read_any`, so many rows at a time: tables of one header line are one table."""
    letters = letters_of(data, name)
    lines = Lines(lambda: letters.texts(data))
    if not lines.filled:
        raise FileProblem(f"{name}: the file is empty; nothing to load")
    declared = re.fullmatch(r'"?sep=(.)"?', lines[0].strip(), re.IGNORECASE)
    separator = declared[1] if declared else separator_of(lines, form)
    yield Tables([], [], int(bool(declared)), [letters.note] if letters.note else [])
    yield from tables_in_turn(
        records(lines, separator, Headers(form), skip=1 if declared else 0), name, form, lines.clean
    )


@dataclass
class _Open:
    """A table while its rows are gathered."""

    header: list[str]
    line: int
    lines: list[int] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)


def tables_in_turn(records: Iterable[Record], name: str, form: Form, clean: bool = False) -> Iterator[Tables]:
    """Records sorted into tables, so many rows at a time: a record that looks like a header begins one; what stands
    above the first is title, passed over.

    clean : no cell holds a character that cannot be read, or is too long.
    """
    open_tables: list[_Open] = []
    refused: list[Question] = []
    passed_over = 0
    wide = gathered = 0
    above: list[list[str]] = []  # rows of words right above, which may belong to the headings below them
    for line, cells, alone in records:
        header = _whole_header(cells, above, form, is_one=alone, first=not open_tables)
        if open_tables and (longer := _goes_on(open_tables[-1], cells, line, form)):
            passed_over += 1 + _reopened(open_tables, longer)
            wide = len(open_tables[-1].header)
            continue
        above = [*above, cells][-MOST_ROWS + 1 :] if not open_tables and looks_like_headings(cells) else []
        if header is not None:
            if open_tables:
                passed_over += _take_titles(open_tables[-1], refused)
            if open_tables and _same(header, open_tables[-1].header):
                passed_over += 1
                continue
            open_tables.append(_Open(header, line))
            wide = len(header)
        elif not open_tables or not any(map(str.strip, cells)):
            passed_over += 1
        else:
            fault = _misshapen(cells, wide) if clean else _unreadable(cells) or _misshapen(cells, wide)
            if fault:
                refused.append(Question(line, "", short(" | ".join(cells)), *fault))
            else:
                open_tables[-1].lines.append(line)
                open_tables[-1].rows.append(cells[:wide] + [""] * (wide - len(cells)))
                gathered += 1
                if gathered >= AT_ONCE + HELD_BACK and len(open_tables[-1].rows) > HELD_BACK:
                    yield _ready(open_tables, refused, passed_over, form)
                    passed_over, gathered = 0, HELD_BACK
    if not open_tables:
        raise FileProblem(f"{name}: {form.missing}")
    yield tidied([_table(each) for each in open_tables], form, refused, passed_over, [])


def _ready(open_tables: list[_Open], refused: list[Question], passed_over: int, form: Form) -> Tables:
    """What was gathered so far, taken out, but for the last rows and questions: they may turn out to be titles."""
    *closed, last = open_tables
    ready = _Open(last.header, last.line, last.lines[:-HELD_BACK], last.rows[:-HELD_BACK])
    asked = [question for question in refused if question.line <= ready.lines[-1]]
    told = tidied([_table(each) for each in (*closed, ready)], form, asked, passed_over, [])
    del open_tables[:-1], last.lines[:-HELD_BACK], last.rows[:-HELD_BACK], refused[: len(asked)]
    return told


def _whole_header(
    cells: list[str], above: list[list[str]], form: Form, *, is_one: bool, first: bool
) -> list[str] | None:
    """The headings that a row ends, with those of the rows above it where they say more together; None where none."""
    best, header = (form.score(cells), _trimmed(cells)) if is_one else (0, None)
    if first and above and looks_like_headings(cells):
        for rows in range(1, len(above) + 1):
            together = headings_over([*above[-rows:], cells])
            if (score := form.score(together)) > best:
                best, header = score, _trimmed(together)
    return header


def _goes_on(table: _Open, cells: list[str], line: int, form: Form) -> list[str] | None:
    """The headings of a table that has no row yet with the row right below them, where they say more together than
    either.
    """
    if table.rows or line != table.line + 1 or not looks_like_headings(cells):
        return None
    together = joined(table.header, cells)
    alone = max(form.score(table.header), form.score(cells))
    return _trimmed(together) if form.score(together) > alone else None


def _reopened(open_tables: list[_Open], header: list[str]) -> int:
    """Give the last table its longer headings; where they are those of the table before, it goes on there: 1 line more
    that is passed over.
    """
    table = open_tables[-1]
    if len(open_tables) > 1 and _same(header, open_tables[-2].header):
        open_tables.pop()
        return 1
    table.header, table.line = header, table.line + 1
    return 0


def _same(one: list[str], other: list[str]) -> bool:
    return [cell.strip() for cell in one] == [cell.strip() for cell in other]


def _is_line_over(cell: str) -> bool:
    """Is a line of one cell a month, a week, a total or a rule over other rows?"""
    return bool(re.match(SEPARATOR_CELL, cell) or re.match(TOTAL_CELL, cell) or not re.search(r"\w", cell))


def _trimmed(cells: list[str]) -> list[str]:
    """A header without the empty cells behind its last name."""
    end = len(cells)
    while end > 1 and not cells[end - 1].strip():
        end -= 1
    return cells[:end]


def _unreadable(cells: list[str]) -> tuple[str, str] | None:
    """What cannot be read in a row whatever its columns: (reason, wanted)."""
    text = "".join(cells)
    if CONTROL.search(text):
        return "a control character or NUL byte in the row", "text only; type the row again"
    if MARK in text:
        return "letters that cannot be read for sure", "the file saved as UTF-8"
    if len(text) > LONGEST_CELL and max(map(len, cells)) > LONGEST_CELL:
        return "a cell longer than any spreadsheet's", f"at most {LONGEST_CELL} characters: a quote may not be closed"
    return None


def _misshapen(cells: list[str], wide: int) -> tuple[str, str] | None:
    """What is wrong with the number of cells of a row: (reason, wanted). A row without its last cells is none the less
    one; a row of a single cell is a piece of another.
    """
    if len(cells) == 1 and wide > 2 and not _is_line_over(cells[0]):
        return "a row shorter than the header", f"{wide} cells, as the header has; {len(cells)} came"
    if len(cells) > wide and any(map(str.strip, cells[wide:])):
        return (
            "a row longer than the header",
            f"{wide} cells, as the header has; {len(cells)} came: a comma in a number or note?",
        )
    return None


def _take_titles(table: _Open, refused: list[Question]) -> int:
    """Lines with one filled cell right above the next header are its title: taken out of the rows and questions above,
    and counted.
    """
    taken = 0
    while (
        table.rows
        and sum(1 for cell in table.rows[-1] if cell.strip()) == 1
        and (not refused or refused[-1].line < table.lines[-1])
    ):
        table.rows.pop()
        table.lines.pop()
        taken += 1
    while (
        refused
        and refused[-1].line > max(table.lines, default=table.line)
        and sum(1 for cell in refused[-1].raw.split(" | ") if cell.strip()) == 1
    ):
        refused.pop()
        taken += 1
    return taken


def _table(table: _Open) -> Table:
    names = [f"c{place}" for place in range(len(table.header))]
    columns: dict[str, list[str]] = (
        dict(zip(names, map(list, zip(*table.rows, strict=True)), strict=True))
        if table.rows
        else {name: [] for name in names}
    )
    schema = {"line": pl.Int64} | dict.fromkeys(names, pl.String)
    return Table(tuple(table.header), table.line, pl.DataFrame({"line": table.lines} | columns, schema=schema))
