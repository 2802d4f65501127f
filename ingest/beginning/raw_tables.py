"""Where the headings of an unknown sheet stand, over one row or several, by what stands in the rows below them."""

import csv
import io
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from operator import eq

import polars as pl

from ingest.beginning.guesses import guess_heading
from ingest.reading.bounds import look_over_workbook
from ingest.reading.encodings import letters_of
from ingest.reading.files import tables_in_pieces
from ingest.reading.heading_rows import MOST_ROWS, headings_over, is_title, looks_like_headings
from ingest.reading.headings import plain
from ingest.reading.on_disk import Data, is_workbook, pieces, sha256
from ingest.reading.tabular import SEPARATORS, Form, Tables, joined_tables
from ingest.reading.workbook import first_rows, tab_names
from ingest.terms.questions import FileProblem
from ingest.terms.units import quantity_of

MOST_KEPT = 4  # files that are kept while they are being mapped
MOST_ROWS_SEEN, BLOCK = 60_000, 500  # rows of a table that are looked at; of a longer one blocks from all over it
_KEPT: dict[tuple[str, str], tuple[list["RawTable"], dict[str, str]]] = {}
LOOKED_AT = 60  # rows in which the headings are looked for
DATES = {"date", "started_at", "finished_at"}
_DATA = re.compile(r".*\d.*")


@dataclass(frozen=True)
class RawTable:
    """One table of a sheet as it came: headings each once, cells below them."""

    tab: str  # '' in a text file
    headings: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]  # the cells of each heading, all as long
    notes: tuple[str, ...] = ()
    hints: tuple[str, ...] = ()  # of each heading, what a row of units and the like right below it says

    @property
    def rows(self) -> int:
        """Rows below the headings."""
        return len(self.columns[0]) if self.columns else 0


def raw_tables(name: str, data: Data) -> tuple[list[RawTable], dict[str, str]]:
    """The tables of a file, one a tab, and the tabs without any, each with why; the files looked at last are kept, so
    that a change of mapping reads none again. FileProblem where there is none.
    """
    key = (name, sha256(data) if isinstance(data, bytes) else data.digest)
    if key not in _KEPT:
        _KEPT[key] = _raw_tables(name, data)
        while len(_KEPT) > MOST_KEPT:
            _KEPT.pop(next(iter(_KEPT)), None)
    found, left = _KEPT[key]
    return list(found), dict(left)


def _raw_tables(name: str, data: Data) -> tuple[list[RawTable], dict[str, str]]:
    if is_workbook(data):
        with io.BytesIO(data) if isinstance(data, bytes) else data.path.open("rb") as file:
            look_over_workbook(file, name)
    tabs = tab_names(data)
    if not tabs:
        return [_table(name, data, "", _text_rows(name, data), None)], {}
    found, left = [], {}
    for tab in tabs:
        try:
            found.append(_table(name, data, tab, first_rows(data, tab, LOOKED_AT), partial(eq, tab)))
        except FileProblem as problem:
            left[tab] = str(problem).removeprefix(f"{name}: ")
    if not found:
        why = "; ".join(f"tab {tab!r}: {said}" for tab, said in left.items())
        raise FileProblem(f"{name}: {why or 'no tab holds anything'}")
    return found, left


def _text_rows(name: str, data: Data) -> list[list[str]]:
    """The first rows of a text file under the separator that makes most of them."""
    if not any(piece.strip(b"\x00 \t\r\n\xef\xbb\xbf") for piece in pieces(data)):
        raise FileProblem(f"{name}: the file is empty; nothing to load")
    text = next(letters_of(data, name).texts(data))
    lines = text.removeprefix("\ufeff").splitlines()[: LOOKED_AT + 1]
    if lines and (declared := re.fullmatch(r'"?sep=(.)"?', lines[0].strip(), re.IGNORECASE)):
        return list(csv.reader(io.StringIO("\n".join(lines[1:])), delimiter=declared[1]))
    ways = []
    for separator in SEPARATORS:
        rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=separator))
        ways.append((sum(len(row) - 1 for row in rows), rows))
    return max(ways, key=lambda way: way[0])[1]


def _table(
    name: str, data: Data, tab: str, rows: Sequence[Sequence[str]], tabs: Callable[[str], bool] | None
) -> RawTable:
    header = heading_line(rows)
    if header is None:
        raise FileProblem(f"{name}: no heading line that can be told; wanted three or more words over rows of data")
    found = _seen(tables_in_pieces(data, name, _form(header), tabs))
    cells: dict[str, list[str]] = {}
    hints: dict[str, str] = {}
    height = 0
    for table in found.tables:
        before, height = height, height + table.rows.height
        seen: dict[str, int] = {}
        for place, heading in enumerate(table.header):
            typed = heading.strip()
            if typed:
                seen[typed] = count = seen.get(typed, 0) + 1  # 'E' and 'e' are two strings
                name_of = typed if count == 1 else f"{typed} #{count}"
                held = cells.setdefault(name_of, [])
                hints[name_of] = table.hints[place] if table.hints else hints.get(name_of, "")
                held += [""] * (before - len(held)) + table.rows[f"c{place}"].to_list()
    for held in cells.values():
        held += [""] * (height - len(held))
    return RawTable(tab, tuple(cells), tuple(map(tuple, cells.values())), tuple(found.notes), tuple(hints.values()))


