"""One log file to the rows it holds, before it meets the store: pure, reads no clock; of a long file the rows wait on
disk, where the caller says.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from fnmatch import fnmatch
from functools import lru_cache, partial
from pathlib import Path

import polars as pl
import polars.selectors as cs

from ingest.reading.as_above import as_above
from ingest.reading.card_sheet import KIND, is_card
from ingest.reading.columns_told import counted_columns, told_columns
from ingest.reading.corrections import laid_over
from ingest.reading.days import covered
from ingest.reading.files import tables_in_pieces
from ingest.reading.headings import Columns, Headings, missing
from ingest.reading.in_buckets import Buckets
from ingest.reading.measurement_rows import read_measurements, visit_keys
from ingest.reading.oddities import oddities
from ingest.reading.on_disk import Data, sha256
from ingest.reading.pieces import KINDS, Pieces
from ingest.reading.row_of_visits import read_instruments
from ingest.reading.sheet import Progress, Reading, Sheet
from ingest.reading.tabular import Form, Table, Tables, joined_tables
from ingest.reading.trials import read_trials
from ingest.reading.visits import read_visits
from ingest.reading.words import Words
from ingest.reading.workbook import Tabs, tab_names
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms import tables
from ingest.terms.questions import IT_IS_REAL, FileProblem

AT_ONCE = 50_000  # rows of a table
BUCKET = 8_000_000  # bytes of a long file whose visits are gathered from rows all over it
LOOK = 0.1  # of the work of reading: looking a file over
__all__ = ["Sheet", "form_for", "log_for", "log_id", "logs_of", "read_log"]


def log_id(data: Data) -> str:
    """The first 16 hexadecimal digits of the SHA-256 of a file as it came."""
    return (sha256(data) if isinstance(data, bytes) else data.digest)[:16]


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
    data: Data,
    name: str,
    shop: Shop,
    *,
    as_of_limit: datetime | None = None,
    settled: pl.DataFrame | None = None,
    corrected: Mapping[tuple[int, str], str] | None = None,
    only: Collection[int] | None = None,
    progress: Progress | None = None,
    on_disk: Path | None = None,
) -> Sheet:
    """All that a log file says, with every row and cell that could not be accepted beside it.

    data : the file as it came.  name : its name, which chooses the [[log]].  as_of_limit : UTC; a row taken later is
    set aside (the future).
    settled : tables.SETTLED; 'it is real' accepts an implausible cell.
    corrected : texts in place of the cells at (line, heading).  progress : told the share done and what is done.
    only : lines to be read, all others passed by.  on_disk : a folder in which the rows of a long file may wait
    (Sheet.pieces).  Raises FileProblem, one line: no serial, date or stage column, an
    empty or binary file, no matching [[log]], two headings for one column.
    """
    ident, real = log_id(data), _real(settled, log_id(data))
    parts, pieces, over = [], Pieces(on_disk), _Over(corrected or {}, None if only is None else sorted(only))
    for log, tabs in logs_of(data, name, shop):
        reading = Reading(name, ident, shop, log, Words(shop, log), as_of_limit, real)
        reading.progress = progress or reading.progress
        reading.progress(0.0, "reading")
        parts.append(_read_part(data, reading, tabs, over, pieces))
    if left := _left_tabs(data, name, shop):
        parts[0].reading.note(f"tabs that no [[log]] reads, left: {', '.join(map(repr, left))}")
    return _sheet(parts, pieces)


@dataclass(frozen=True)
class _Over:
    """What lies over a file as it came: corrected cells, and the lines that are wanted."""

    corrected: Mapping[tuple[int, str], str]
    only: list[int] | None

    def laid(self, table: Table, part: "_Part") -> Table:
        """The table as it is to be read, its cells stripped."""
        if self.corrected:
            table = laid_over(table, self.corrected)
        table = as_above(table, part.reading.log.same_as_above, part.above)
        rows = table.rows if self.only is None else table.rows.filter(pl.col("line").is_in(self.only))
        return replace(table, rows=rows.with_columns(cs.string().str.strip_chars()))


@dataclass
class _Part:
    """What the tabs of one [[log]] hold, or the whole file."""

    reading: Reading
    columns: list[pl.DataFrame] = field(default_factory=list)  # columns_told of each piece
    trials: list[pl.DataFrame] = field(default_factory=list)
    lines: list[pl.Series] = field(default_factory=list)  # of the rows of each piece
    above: dict[str, str] = field(default_factory=dict)  # what stood last in the columns that go on from row to row
    rows_read: int = 0
    passed_over: int = 0


def _read_part(data: Data, reading: Reading, tabs: Tabs | None, over: _Over, pieces: Pieces) -> _Part:
    """One file, or of a workbook the tabs that one [[log]] is for, piece by piece."""
    headings, part = Headings(reading.shop, reading.log), _Part(reading)
    tell, read_so_far = reading.progress, 0
    found = tables_in_pieces(
        data, reading.name, form_for(headings, reading.log), tabs, lambda share: tell(LOOK * share, "looking it over")
    )
    if reading.log.shape == "measurement":  # its visits are gathered from rows all over the file
        found = _gathered(found, headings, part, pieces, over, len(data))
    for piece in found:
        for question in piece.refused:
            reading.asides.add(question)
        for note in piece.notes:
            reading.note(note)
        part.rows_read += len(piece.refused)
        part.passed_over += piece.passed_over
        for table in piece.tables:
            size = _size_of(table.rows)
            low, high = (LOOK + (1 - LOOK) * min(1.0, at / len(data)) for at in (read_so_far, read_so_far + size))
            reading.progress = _within(tell, low, high)
            _read_table(over.laid(table, part), headings, part, pieces)
            if tabs is not None:
                part.lines.append(table.rows["line"])
            read_so_far += size
    reading.progress = tell
    return part


def _gathered(
    found: Iterator[Tables], headings: Headings, part: _Part, pieces: Pieces, over: _Over, size: int
) -> Iterator[Tables]:
    """The rows of a file so that those which may be of one visit come together: all at once, of a long one in parts."""
    if pieces.root is None or size <= BUCKET:
        return iter([joined_tables(found)])

    def together(table: Table) -> pl.Series:
        return visit_keys(table.rows, _columns(headings, table, part.reading), part.reading)

    return Buckets(pieces.root, size // BUCKET + 1, together).sorted_in(found, partial(over.laid, part=part))


def _size_of(rows: pl.DataFrame) -> int:
    """About how many bytes of a text file these rows take."""
    cells = rows.select(cs.string().str.len_bytes().sum()).row(0) if rows.height else ()
    return sum(int(each or 0) for each in cells) + rows.height * rows.width


def _within(tell: Progress, low: float, high: float) -> Progress:
    """The progress of a part of the work, from one share of it to another."""
    return lambda share, what: tell(low + (high - low) * share, what)


def _read_table(table: Table, headings: Headings, part: _Part, pieces: Pieces) -> None:
    """One table, or a piece of one."""
    reading = part.reading
    own = _columns(headings, table, reading)
    part.rows_read += table.rows.height
    part.columns.append(counted_columns(table, own))
    if reading.log.shape == "study":
        part.trials.append(read_trials(table.rows, own, reading))
        return
    read = {"instrument": read_instruments, "measurement": read_measurements}.get(reading.log.shape, read_visits)
    step = table.rows.height if reading.log.shape == "measurement" else AT_ONCE
    tell = reading.progress
    for first in range(0, table.rows.height or 1, step or 1):
        low, high = (min(1.0, at / (table.rows.height or 1)) for at in (first, first + step))
        reading.progress = _within(tell, low, high)
        rows = read(table.rows.slice(first, step), own, reading)
        pieces.add(rows.visits, rows.readings, rows.faults, table.header_line)
        reading.progress(1.0, f"line {table.rows['line'][-1] if table.rows.height else 1:,}")


def logs_of(data: Data, name: str, shop: Shop) -> list[tuple[Log, Tabs | None]]:
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


def _left_tabs(data: Data, name: str, shop: Shop) -> list[str]:
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
    return form_for(Headings(shop, log), log)


def _real(settled: pl.DataFrame | None, ident: str) -> pl.DataFrame:
    if settled is None:
        settled = tables.empty(tables.SETTLED)
    return (
        settled.filter((pl.col("log_id") == ident) & (pl.col("verdict") == IT_IS_REAL))
        .select("line", "column", "raw")
        .unique()
    )


def form_for(headings: Headings, log: Log) -> Form:
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
        return told_columns(part.columns, aside, part.reading.log_id)
    lines = pl.concat(part.lines).implode()
    told = told_columns(part.columns, aside.filter(pl.col("line").is_in(lines)), part.reading.log_id)
    own = pl.when((pl.col("stage") == "") & (pl.col("field") != "stage")).then(pl.lit(part.reading.log.stage))
    return told.with_columns(stage=own.otherwise("stage"))


def _sheet(parts: list[_Part], pieces: Pieces) -> Sheet:
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
    held = pieces.whole() if not pieces.long else {k: tables.empty(v) for k, v in KINDS.items()}
    for note in oddities(pieces):
        reading.note(note)
    aside = reading.asides.table(reading.log_id, reading.name)
    whole = aside.filter(pl.col("column") == "").height
    reading.progress(1.0, "read")
    return Sheet(
        held["visits"],
        held["readings"],
        held["faults"],
        pl.concat([frame for part in parts for frame in part.trials] or [tables.empty(tables.GAUGE_TRIALS)]),
        aside,
        sum(part.rows_read for part in parts),
        whole,
        aside.height - whole,
        sum(part.passed_over for part in parts),
        reading.notes,
        all(part.reading.log.replaces == "same visits" for part in parts),
        pl.concat([_told(part, aside, several=len(parts) > 1) for part in parts]),
        covered(pieces.marks["time"], reading.shop.shop.timezone),
        pieces if pieces.long else None,
    )
