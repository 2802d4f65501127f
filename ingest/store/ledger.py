"""store/ledger.sqlite: which logs the store holds, what was set aside, gauge trials, and one row a version.

A writer holds the ledger from its first statement to its last; readers see the newest version row until the writer's
commit. Rows of `logs`, `set_aside` and `gauge_trials` are kept with the versions between which they held (`since`,
`until`), so that an older version can be read whole.
"""

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.store import book, editions, seals, sqlite_tables
from ingest.store.problems import StoreProblem as StoreProblem
from ingest.store.problems import of_database
from ingest.store.sqlite_tables import LONG_PATIENCE, connect, create, fetch, insert
from ingest.terms import tables

FILE = "ledger.sqlite"
FORMAT = 4  # of the store; raised whenever what an older Truerun wrote can no longer be read as it stands
DELTA = ("visits", "readings", "faults")

LOGS: dict[str, pl.DataType] = tables.LOGS | {
    "sha256": pl.String(),
    "kind": pl.String(),  # kind of sheet
    "loaded": pl.Int64(),  # sequence of its loading
    "visits": pl.Int64(),  # different visits it tells of, counted or not
    "last_visit": tables.TIME,  # the start of the last of them
    "covers": pl.String(),  # the days it tells of (editions.as_text)
}
# Visits that are held otherwise than as plain accepted rows: what lost to another row, or took the place of one.
CONTESTED: dict[str, pl.DataType] = {
    tables.LOG_ID: pl.String(),
    tables.LINE: pl.Int64(),
    "who": pl.String(),
    tables.STAGE: pl.String(),
    "time": tables.TIME,
    tables.TECH: pl.String(),
    "ordinal": pl.Int64(),
    "text_hash": pl.Int64(),
    "status": pl.String(),  # set aside | changed
    "raw": pl.String(),
    "wanted": pl.String(),  # of a row set aside: what its question shows
}
# Visits that count nowhere in the log, since another row stands for them or a newer edition leaves them out: known, so
# that they can come back.
GIVEN: dict[str, pl.DataType] = {
    name: dtype for name, dtype in CONTESTED.items() if name not in ("status", "raw", "wanted")
}
MEETS: dict[str, pl.DataType] = {
    tables.LOG_ID: pl.String(),
    "other": pl.String(),
}  # logs that share a visit, however it came out
VERSIONED = {
    "logs": LOGS,
    "set_aside": tables.SET_ASIDE,
    "gauge_trials": tables.GAUGE_TRIALS,
    "columns": tables.COLUMNS,
}
CURRENT = {"contested": CONTESTED, "given": GIVEN, "meets": MEETS, "editions": editions.EDITIONS}


@dataclass(frozen=True)
class Version:
    """One row of `versions`: the store as it was when a writer had finished."""

    n: int
    tables: Mapping[str, int | None]  # version of each Delta table; None: not made yet
    book_sequence: int
    shop_files: str
    what: str
    at: datetime
    last_at: datetime | None  # the last taken_at on file
    visits: int  # rows of the table visits


_VERSION: dict[str, pl.DataType] = {
    "n": pl.Int64(),
    "visits_version": pl.Int64(),
    "readings_version": pl.Int64(),
    "faults_version": pl.Int64(),
    "book_sequence": pl.Int64(),
    "shop_files": pl.String(),
    "what": pl.String(),
    "at": tables.TIME,
    "last_at": tables.TIME,
    "visits": pl.Int64(),
}


def path_of(folder: Path) -> Path:
    """Where the ledger of a shop stands."""
    return folder / "store" / FILE


@contextmanager
def reading(folder: Path) -> Iterator[sqlite3.Connection | None]:
    """A connection that sees the newest whole version; None where there is no store yet."""
    if not path_of(folder).exists():
        yield None
        return
    try:
        with closing(connect(path_of(folder), existing=True)) as connection:
            connection.execute("BEGIN")
            yield connection
    except sqlite3.DatabaseError as fault:
        raise of_database(fault, folder, f"store/{FILE}") from fault


@contextmanager
def writing(folder: Path) -> Iterator[sqlite3.Connection]:
    """The only writer of a store, with the book at hand as `book`; both are committed as one, or neither.

    The first statement takes the ledger's write lock, as BEGIN IMMEDIATE would, but not the book's: a long load must
    not keep people from writing there.
    """
    path = path_of(folder)
    path.parent.mkdir(parents=True, exist_ok=True)
    with closing(_locked(folder)) as connection:
        try:
            yield connection
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        connection.execute("COMMIT")
    for each in (path, folder / book.FILE):
        seals.seal(folder, each)


