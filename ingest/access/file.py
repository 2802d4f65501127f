"""access.sqlite: the file that holds people, sessions, tablets and the trail; only its owner may read it.

What must not change when `forget` rewrites words (passwords as hashes, tokens as hashes) stands in it as bytes.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from ingest.store.problems import StoreProblem, of_database
from ingest.store.sqlite_tables import connect

FILE = "access.sqlite"
FORMAT = 1
TABLES = (
    "people (key TEXT PRIMARY KEY, name TEXT NOT NULL, role TEXT NOT NULL, tech TEXT NOT NULL, secret BLOB NOT NULL, "
    "made_at TEXT NOT NULL, signed_in_at TEXT NOT NULL)",
    "sessions (token BLOB PRIMARY KEY, person TEXT NOT NULL, tablet INTEGER NOT NULL, begun REAL NOT NULL, "
    "seen REAL NOT NULL)",
    "tablets (id INTEGER PRIMARY KEY, name TEXT NOT NULL, stage TEXT NOT NULL, made_by TEXT NOT NULL, "
    "enrolled_at TEXT NOT NULL, revoked_at TEXT NOT NULL, seen_at TEXT NOT NULL, waiting INTEGER NOT NULL, "
    "clock_off REAL NOT NULL)",
    "codes (code BLOB PRIMARY KEY, name TEXT NOT NULL, stage TEXT NOT NULL, made_by TEXT NOT NULL, "
    "until REAL NOT NULL)",
    "trail (id INTEGER PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL, role TEXT NOT NULL, what TEXT NOT NULL, "
    "about TEXT NOT NULL)",
)
OWNER_ONLY = 0o600


@contextmanager
def reading(folder: Path) -> Iterator[sqlite3.Connection | None]:
    """The file to read from; None where there is none of ours yet. StoreProblem where it is damaged or newer."""
    if not (folder / FILE).exists():
        yield None
        return
    try:
        with closing(connect(folder / FILE, existing=True)) as connection:
            yield connection if _known(connection) else None
    except sqlite3.Error as fault:
        raise of_database(fault, folder, FILE) from fault


@contextmanager
def writing(folder: Path) -> Iterator[sqlite3.Connection]:
    """The file to write into, made where it is not there: all of what is done within, or nothing."""
    try:
        only_the_owners(folder)
        with closing(connect(folder / FILE)) as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                if _known(connection) < FORMAT:
                    for table in TABLES:
                        connection.execute(f"CREATE TABLE IF NOT EXISTS {table}")
                    connection.execute(f"PRAGMA user_version = {FORMAT}")
                yield connection
            except BaseException:
                connection.execute("ROLLBACK")
                raise
            connection.execute("COMMIT")
    except sqlite3.Error as fault:
        raise of_database(fault, folder, FILE) from fault
    except OSError as fault:
        raise StoreProblem(f"{folder / FILE} could not be written ({fault.strerror or fault})") from fault


def only_the_owners(folder: Path) -> None:
    """Make the file, or what a copy made of it, readable by its owner only."""
    path = folder / FILE
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, OWNER_ONLY))
    if path.stat().st_mode & 0o077:
        path.chmod(OWNER_ONLY)


def wrong(folder: Path) -> str:
    """What is wrong with the file, in one line; '' where it is whole or not there."""
    try:
        with reading(folder) as connection:
            if connection is not None:
                told = connection.execute("PRAGMA quick_check").fetchone()[0]
                if told != "ok":
                    return str(told)
    except StoreProblem as problem:
        return str(problem)
    path = folder / FILE
    if os.name == "posix" and path.exists() and path.stat().st_mode & 0o077:
        return "others on this machine may read it"
    return ""


def _known(connection: sqlite3.Connection) -> int:
    found = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if found > FORMAT:
        raise StoreProblem(
            f"{FILE} was written by a newer Truerun (format {found}; this one reads up to {FORMAT}). Update Truerun."
        )
    return found
