"""One log file to the rows it holds, before it meets the store: pure, reads no clock; of a long file the rows wait on
disk, where the caller says.
"""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache, partial
from pathlib import Path

import polars as pl
import polars.selectors as cs

from ingest.reading.as_above import as_above
from ingest.reading.columns_told import counted_columns, told_columns
from ingest.reading.corrections import laid_over
from ingest.reading.days import covered
from ingest.reading.files import tables_in_pieces
from ingest.reading.headings import NO_STAGE, Columns, Headings, missing, plain
from ingest.reading.in_buckets import Buckets
from ingest.reading.meant_rows import heading_missing, meant_rows
from ingest.reading.measurement_rows import read_measurements, visit_keys
from ingest.reading.numbered_anew import numbered_anew
from ingest.reading.oddities import oddities, typed_one_way
from ingest.reading.on_disk import Data, is_workbook, sha256
from ingest.reading.pieces import KINDS, Pieces
from ingest.reading.replaced import without_replaced
from ingest.reading.row_of_visits import read_instruments
from ingest.reading.said_of_visits import said_of_visits
from ingest.reading.sheet import Progress, Reading, Sheet
from ingest.reading.tabular import Form, Table, Tables, joined_tables
from ingest.reading.trials import read_trials
from ingest.reading.visits import read_visits
from ingest.reading.which_log import left_tabs, log_for, logs_of
from ingest.reading.words import Words
from ingest.reading.workbook import Tabs, filled_rows
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms import tables
from ingest.terms.questions import IT_IS_REAL, FileProblem

AT_ONCE = 50_000  # rows of a table
BUCKET = 8_000_000  # bytes of a long file whose visits are gathered from rows all over it
LOOK = 0.1  # of the work of reading: looking a file over
__all__ = ["Sheet", "form_for", "log_id", "read_log"]


