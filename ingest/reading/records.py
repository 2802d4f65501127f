"""Lines of text as records: where a line is split, which lines a quoted cell joins, which are headers."""

import re
from collections.abc import Iterator

from ingest.reading.lines import MOST_LINES, Lines
from ingest.reading.tabular import SEPARATORS, Form

_QUOTED = re.compile(r'"(?:[^"]|"")+"')
MOST_TRIED = 100  # lines with a quote that may close a cell
_DATED = re.compile(
    r"\d[-/.:]\d|\d{5}"
)  # what a date, a time or a spreadsheet's day number holds and a heading does not
Record = tuple[int, list[str], bool]  # line it begins on, its cells, is it a header


def separator_of(lines: Lines, form: Form) -> str:
    """The separator under which one of the first lines looks most like a header."""
    head = lines[:60]

    def rank(separator: str) -> tuple[int, int]:
        return max((form.score(split_line(line, separator)[0]) for line in head), default=0), sum(
            line.count(separator) for line in head
        )

    return max(SEPARATORS, key=rank)


def split_line(line: str, separator: str) -> tuple[list[str], str]:
    """(cells, state) of one record: state 'whole', 'open' where a quoted cell is not closed, 'odd' where text follows a
    closing quote.
    """
    if '"' not in line or (line[0] != '"' and f'{separator}"' not in line):
        return line.split(separator), "whole"
    cells: list[str] = []
    at = 0
    while True:
        if line.startswith('"', at):
            end = at + 1
            while True:
                end = line.find('"', end)
                if end == -1:
                    return line.split(separator), "open"
                if line.startswith('""', end):
                    end += 2
                    continue
                break
            cells.append(line[at + 1 : end].replace('""', '"'))
            at = end + 1
            if at < len(line) and not line.startswith(separator, at):
                return line.split(separator), "odd"
        else:
            end = line.find(separator, at)
            cells.append(line[at:] if end == -1 else line[at:end])
            at = len(line) if end == -1 else end
        if at >= len(line):
            return cells, "whole"
        at += 1
        if at == len(line):
            return [*cells, ""], "whole"


class Headers:
    """Tells header lines from rows; quick about the rows below a header, which hold a date where it has its dates."""

    def __init__(self, form: Form) -> None:
        self.form = form
        self._places: list[int] = []

    def is_one(self, cells: list[str]) -> bool:
        """Does a line of cells look like the header of a log?"""
        for place in self._places:
            if place < len(cells) and _DATED.search(cells[place]):
                return False
        if self.form.score(cells) == 0:
            return False
        self._places = self.form.digits(cells)
        return True


def records(lines: Lines, separator: str, headers: Headers, skip: int) -> Iterator[Record]:
    """Every record of the file with the line it begins on.

    A quote that opens a cell and is never closed, or closes so that the row no longer fits the header, is a character
    (an inch or ditto mark).
    """
    width = 0
    last_quote = lines.last_quote
    at = skip
    while at < len(lines):
        line, used = lines[at], 1
        cells, state = split_line(line, separator)
        if state == "open" and at < last_quote:
            joined = _joined(lines, at, last_quote, separator, width)
            if joined:
                cells, used = joined
        elif state == "whole" and '"' in line and width and len(cells) != width and line.count(separator) + 1 == width:
            cells = line.split(separator)
        header = headers.is_one(cells)
        if header:
            width = len(cells)
        yield at + 1, cells, header
        at += used


def _joined(lines: Lines, at: int, last_quote: int, separator: str, width: int) -> tuple[list[str], int] | None:
    """The record that begins at a line and ends on a later one: (cells, lines used); None where no closing quote makes
    a whole row.
    """
    end, tried = at, 0
    while end < min(last_quote, at + MOST_LINES) and tried < MOST_TRIED:
        end += 1
        if '"' not in lines[end]:
            continue
        tried += 1
        cells, state = split_line("\n".join(lines[at : end + 1]), separator)
        if state == "whole":
            if width and (len(cells) != width or _are_rows(lines[at : end + 1], separator, width)):
                return None
            return cells, end + 1 - at
        if state == "odd":
            return None
    return None


def _are_rows(lines: list[str], separator: str, width: int) -> bool:
    """Would a cell over these lines swallow rows? Then its quote is a ditto mark, an inch mark or a slip.

    It would where a line between the first and the last is a whole row by itself, or where all lines are, in a file
    that does not quote.
    """
    for line in lines[1:-1]:
        cells, state = split_line(line, separator)
        if state == "whole" and len(cells) == width:
            return True
    rows = [line.split(separator) for line in lines]
    return all(len(row) == width for row in rows) and not any(
        _QUOTED.fullmatch(cell) for row in rows for cell in row if '"' in cell
    )
