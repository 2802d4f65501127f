"""One log file to the rows it holds, before it meets the store: pure, reads no clock and no disk."""

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fnmatch import fnmatch
from functools import lru_cache, partial

import polars as pl
import polars.selectors as cs

from ingest.reading.card_sheet import KIND, is_card
from ingest.reading.columns_told import told_columns
from ingest.reading.corrections import heading_of, laid_over
from ingest.reading.days import covered
from ingest.reading.files import read_tables
from ingest.reading.headings import Columns, Headings, missing
from ingest.reading.measurement_rows import read_measurements
from ingest.reading.oddities import oddities
from ingest.reading.row_of_visits import read_instruments
from ingest.reading.sheet import VISIT_ROWS, Progress, Reading, Rows, Sheet
from ingest.reading.tabular import Form, Table, Tables
from ingest.reading.trials import read_trials
from ingest.reading.visits import ordinal, read_visits
from ingest.reading.words import Words
from ingest.reading.workbook import Tabs, tab_names
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms import tables
from ingest.terms.questions import IT_IS_REAL, FileProblem

AT_ONCE = 50_000  # rows of a table
__all__ = ["Sheet", "cell_of", "log_for", "log_id", "logs_of", "read_log"]


def log_id(data: bytes) -> str:
    """The first 16 hexadecimal digits of the SHA-256 of a file as it came."""
    return hashlib.sha256(data).hexdigest()[:16]


def log_for(name: str, shop: Shop) -> Log:
    """The first [[log]] whose `files` matches the name; without any [[log]] the defaults. A sheet of Card has a kind of
    its own. FileProblem where none matches.
    """
    if is_card(name):
        return KIND
    if not shop.logs:
        return Log()
    for log in shop.logs:
        if _matches(log, name):
            return log
    patterns = ", ".join(dict.fromkeys(log.files for log in shop.logs))
    raise FileProblem(
        f"{name}: no [[log]] of shop.toml matches this file name; wanted one like {patterns}, or a [[log]] for it: "
        "`truerun new` proposes one"
    )


def _matches(log: Log, name: str) -> bool:
    return fnmatch(name.replace("\\", "/").rsplit("/", 1)[-1].casefold(), log.files.casefold())


def read_log(
    data: bytes,
    name: str,
    shop: Shop,
    *,
    as_of_limit: datetime | None = None,
    settled: pl.DataFrame | None = None,
    corrected: Mapping[tuple[int, str], str] | None = None,
    only: Collection[int] | None = None,
    progress: Progress | None = None,
) -> Sheet:
    """All that a log file says, with every row and cell that could not be accepted beside it.

    data : the file as it came.  name : its name, which chooses the [[log]].  as_of_limit : UTC; a row taken later is
    set aside (the future).
    settled : tables.SETTLED; 'it is real' accepts an implausible cell.
    corrected : texts to be read in place of the cells at (line, heading).  progress : told the share done and what is
    being done.
    only : lines to be read, all others passed by.  Raises FileProblem, one line: no serial, date or stage column, an
    empty or binary file, no matching
    [[log]], two headings for one column.
    """
    ident, real = log_id(data), _real(settled, log_id(data))
    parts = []
    for log, tabs in logs_of(data, name, shop):
        reading = Reading(name, ident, shop, log, Words(shop, log), as_of_limit, real)
        reading.progress = progress or reading.progress
        reading.progress(0.0, "reading")
        parts.append(_read_part(data, reading, tabs, corrected, only))
    if left := _left_tabs(data, name, shop):
        parts[0].reading.note(f"tabs that no [[log]] reads, left: {', '.join(map(repr, left))}")
    return _sheet(parts)


@dataclass
class _Part:
    """What the tabs of one [[log]] hold, or the whole file."""

    reading: Reading
    found: Tables
    rows: list[Rows]
    trials: pl.DataFrame
    columns: list[Columns]


