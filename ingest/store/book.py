"""book.sqlite: what people decided, append-only. Limits on file, bench book, corrections, settled questions, and which
logs were loaded or unloaded.

`sequence` rises by one with every line, whatever its table. Lines are never changed or taken out, but for `forget`,
which takes a name out everywhere; what is no longer so is said by a later line.
"""

import sqlite3
from collections.abc import Collection, Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.store import seals
from ingest.store.problems import StoreProblem, of_database
from ingest.store.sqlite_tables import connect, create, fetch, insert, kind_of
from ingest.terms import tables
from ingest.terms.questions import ASKED_AGAIN, UNKNOWABLE

FILE = "book.sqlite"
FORMAT = 3  # of the book; an older one is brought up by whoever writes next

FEW = 500  # originals that are asked for by name
COPY = "copy"  # of a week that was reviewed: what was shown, as text
LOADS: dict[str, pl.DataType] = {  # which logs count: the latest line of a log says whether it is loaded
    "sequence": pl.Int64(),
    "at": tables.TIME,
    "who": pl.String(),
    "why": pl.String(),
    tables.LOG_ID: pl.String(),
    "sha256": pl.String(),
    "name": pl.String(),
    "what": pl.String(),  # loaded | unloaded
    "replaces": pl.String(),  # log_id of the log in whose place this one was loaded, or ''
}
SCHEMAS: dict[str, dict[str, pl.DataType]] = {
    "limits_on_file": tables.LIMITS_ON_FILE,
    "bench_book": tables.BENCH_BOOK,
    "targets_by_hand": tables.TARGETS_BY_HAND,
    "corrections": tables.CORRECTIONS,
    "settled": tables.SETTLED,
    "words": tables.WORDS,
    "weeks_reviewed": tables.WEEKS_REVIEWED | {COPY: pl.String()},
    "loads": LOADS,
}
VERDICTS = ("it is real", "keep held", "take new", UNKNOWABLE)
KINDS = (
    *("cause", "action", "done", "close", "reopen", "known", "note", "decision", "step"),
    *("signed off", "sign-off taken back", "caused by"),
)


def make(connection: sqlite3.Connection, schema: str = "main") -> None:
    """Make the tables of a new book, or bring an older one up, in an open connection: inside the transaction it may be
    in, else in one of its own. A book that is as it should be is only looked at: no lock is taken.
    """
    if _format(connection, schema) == FORMAT and not _lacking(connection, schema):
        return
    if connection.in_transaction:
        _made(connection, schema)
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        _made(connection, schema)
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def _made(connection: sqlite3.Connection, schema: str) -> None:
    for name, columns in SCHEMAS.items():
        create(connection, f"{schema}.{name}", columns)
    for name, column, kind in _lacking(connection, schema):
        connection.execute(f'ALTER TABLE {schema}.{name} ADD COLUMN "{column}" {kind}')
    connection.execute(f"CREATE TABLE IF NOT EXISTS {schema}.counter (last INTEGER NOT NULL)")
    connection.execute(f"INSERT INTO {schema}.counter SELECT 0 WHERE NOT EXISTS (SELECT 1 FROM {schema}.counter)")
    connection.execute(f"PRAGMA {schema}.user_version = {FORMAT}")


def _format(connection: sqlite3.Connection, schema: str = "main") -> int:
    """The format of a book, 0 of a new one or one from before formats had numbers; a newer one raises StoreProblem."""
    found = int(connection.execute(f"PRAGMA {schema}.user_version").fetchone()[0])
    if found > FORMAT:
        raise StoreProblem(
            f"{FILE} was written by a newer Truerun (format {found}; this one reads up to {FORMAT}). "
            "Nothing was touched: update Truerun."
        )
    return found


def _lacking(connection: sqlite3.Connection, schema: str) -> list[tuple[str, str, str]]:
    """Table, name and kind of the columns that a book does not have yet; of tables that are there."""
    lacking = []
    for name, columns in SCHEMAS.items():
        have = {row[1] for row in connection.execute(f"PRAGMA {schema}.table_info({name})")}
        lacking += [(name, column, kind_of(dtype)) for column, dtype in columns.items() if have and column not in have]
    return lacking


def append(
    connection: sqlite3.Connection,
    table: str,
    rows: pl.DataFrame,
    *,
    now: datetime,
    who: str = "",
    why: str = "",
    schema: str = "main",
) -> int:
    """Write rows (the columns of the table but sequence, at, who, why) into an open transaction; the sequence of the
    last line written.
    """
    connection.execute(f"UPDATE {schema}.counter SET last = last + ?", (rows.height,))
    last = int(connection.execute(f"SELECT last FROM {schema}.counter").fetchone()[0])
    first = last - rows.height + 1
    lines = rows.with_columns(
        pl.int_range(first, last + 1, dtype=pl.Int64).alias("sequence"),
        at=pl.lit(now, dtype=tables.TIME),
        who=pl.lit(who),
        why=pl.lit(why),
    )
    insert(connection, f"{schema}.{table}", tables.shaped(lines, SCHEMAS[table]))
    return last