def log_id(data: Data) -> str:
    """The first 16 hexadecimal digits of the SHA-256 of a file as it came."""
    return (sha256(data) if isinstance(data, bytes) else data.digest)[:16]


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
    set aside (the future).  settled : tables.SETTLED; 'it is real' accepts an implausible cell.
    corrected : texts in place of the cells at (line, heading).  progress : told the share done and what is done.
    only : lines to be read, all others passed by.  on_disk : a folder in which the rows of a long file may wait
    (Sheet.pieces).  Raises FileProblem, one line: no serial, date or stage column, an empty or binary file, no matching
    [[log]], two headings for one column.
    """
    ident, real = log_id(data), _real(settled, log_id(data))
    parts, pieces, over = [], Pieces(on_disk), _Over(corrected or {}, None if only is None else sorted(only))
    for log, tabs in logs_of(data, name, shop):
        reading = Reading(name, ident, shop, log, Words(shop, log), as_of_limit, real)
        reading.progress = progress or reading.progress
        reading.progress(0.0, "reading")
        parts.append(_read_part(data, reading, tabs, over, pieces))
    _leave(parts, data)
    if left := left_tabs(data, name, shop):
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
        above = part.above.setdefault(table.header_line, {})  # of this table alone
        table = as_above(table, part.reading.log.same_as_above, above)
        rows = table.rows if self.only is None else table.rows.filter(pl.col("line").is_in(self.only))
        rows = rows.with_columns(cs.string().str.strip_chars())
        meant = meant_rows(replace(table, rows=rows), part.reading)
        part.passed_over += rows.height - meant.rows.height
        return typed_one_way(meant, part.reading)


@dataclass
class _Part:
    """What the tabs of one [[log]] hold, or the whole file."""

    reading: Reading
    columns: list[pl.DataFrame] = field(default_factory=list)  # columns_told of each piece
    trials: list[pl.DataFrame] = field(default_factory=list)
    lines: list[pl.Series] = field(default_factory=list)  # of the rows of each piece
    above: dict[int, dict[str, str]] = field(default_factory=dict)  # what stood last, a table by its header's line
    left: list[tuple[pl.Series, FileProblem]] = field(default_factory=list)  # lines of tables that cannot be read, why
    tables: int = 0  # that are read, or pieces of them
    rows_read: int = 0
    passed_over: int = 0


def _read_part(data: Data, reading: Reading, tabs: Tabs | None, over: _Over, pieces: Pieces) -> _Part:
    """One file, or of a workbook the tabs that one [[log]] is for, piece by piece."""
    headings, part = Headings(reading.shop, reading.log), _Part(reading)
    tell, read_so_far = reading.progress, 0
    found = tables_in_pieces(
        data, reading.name, form_for(headings, reading.log), tabs, lambda share: tell(LOOK * share, "looking it over")
    )
    if tabs is not None:
        found = _or_left(found, part, data, tabs)
    laid = partial(over.laid, part=part)
    if reading.log.shape == "measurement":  # its visits are gathered from rows all over the file
        found = _gathered(found, headings, part, pieces, laid, len(data))
    else:
        found = (replace(piece, tables=[laid(table) for table in piece.tables]) for piece in found)
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
            _read_table(table, headings, part, pieces, several=is_workbook(data))
            if tabs is not None:
                part.lines.append(table.rows["line"])
            read_so_far += size
    reading.progress = tell
    return part


def _or_left(found: Iterator[Tables], part: _Part, data: Data, tabs: Tabs) -> Iterator[Tables]:
    """The tables of the tabs that one [[log]] is for; tabs without a heading line are left, with all their rows."""
    try:
        yield from found
    except FileProblem as problem:
        part.left += [(lines, problem) for tab, lines in filled_rows(data) if tabs(tab)]


def _leave(parts: list[_Part], data: Data) -> None:
    """The rows of a workbook's tabs that cannot be read are set aside under the name of their tab, and why: the others
    are read. FileProblem where nothing else is there.
    """
    left = [(part, lines, problem) for part in parts for lines, problem in part.left]
    if left and not any(part.tables for part in parts):
        raise left[0][2]
    tabs = filled_rows(data) if left else []
    for part, lines, problem in left:
        tab = next((tab for tab, every in tabs if lines.len() and lines[0] in every), "")
        said = str(problem).removeprefix(f"{part.reading.name}: ")
        reason, _, wanted = said.partition("; wanted ")
        part.reading.asides.add_frame(
            lines.to_frame().with_columns(
                column=pl.lit(""), raw=pl.lit(f"tab {tab!r}"), reason=pl.lit(reason), wanted=pl.lit(wanted)
            )
        )
        part.reading.note(f"tab {tab!r} is left, {lines.len()} rows: {reason}; the other tabs are read")
        part.rows_read += lines.len()


def _gathered(
    found: Iterator[Tables], headings: Headings, part: _Part, pieces: Pieces, laid: Callable[[Table], Table], size: int
) -> Iterator[Tables]:
    """The rows of a file, laid, so that those of one visit come together: all at once, of a long one in parts."""
    if pieces.root is None or size <= BUCKET:
        whole = joined_tables(found)
        return iter([replace(whole, tables=[laid(table) for table in whole.tables])])

    def together(table: Table) -> pl.Series:
        try:
            return visit_keys(table.rows, _columns(headings, table, part.reading), part.reading)
        except FileProblem:  # said where it is read
            return pl.zeros(table.rows.height, pl.UInt64, eager=True)

    return Buckets(pieces.root, size // BUCKET + 1, together).sorted_in(found, laid)


def _size_of(rows: pl.DataFrame) -> int:
    """About how many bytes of a text file these rows take."""
    cells = rows.select(cs.string().str.len_bytes().sum()).row(0) if rows.height else ()
    return sum(int(each or 0) for each in cells) + rows.height * rows.width


def _within(tell: Progress, low: float, high: float) -> Progress:
    """The progress of a part of the work, from one share of it to another."""
    return lambda share, what: tell(low + (high - low) * share, what)


def _read_table(table: Table, headings: Headings, part: _Part, pieces: Pieces, *, several: bool) -> None:
    """One table, or a piece of one; of `several` one that cannot be read is left."""
    reading = part.reading
    try:
        own = _columns(headings, table, reading)
    except FileProblem as problem:
        if not several:
            raise
        part.left.append((table.rows["line"], problem))
        return
    part.tables += 1
    part.rows_read += table.rows.height
    table, own = said_of_visits(*without_replaced(table, own, reading), reading)
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
        rows = numbered_anew(read(table.rows.slice(first, step), own, reading), reading)
        pieces.add(rows.visits, rows.readings, rows.faults, table.header_line)
        reading.progress(1.0, f"line {table.rows['line'][-1] if table.rows.height else 1:,}")


def form_of(name: str, shop: Shop) -> Form:
    """What the header of a log of this name looks like. FileProblem where no [[log]] matches."""
    log = log_for(name, shop)
    return form_for(Headings(shop, log), log)


def _real(settled: pl.DataFrame | None, ident: str) -> pl.DataFrame:
    settled = tables.empty(tables.SETTLED) if settled is None else settled
    return (
        settled.filter((pl.col("log_id") == ident) & (pl.col("verdict") == IT_IS_REAL))
        .select("line", "column", "raw")
        .unique()
    )


def form_for(headings: Headings, log: Log) -> Form:
    """What the header of a log of this kind looks like."""
    dates = {"value"} if log.shape == "study" else {"date", "started_at", "finished_at"}
    listed = {plain(heading) for heading in log.headings}

    @lru_cache(maxsize=4096)
    def field(cell: str) -> str:
        return headings.read(cell).field

    def score(cells: Sequence[str]) -> int:
        fields = [name for cell in cells if (name := field(cell.strip())) not in ("other", "ignore")]
        found = set(fields)
        named = sum(plain(cell) in listed for cell in cells)  # 'Action mm' over two rows, where 'Action' alone would do
        if log.shape == "study":
            return 2 * len(fields) + named if {"study", "part", "value"} <= found else 0
        enough = found & {"serial", "lot"} and found & dates
        return 2 * len(fields) + named if enough else 0

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
    lacks = lacks or heading_missing(table, reading.log)
    if lacks:
        wanted = "a heading that says so, or one mapped under `headings` of this [[log]]"
        if lacks == NO_STAGE and reading.shop.logs:
            key = reading.shop.stages[-1].key
            wanted = f'stage = "{key}" or such in the [[log]] {reading.log.name!r} of shop.toml, or {wanted}'
        raise FileProblem(f"{reading.name}: {lacks}; wanted {wanted}")
    bare = [column.heading for column in columns.readings() if not column.stage]
    if reading.log.shape == "instrument" and bare and not reading.log.stage:
        raise FileProblem(
            f"{reading.name}: {bare[0]!r} names no stage; wanted 'relief @ final_inspection' under `headings`, or "
            "`stage` in this [[log]]"
        )
    for note in columns.notes:
        reading.note(note)
    return columns


def _told(part: _Part, aside: pl.DataFrame, *, several: bool) -> pl.DataFrame:
    """tables.COLUMNS of one part of a file; of one tab among several they are of the tab's stage, where it has one."""
    if not several:
        return told_columns(part.columns, aside, part.reading.log_id)
    lines = (pl.concat(part.lines) if part.lines else pl.Series(dtype=pl.Int64)).implode()
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
        gathered=any(part.reading.log.shape == "measurement" for part in parts),
        rows_held=sum(part.reading.copies for part in parts),
    )
