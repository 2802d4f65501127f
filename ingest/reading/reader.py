"""One log file to the rows it holds, before it meets the store: pure, reads no clock and no disk."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from fnmatch import fnmatch
from functools import lru_cache

import polars as pl
import polars.selectors as cs

from ingest.reading.corrections import heading_of, laid_over
from ingest.reading.days import covered
from ingest.reading.files import read_tables
from ingest.reading.headings import Columns, Headings, missing
from ingest.reading.oddities import oddities
from ingest.reading.row_of_visits import read_instruments
from ingest.reading.sheet import VISIT_ROWS, Progress, Reading, Rows, Sheet
from ingest.reading.tabular import Form, Table, Tables
from ingest.reading.trials import read_trials
from ingest.reading.visits import read_visits
from ingest.reading.words import Words
from ingest.shopfiles.shop import Log, Shop
from ingest.terms import tables
from ingest.terms.questions import IT_IS_REAL, FileProblem

__all__ = ["Sheet", "cell_of", "log_for", "log_id", "read_log"]


def log_id(data: bytes) -> str:
    """The first 16 hexadecimal digits of the SHA-256 of a file as it came."""
    return hashlib.sha256(data).hexdigest()[:16]


def log_for(name: str, shop: Shop) -> Log:
    """The first [[log]] whose `files` matches the name; without any [[log]] the defaults. FileProblem where none
    matches.
    """
    if not shop.logs:
        return Log()
    plain = name.replace("\\", "/").rsplit("/", 1)[-1].casefold()
    for log in shop.logs:
        if fnmatch(plain, log.files.casefold()):
            return log
    patterns = ", ".join(dict.fromkeys(log.files for log in shop.logs))
    raise FileProblem(
        f"{name}: no [[log]] of shop.toml matches this file name; wanted one like {patterns}, or a [[log]] for it: "
        "`truerun new` proposes one"
    )


def read_log(
    data: bytes,
    name: str,
    shop: Shop,
    *,
    as_of_limit: datetime | None = None,
    settled: pl.DataFrame | None = None,
    corrected: Mapping[tuple[int, str], str] | None = None,
    progress: Progress | None = None,
) -> Sheet:
    """All that a log file says, with every row and cell that could not be accepted beside it.

    data : the file as it came.  name : its name, which chooses the [[log]].  as_of_limit : UTC; a row taken later is
    set aside (the future).
    settled : tables.SETTLED; 'it is real' accepts an implausible cell.
    corrected : texts to be read in place of the cells at (line, heading).  progress : told the share done and what is
    being done. Raises FileProblem, one line: no serial, date or stage column, an empty or binary file, no matching
    [[log]], two headings for one column.
    """
    log = log_for(name, shop)
    ident = log_id(data)
    reading = Reading(name, ident, shop, log, Words(shop, log), as_of_limit, _real(settled, ident))
    reading.progress = progress or reading.progress
    reading.progress(0.0, "reading")
    headings = Headings(shop, log)
    found = read_tables(data, name, _form(headings, log))
    if corrected:
        found.tables = [laid_over(table, corrected) for table in found.tables]
    found.tables = [
        replace(table, rows=table.rows.with_columns(cs.string().str.strip_chars())) for table in found.tables
    ]
    for question in found.refused:
        reading.asides.add(question)
    reading.notes += found.notes
    columns = [_columns(headings, table, reading) for table in found.tables]
    if log.shape == "study":
        trials = pl.concat(
            [read_trials(table.rows, each, reading) for table, each in zip(found.tables, columns, strict=True)]
        )
        return _sheet(reading, found, [], trials)
    read = read_instruments if log.shape == "instrument" else read_visits
    rows = [read(table.rows, each, reading) for table, each in zip(found.tables, columns, strict=True)]
    return _sheet(reading, found, rows, tables.empty(tables.GAUGE_TRIALS))


def cell_of(data: bytes, name: str, shop: Shop, line: int, column: str) -> tuple[str, str]:
    """The heading as typed and the text of one cell of a log; FileProblem where there is no such cell."""
    log = log_for(name, shop)
    headings = Headings(shop, log)
    return heading_of(read_tables(data, name, _form(headings, log)).tables, line, column, name)


def headings_in(data: bytes, name: str, shop: Shop) -> dict[str, str]:
    """What the heading of each column of a log means, by the heading as typed; columns that nobody has mapped by their
    own heading.
    """
    log = log_for(name, shop)
    headings = Headings(shop, log)
    out: dict[str, str] = {}
    for table in read_tables(data, name, _form(headings, log)).tables:
        for column in headings.table([cell.strip() for cell in table.header], name).all:
            out.setdefault(column.heading, column.meaning if column.field != "other" else column.heading)
    return out


def rows_in(data: bytes, name: str, shop: Shop) -> dict[int, dict[str, str]]:
    """The cells of every row of a log, by line and heading as typed."""
    log = log_for(name, shop)
    out: dict[int, dict[str, str]] = {}
    for table in read_tables(data, name, _form(Headings(shop, log), log)).tables:
        header = [heading.strip() for heading in table.header]
        for line, *cells in table.rows.iter_rows():
            out[line] = {heading: str(cell).strip() for heading, cell in zip(header, cells, strict=False)}
    return out


def _real(settled: pl.DataFrame | None, ident: str) -> pl.DataFrame:
    if settled is None:
        settled = tables.empty(tables.SETTLED)
    return (
        settled.filter((pl.col("log_id") == ident) & (pl.col("verdict") == IT_IS_REAL))
        .select("line", "column", "raw")
        .unique()
    )


def _form(headings: Headings, log: Log) -> Form:
    """What the header of a log of this kind looks like."""
    dates = {"value"} if log.shape == "study" else {"date", "started_at", "finished_at"}

    @lru_cache(maxsize=4096)
    def field(cell: str) -> str:
        return headings.read(cell).field

    def score(cells: Sequence[str]) -> int:
        fields = [name for cell in cells if (name := field(cell.strip())) not in ("other", "ignore")]
        found = set(fields)
        if log.shape == "study":
            return len(fields) if {"study", "part", "value"} <= found else 0
        enough = found & {"serial", "lot"} and found & dates
        return len(fields) if enough else 0

    def digits(header: Sequence[str]) -> list[int]:
        return [place for place, cell in enumerate(header) if field(cell.strip()) in dates]

    lacks = (
        "no column for study, part and value"
        if log.shape == "study"
        else "no line that names a serial and a date column"
    )
    wanted = "wanted a heading line that says so, or headings mapped under `headings` of its [[log]]"
    return Form(score, digits, f"{lacks}; {wanted}", log.decimal)


def _columns(headings: Headings, table: Table, reading: Reading) -> Columns:
    columns = headings.table([cell.strip() for cell in table.header], reading.name)
    lacks = missing(columns, reading.log)
    if lacks:
        raise FileProblem(
            f"{reading.name}: {lacks}; wanted a heading that says so, or one mapped under `headings` of this [[log]]"
        )
    for note in columns.notes:
        reading.note(note)
    return columns


def _sheet(reading: Reading, found: Tables, parts: list[Rows], trials: pl.DataFrame) -> Sheet:
    visits = pl.concat([part.visits for part in parts] or [tables.empty(VISIT_ROWS)])
    readings = pl.concat([frame for part in parts for frame in part.readings] or [tables.empty(tables.READINGS)])
    faults = pl.concat([part.faults for part in parts] or [tables.empty(tables.FAULTS)])
    for note in oddities(visits):
        reading.note(note)
    aside = reading.asides.table(reading.log_id, reading.name)
    whole = aside.filter(pl.col("column") == "").height
    rows = sum(table.rows.height for table in found.tables) + len(found.refused)
    reading.progress(1.0, "read")
    return Sheet(
        visits,
        readings,
        faults,
        trials,
        aside,
        rows,
        whole,
        aside.height - whole,
        found.passed_over,
        reading.notes,
        reading.log.replaces == "same visits",
        covered(visits, reading.shop.shop.timezone),
    )