def write(folder: Path, table: str, rows: pl.DataFrame, *, who: str, why: str, now: datetime) -> int:
    """Append lines to a table of the book and return the sequence of the last one; two writers at once wait for each
    other.
    """
    try:
        with closing(_locked(folder)) as connection:
            try:
                make(connection)
                last = append(connection, table, rows, now=now, who=who, why=why)
            except BaseException:
                connection.execute("ROLLBACK")
                raise
            connection.execute("COMMIT")
    except sqlite3.DatabaseError as fault:
        raise of_database(fault, folder, FILE) from fault
    seals.seal(folder, folder / FILE)
    return last


def _locked(folder: Path) -> sqlite3.Connection:
    """A connection that holds the book's write lock; of the file that stands in the folder once it has it, since a
    restore may have put another one there.
    """
    path = folder / FILE
    while True:
        connection = connect(path)
        try:
            connection.execute("PRAGMA cache_spill = OFF")
            here = path.stat().st_ino if path.exists() else None
            connection.execute("BEGIN IMMEDIATE")
            if here is None or (path.exists() and path.stat().st_ino == here):
                return connection
        except BaseException:
            connection.close()
            raise
        connection.close()


def write_limits(folder: Path, rows: pl.DataFrame, who: str, why: str, *, now: datetime) -> int:
    """Put limits on file: a row a stream (tables.LIMITS_ON_FILE but sequence, at, who, why); n 0 takes them off."""
    return write(folder, "limits_on_file", rows, who=who, why=why, now=now)


def write_target(folder: Path, row: dict[str, object], who: str, why: str = "", *, now: datetime) -> int:
    """Set a target by hand (tables.TARGETS_BY_HAND but sequence, at, who, why); without ends it is taken back."""
    strangers = set(row) - set(tables.TARGETS_BY_HAND)
    if strangers:
        raise ValueError(f"a target has no column {', '.join(sorted(strangers))}")
    return write(
        folder,
        "targets_by_hand",
        pl.DataFrame({name: [value] for name, value in row.items()}),
        who=who,
        why=why,
        now=now,
    )


def write_entry(folder: Path, kind: str, text: str, who: str, why: str = "", *, now: datetime, **about: object) -> int:
    """Write one line of the bench book; `about` = its stream, opening reading, owner, dates (columns of
    tables.BENCH_BOOK).
    """
    if kind not in KINDS:
        raise ValueError(f"the bench book has no entry {kind!r}; wanted one of {', '.join(KINDS)}")
    strangers = set(about) - set(tables.BENCH_BOOK)
    if strangers:
        raise ValueError(f"the bench book has no column {', '.join(sorted(strangers))}")
    row = pl.DataFrame({"kind": [kind], "text": [text]} | {name: [value] for name, value in about.items()})
    return write(folder, "bench_book", row, who=who, why=why, now=now)


def read(folder: Path, *, up_to: int | None = None) -> dict[str, pl.DataFrame]:
    """Every table of the book by name, in the order written, to the line `up_to`; empty tables where there is no book
    yet.
    """
    with reading(folder) as connection:
        return {name: lines(connection, name, up_to) for name in SCHEMAS}


class Said(dict[str, pl.DataFrame]):
    """The book's tables by name, but which logs were loaded, a line a log: those are read when somebody asks."""

    def __init__(self, folder: Path) -> None:
        with reading(folder) as connection:
            super().__init__({name: lines(connection, name) for name in SCHEMAS if name != "loads"})
        self._folder = folder

    def __missing__(self, name: str) -> pl.DataFrame:
        if name != "loads":
            raise KeyError(name)
        self[name] = loads(self._folder)
        return self[name]


def loads(folder: Path, shas: Collection[str] | None = None) -> pl.DataFrame:
    """LOADS alone: which logs were loaded and unloaded, in the order written; of all originals or of some."""
    with reading(folder) as connection:
        if shas is not None and len(shas) <= FEW:
            return lines(connection, "loads", where=f"sha256 IN ({', '.join('?' * len(shas))})", values=tuple(shas))
        found = lines(connection, "loads")
        return found if shas is None else found.filter(pl.col("sha256").is_in(list(shas)))


def verdicts(folder: Path) -> pl.DataFrame:
    """The verdicts that count (tables.SETTLED), as the book is now."""
    with reading(folder) as connection:
        return standing_verdicts(lines(connection, "settled"))