def _read_part(
    data: bytes,
    reading: Reading,
    tabs: Tabs | None,
    corrected: Mapping[tuple[int, str], str] | None,
    only: Collection[int] | None = None,
) -> _Part:
    """One file, or of a workbook the tabs that one [[log]] is for."""
    headings = Headings(reading.shop, reading.log)
    found = read_tables(data, reading.name, _form(headings, reading.log), tabs)
    if corrected:
        found.tables = [laid_over(table, corrected) for table in found.tables]
    if only is not None:
        found.tables = [replace(each, rows=each.rows.filter(pl.col("line").is_in(list(only)))) for each in found.tables]
    found.tables = [
        replace(table, rows=table.rows.with_columns(cs.string().str.strip_chars())) for table in found.tables
    ]
    for question in found.refused:
        reading.asides.add(question)
    reading.notes += found.notes
    columns = [_columns(headings, table, reading) for table in found.tables]
    each = list(zip(found.tables, columns, strict=True))
    if reading.log.shape == "study":
        trials = pl.concat([read_trials(table.rows, own, reading) for table, own in each])
        return _Part(reading, found, [], trials, columns)
    read = {"instrument": read_instruments, "measurement": read_measurements}.get(reading.log.shape, _read_visits)
    rows = [read(table.rows, own, reading) for table, own in each]
    return _Part(reading, found, rows, tables.empty(tables.GAUGE_TRIALS), columns)


def _read_visits(rows: pl.DataFrame, own: Columns, reading: Reading) -> Rows:
    """The rows of a table, so many at a time: what each step holds beside them does not grow with the file."""
    if rows.height <= AT_ONCE:
        return read_visits(rows, own, reading)
    tell, parts = reading.progress, []
    for first in range(0, rows.height, AT_ONCE):
        tell(0.1 + 0.9 * first / rows.height, f"row {first:,} of {rows.height:,}")
        reading.progress = lambda _share, _what: None
        parts.append(read_visits(rows.slice(first, AT_ONCE), own, reading))
    reading.progress = tell
    visits = pl.concat([part.visits for part in parts])
    return Rows(
        visits.with_columns(ordinal(visits)),
        [frame for part in parts for frame in part.readings],
        pl.concat([part.faults for part in parts]),
    )


def logs_of(data: bytes, name: str, shop: Shop) -> list[tuple[Log, Tabs | None]]:
    """The [[log]]s that read a file: the first that matches its name; of a workbook, each with the tabs of its own.

    FileProblem where none matches, or none of a workbook's tabs.
    """
    first = log_for(name, shop)
    matching = [log for log in shop.logs if _matches(log, name)]
    if not any(log.tab for log in matching):
        return [(first, None)]
    tabs = tab_names(data)
    if not tabs:
        return [(next((log for log in matching if not log.tab), first), None)]
    owned = _owners(tabs, matching)
    logs = [log for log in matching if log in owned.values()]
    if not logs:
        wanted = ", ".join(repr(log.tab) for log in matching)
        raise FileProblem(f"{name}: it has the tabs {', '.join(map(repr, tabs))}; wanted one such as {wanted}")
    return [(log, partial(_is_own, owned, log)) for log in logs]


def _is_own(owned: dict[str, Log], log: Log, tab: str) -> bool:
    return owned.get(tab) is log


def _owners(tabs: Sequence[str], logs: Sequence[Log]) -> dict[str, Log]:
    """The [[log]] of each tab: the first that names it, else the first that names none."""
    owned = {}
    for tab in tabs:
        naming = [log for log in logs if log.tab and fnmatch(tab.strip().casefold(), log.tab.strip().casefold())]
        owner = next(iter([*naming, *(log for log in logs if not log.tab)]), None)
        if owner is not None:
            owned[tab] = owner
    return owned


def _left_tabs(data: bytes, name: str, shop: Shop) -> list[str]:
    """The tabs of a workbook that no [[log]] reads, where its [[log]]s name tabs."""
    matching = [log for log in shop.logs if _matches(log, name)]
    if not any(log.tab for log in matching):
        return []
    tabs = tab_names(data)
    owned = _owners(tabs, matching)
    return [tab for tab in tabs if tab not in owned]