def _seen(found: Iterator[Tables]) -> Tables:
    """The tables of a file; of a long one blocks of rows from all over it."""
    step = rows = held = 0
    parts: list[Tables] = []
    for part in found:
        numbered = []
        for table in part.tables:
            numbers = pl.int_range(rows, rows + table.rows.height, dtype=pl.Int64, eager=True)
            numbered.append(replace(table, rows=table.rows.with_columns(numbers.alias("row")).filter(_kept(step))))
            rows += table.rows.height
            held += numbered[-1].rows.height
        parts.append(replace(part, tables=numbered))
        while held > MOST_ROWS_SEEN:
            step = 2 * step or 2
            for each in parts:
                each.tables = [replace(table, rows=table.rows.filter(_kept(step))) for table in each.tables]
            held = sum(table.rows.height for each in parts for table in each.tables)
    whole = joined_tables(parts)
    whole.tables = [replace(table, rows=table.rows.drop("row")) for table in whole.tables]
    if step:
        whole.notes.append(f"looked at {held:,} of its {rows:,} rows, from all over it; all of them are loaded")
    return whole


def _kept(step: int) -> pl.Expr:
    return pl.col("row") // BLOCK % step == 0 if step else pl.lit(True)


def heading_line(rows: Sequence[Sequence[str]]) -> list[str] | None:
    """The headings of the first rows of a sheet as one line, None where none can be told."""
    best: tuple[float, list[str]] | None = None
    filled = [place for place, row in enumerate(rows) if any(cell.strip() for cell in row)]
    for place in filled:
        if not looks_like_headings(rows[place]):
            continue
        below = [rows[other] for other in filled if other > place][:12]
        for high in range(1, MOST_ROWS + 1):
            block = [rows[other] for other in range(place - high + 1, place + 1) if other >= 0]
            if len(block) < high or not all(looks_like_headings(row) for row in block) or is_title(block[0], block[1:]):
                break
            header = headings_over(block)
            units = high > 1 and _units_only(block[-1])
            score = _score(header, below) - 0.6 * (high - 1) + (2 if units else 0)
            if best is None or score > best[0]:
                best = (score, header)
    if best is None or best[0] < 3:
        return None
    header = best[1]
    while len(header) > 1 and not header[-1].strip():
        header = header[:-1]
    return header


def _units_only(cells: Sequence[str]) -> bool:
    """Is a row the units of the columns above it?"""
    filled = [cell.strip().strip("()[]") for cell in cells if cell.strip()]
    return bool(filled) and all(quantity_of(cell) != "plain" for cell in filled)


def _score(header: Sequence[str], below: Sequence[Sequence[str]]) -> float:
    """How well a line serves as headings: names for the columns that are filled, each once, words of the trade."""
    named = [cell.strip() for cell in header if cell.strip()]
    if sum(1 for cell in named if any(map(str.isalpha, cell))) < 2:
        return 0.0
    used = {place for row in below for place, cell in enumerate(row) if cell.strip()}
    bare = sum(1 for place in used if place >= len(header) or not header[place].strip())
    data = sum(1 for row in below if any(_DATA.fullmatch(cell) for cell in row)) / max(1, len(below))
    known = sum(1 for cell in set(named) if _known(cell))
    twice = len(named) - len({plain(cell) for cell in named})
    over = sum(1 for place in used if place < len(header) and header[place].strip())
    enough = 1.0 if known >= 2 or (data > 0.5 and over >= 3) else 0.2
    if not below:
        return float(known) if known >= 3 else 0.0
    return enough * (1.5 * known + over * data - 2.0 * bare - 2.5 * twice)


@lru_cache(maxsize=4096)
def _known(cell: str) -> bool:
    return bool(guess_heading(cell).field)


def _form(header: Sequence[str]) -> Form:
    """The heading line that was found, and further ones below it by their words."""
    wanted = [plain(cell) for cell in header]

    def score(cells: Sequence[str]) -> int:
        typed = [plain(cell) for cell in cells]
        while len(typed) > len(wanted) and not typed[-1]:
            typed.pop()
        if typed == wanted:
            return 1000
        filled = [cell.strip() for cell in cells if cell.strip()]
        if not looks_like_headings(cells) or len({plain(cell) for cell in filled}) < len(filled):
            return 0
        count = sum(_known(cell) for cell in filled)
        fields = {guess_heading(cell).field for cell in filled}
        enough = count >= 3 and 2 * count >= len(filled) and fields & DATES and "serial" in fields
        return count if enough else 0

    def dated(cells: Sequence[str]) -> list[int]:
        return [place for place, cell in enumerate(cells) if guess_heading(cell).field in DATES]

    return Form(score, dated, "no heading line that can be told")