def counts(folder: Path, log_id: str) -> bool:
    """Does a log count, as the book is now?"""
    with reading(folder) as connection:
        return active_logs(lines(connection, "loads", where="log_id = ?", values=(log_id,))).height > 0


@contextmanager
def reading(folder: Path) -> Iterator[sqlite3.Connection | None]:
    """A connection that sees the book as it is now, None where there is no book yet."""
    if not (folder / FILE).exists():
        yield None
        return
    try:
        with closing(connect(folder / FILE, existing=True)) as connection:
            connection.execute("BEGIN")
            _format(connection)
            yield connection
    except sqlite3.DatabaseError as fault:
        raise of_database(fault, folder, FILE) from fault


def lines(
    connection: sqlite3.Connection | None,
    table: str,
    up_to: int | None = None,
    *,
    without: tuple[str, ...] = (),
    where: str = "TRUE",
    values: tuple[str, ...] = (),
) -> pl.DataFrame:
    """One table of the book, in the order written; `without` some columns, `where` (SQL, with `values`) some lines."""
    wanted = {name: dtype for name, dtype in SCHEMAS[table].items() if name not in without}
    if connection is None:
        return tables.empty(wanted)
    have = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
    schema = {name: dtype for name, dtype in wanted.items() if name in have}
    if not schema:  # made, but not yet written to
        return tables.empty(wanted)
    rest = f"FROM {table} WHERE sequence <= ? AND {where} ORDER BY sequence"
    return tables.shaped(fetch(connection, schema, rest, (2**62 if up_to is None else up_to, *values)), wanted)


def week_copy(folder: Path, sequence: int) -> str:
    """The copy of a week that stands in one line of weeks_reviewed; '' where there is none."""
    with reading(folder) as connection:
        if connection is None or not {row[1] for row in connection.execute("PRAGMA table_info(weeks_reviewed)")}:
            return ""
        row = connection.execute("SELECT copy FROM weeks_reviewed WHERE sequence = ?", (sequence,)).fetchone()
    return str(row[0] or "") if row else ""


def write_week(folder: Path, row: dict[str, object], who: str, *, now: datetime) -> int:
    """Keep a week as it was shown when somebody said that it was reviewed, or take that back (tables.WEEKS_REVIEWED and
    its copy, but sequence, at, who, why).
    """
    lines = pl.DataFrame({name: [value] for name, value in row.items()}, infer_schema_length=None)
    return write(folder, "weeks_reviewed", lines, who=who, why="", now=now)


def only_loads_since(folder: Path, sequence: int) -> bool:
    """Does every line after `sequence` tell of a log that came or went, and of nothing that a person decided?"""
    with reading(folder) as connection:
        if connection is None:
            return True
        there = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        return not any(
            connection.execute(f"SELECT 1 FROM {name} WHERE sequence > ? LIMIT 1", (sequence,)).fetchone()
            for name in there & SCHEMAS.keys() - {"loads"}
        )


def last_sequence(folder: Path) -> int:
    """The sequence of the newest line, 0 in an empty book."""
    with reading(folder) as connection:
        if connection is None:
            return 0
        try:
            return int(connection.execute("SELECT last FROM counter").fetchone()[0])
        except sqlite3.OperationalError as fault:
            if "no such table" not in str(fault):
                raise
            return 0


def active_logs(loads: pl.DataFrame) -> pl.DataFrame:
    """The logs that count (LOADS), in the order they were loaded."""
    latest = loads.sort("sequence").unique(tables.LOG_ID, keep="last", maintain_order=True)
    return latest.filter(pl.col("what") == "loaded").sort("sequence")


def standing_corrections(corrections: pl.DataFrame) -> pl.DataFrame:
    """The corrections that count: the latest of each cell, unless undone."""
    latest = corrections.sort("sequence").unique(
        [tables.LOG_ID, tables.LINE, "column"], keep="last", maintain_order=True
    )
    return latest.filter(~pl.col("undone").fill_null(False))


def standing_words(words: pl.DataFrame) -> pl.DataFrame:
    """What words mean (tables.WORDS): the latest of each field and word, unless undone."""
    latest = words.sort("sequence").unique(["field", "word"], keep="last", maintain_order=True)
    return latest.filter(~pl.col("undone").fill_null(False))


def standing_verdicts(settled: pl.DataFrame) -> pl.DataFrame:
    """The verdicts that count: the latest of each row or cell, unless it was taken back."""
    latest = settled.sort("sequence").unique([tables.LOG_ID, tables.LINE, "column"], keep="last", maintain_order=True)
    return latest.filter(pl.col("verdict") != ASKED_AGAIN)