def form_of(name: str, shop: Shop) -> Form:
    """What the header of a log of this name looks like. FileProblem where no [[log]] matches."""
    log = log_for(name, shop)
    return _form(Headings(shop, log), log)


def cell_of(data: bytes, name: str, shop: Shop, line: int, column: str) -> tuple[str, str]:
    """The heading as typed and the text of one cell of a log; FileProblem where there is no such cell."""
    found: list[Table] = []
    for log, tabs in logs_of(data, name, shop):
        found += read_tables(data, name, _form(Headings(shop, log), log), tabs).tables
    return heading_of(found, line, column, name)


def headings_in(data: bytes, name: str, shop: Shop) -> dict[str, str]:
    """What the heading of each column of a log means, by the heading as typed; columns that nobody has mapped by their
    own heading.
    """
    out: dict[str, str] = {}
    for log, tabs in logs_of(data, name, shop):
        headings = Headings(shop, log)
        for table in read_tables(data, name, _form(headings, log), tabs).tables:
            for column in headings.table([cell.strip() for cell in table.header], name).all:
                out.setdefault(column.heading, column.meaning if column.field != "other" else column.heading)
    return out


def rows_in(data: bytes, name: str, shop: Shop) -> dict[int, dict[str, str]]:
    """The cells of every row of a log, by line and heading as typed."""
    out: dict[int, dict[str, str]] = {}
    for log, tabs in logs_of(data, name, shop):
        for table in read_tables(data, name, _form(Headings(shop, log), log), tabs).tables:
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


def _told(part: _Part, aside: pl.DataFrame, *, several: bool) -> pl.DataFrame:
    """tables.COLUMNS of one part of a file; of one tab among several they are of the tab's stage, where it has one."""
    if not several:
        return told_columns(part.found.tables, part.columns, aside, part.reading.log_id)
    lines = pl.concat([table.rows["line"] for table in part.found.tables]).implode()
    told = told_columns(part.found.tables, part.columns, aside.filter(pl.col("line").is_in(lines)), part.reading.log_id)
    own = pl.when((pl.col("stage") == "") & (pl.col("field") != "stage")).then(pl.lit(part.reading.log.stage))
    return told.with_columns(stage=own.otherwise("stage"))


def _sheet(parts: list[_Part]) -> Sheet:
    every = [rows for part in parts for rows in part.rows]
    visits = pl.concat([rows.visits for rows in every] or [tables.empty(VISIT_ROWS)])
    readings = pl.concat([frame for rows in every for frame in rows.readings] or [tables.empty(tables.READINGS)])
    faults = pl.concat([rows.faults for rows in every] or [tables.empty(tables.FAULTS)])
    reading = parts[0].reading
    for part in parts[1:]:
        reading.asides.questions += part.reading.asides.questions
        reading.asides.frames += part.reading.asides.frames
        for note in part.reading.notes:
            reading.note(note)
        for text, number in part.reading.counted.items():
            reading.count(number, text)
    for text, number in reading.counted.items():
        reading.note(f"{number} {text}")
    for note in oddities(visits):
        reading.note(note)
    aside = reading.asides.table(reading.log_id, reading.name)
    whole = aside.filter(pl.col("column") == "").height
    reading.progress(1.0, "read")
    return Sheet(
        visits,
        readings,
        faults,
        pl.concat([part.trials for part in parts]),
        aside,
        sum(table.rows.height for part in parts for table in part.found.tables)
        + sum(len(part.found.refused) for part in parts),
        whole,
        aside.height - whole,
        sum(part.found.passed_over for part in parts),
        reading.notes,
        all(part.reading.log.replaces == "same visits" for part in parts),
        pl.concat([_told(part, aside, several=len(parts) > 1) for part in parts]),
        covered(visits, reading.shop.shop.timezone),
    )