def _locked(folder: Path) -> sqlite3.Connection:
    """A connection that holds the ledger's write lock; of the file that stands in the folder once it has it, since a
    restore may have put another one there.
    """
    path = path_of(folder)
    while True:
        connection = connect(path, patience=LONG_PATIENCE)
        try:
            here = path.stat().st_ino if path.exists() else None
            connection.execute(
                "PRAGMA cache_spill = OFF"
            )  # a large version must not keep readers out before its commit
            connection.execute("BEGIN IMMEDIATE")
            connection.execute("CREATE TABLE IF NOT EXISTS format (format INTEGER NOT NULL)")
            connection.execute("COMMIT")
            connection.execute("ATTACH ? AS book", (str(folder / book.FILE),))
            connection.execute(f"PRAGMA book.synchronous = {sqlite_tables.SYNCHRONOUS}")
            book.make(connection, "book")  # not within: whoever has looked at the book keeps others from writing there
            connection.execute("BEGIN")
            # the lock: nothing may be read before, or nobody would wait
            connection.execute("UPDATE main.format SET format = format")
            if here is None or (path.exists() and path.stat().st_ino == here):
                return connection
        except BaseException:
            connection.close()
            raise
        connection.close()


def free(folder: Path) -> None:
    """Busy, one line, where somebody writes in the shop now and goes on for longer than anybody should wait."""
    for path in (path_of(folder), folder / book.FILE):
        if not path.exists():
            continue
        try:
            with closing(connect(path, existing=True)) as connection:
                connection.execute("BEGIN IMMEDIATE")
        except sqlite3.DatabaseError as fault:
            raise of_database(fault, folder, path.relative_to(folder).as_posix()) from fault


def format_of(connection: sqlite3.Connection) -> int | None:
    """The format in which a store is written, None in a new one."""
    try:
        row = connection.execute("SELECT format FROM main.format").fetchone()
    except sqlite3.OperationalError as fault:
        if "no such table" not in str(fault):
            raise
        return None
    return int(row[0]) if row else None


def check_format(connection: sqlite3.Connection) -> bool:
    """Can this store be read as it stands? False: it is older, or new, and to be made from the originals. A newer one
    raises StoreProblem.
    """
    found = format_of(connection)
    if found is not None and found > FORMAT:
        raise StoreProblem(
            f"This store was written by a newer Truerun (format {found}; this one reads up to {FORMAT}). Nothing was "
            "touched: update Truerun, "
            "or move the folder store/ away to have it made again from the originals."
        )
    return found == FORMAT


def make(connection: sqlite3.Connection) -> None:
    """Make the tables of a new ledger, in place of an older one's."""
    for name in ("versions", "files", *VERSIONED, *CURRENT):
        connection.execute(f"DROP TABLE IF EXISTS main.{name}")
    create(connection, "main.versions", _VERSION)
    for name, schema in VERSIONED.items():
        create(connection, f"main.{name}", schema, "since INTEGER NOT NULL, until INTEGER")
        connection.execute(f"CREATE INDEX main.{name}_log ON {name} (log_id)")
    for name, schema in CURRENT.items():
        create(connection, f"main.{name}", schema)
        connection.execute(f"CREATE INDEX main.{name}_log ON {name} ({_log_of(name)})")
    connection.execute("CREATE INDEX main.given_time ON given (time)")
    connection.execute("CREATE TABLE IF NOT EXISTS main.format (format INTEGER NOT NULL)")
    connection.execute("DELETE FROM main.format")
    connection.execute("INSERT INTO main.format VALUES (?)", (FORMAT,))


def newest(connection: sqlite3.Connection, version: int | None = None) -> Version | None:
    """The newest version row (or the one asked for), None where there is none."""
    rest, values = (
        ("FROM main.versions ORDER BY n DESC LIMIT 1", ())
        if version is None
        else ("FROM main.versions WHERE n = ?", (version,))
    )
    rows = fetch(connection, _VERSION, rest, values)
    if rows.is_empty():
        return None
    row = rows.row(0, named=True)
    return Version(
        row["n"],
        {name: row[f"{name}_version"] for name in DELTA},
        row["book_sequence"],
        row["shop_files"],
        row["what"],
        row["at"],
        row["last_at"],
        row["visits"],
    )


def newest_mark(connection: sqlite3.Connection) -> tuple[int, str]:
    """Number of the newest version and when it was made, as it stands there: what every question asks first. (0, '')
    where there is none.
    """
    row = connection.execute("SELECT n, at FROM main.versions ORDER BY n DESC LIMIT 1").fetchone()
    return (row[0], str(row[1])) if row else (0, "")


def add_version(connection: sqlite3.Connection, version: Version) -> None:
    """Write the row that makes a version the newest."""
    row = {f"{name}_version": version.tables[name] for name in DELTA} | {
        "n": version.n,
        "book_sequence": version.book_sequence,
        "shop_files": version.shop_files,
        "what": version.what,
        "at": version.at,
        "last_at": version.last_at,
        "visits": version.visits,
    }
    insert(connection, "main.versions", pl.DataFrame([row], schema=_VERSION))


def held_rows(
    connection: sqlite3.Connection, name: str, n: int | None = None, log_ids: list[str] | None = None
) -> pl.DataFrame:
    """`logs`, `set_aside` or `gauge_trials` as they stood at version n (None: as they stand), of all logs or of
    some.
    """
    where, values = ("until IS NULL", []) if n is None else ("since <= ? AND (until IS NULL OR until > ?)", [n, n])
    if log_ids is not None:
        where, values = (f"{where} AND log_id IN ({', '.join('?' * len(log_ids))})"), [*values, *log_ids]  # type: ignore[list-item]
    return fetch(connection, VERSIONED[name], f"FROM main.{name} WHERE {where} ORDER BY rowid", values)


def close(connection: sqlite3.Connection, name: str, n: int, log_ids: list[str]) -> None:
    """The rows of some logs hold no longer from version n on; those that never held in a whole version go."""
    marks = ", ".join("?" * len(log_ids))
    connection.execute(f"DELETE FROM main.{name} WHERE since = ? AND log_id IN ({marks})", (n, *log_ids))
    connection.execute(f"UPDATE main.{name} SET until = ? WHERE until IS NULL AND log_id IN ({marks})", (n, *log_ids))


def add(connection: sqlite3.Connection, name: str, n: int, rows: pl.DataFrame) -> None:
    """Rows that hold from version n on."""
    insert(connection, f"main.{name}", rows.select(list(VERSIONED[name])).with_columns(since=pl.lit(n, dtype=pl.Int64)))


def close_lines(connection: sqlite3.Connection, n: int, log_id: str, lines: list[int], reason: str) -> None:
    """The questions of one reason on some lines of a log are asked no longer from version n on."""
    for start in range(0, len(lines), 500):
        some = lines[start : start + 500]
        where = f"log_id = ? AND reason = ? AND line IN ({', '.join('?' * len(some))})"
        connection.execute(f"DELETE FROM main.set_aside WHERE since = ? AND {where}", (n, log_id, reason, *some))
        connection.execute(
            f"UPDATE main.set_aside SET until = ? WHERE until IS NULL AND {where}", (n, log_id, reason, *some)
        )


def close_questions(connection: sqlite3.Connection, n: int, log_id: str, cells: pl.DataFrame) -> None:
    """The questions about some cells of a log (line, column; '' = the row) are asked no longer from version n on."""
    for line, column in cells.select("line", "column").iter_rows():
        where, values = 'log_id = ? AND line = ? AND "column" = ?', (log_id, line, column)
        connection.execute(f"DELETE FROM main.set_aside WHERE since = ? AND {where}", (n, *values))
        connection.execute(f"UPDATE main.set_aside SET until = ? WHERE until IS NULL AND {where}", (n, *values))


def drop(connection: sqlite3.Connection, name: str, log_ids: list[str]) -> None:
    """Take the rows of some logs out of a table of CURRENT."""
    marks = ", ".join("?" * len(log_ids))
    for column in {"meets": ("log_id", "other"), "editions": ("older", "newer")}.get(name, ("log_id",)):
        connection.execute(f"DELETE FROM main.{name} WHERE {column} IN ({marks})", log_ids)


def pairs(connection: sqlite3.Connection) -> pl.DataFrame:
    """Which logs are editions of which, and which share visits without being so (editions.EDITIONS)."""
    return fetch(connection, editions.EDITIONS, "FROM main.editions ORDER BY rowid")


def _log_of(name: str) -> str:
    return "older" if name == "editions" else "log_id"


def neighbours(connection: sqlite3.Connection, log_ids: set[str]) -> set[str]:
    """These logs and all that share visits with them, directly or through others: what has to be read again when one of
    them goes.
    """
    pairs = connection.execute("SELECT log_id, other FROM main.meets").fetchall()
    near: dict[str, set[str]] = {}
    for one, other in pairs:
        near.setdefault(one, set()).add(other)
        near.setdefault(other, set()).add(one)
    found, waiting = set(log_ids), list(log_ids)
    while waiting:
        fresh = near.get(waiting.pop(), set()) - found
        found |= fresh
        waiting += fresh
    return found
