"""One process alone at work that changes a shop's folder as a whole: a restore, a forget. The lock goes with the
process, however it ends.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from ingest.store import sqlite_tables
from ingest.store.problems import Busy, of_database

FILE = ".alone"  # holds nothing: SQLite locks it in a way that every system knows


@contextmanager
def alone(folder: Path, *, patience: float | None = None) -> Iterator[None]:
    """Nobody else restores or forgets in this folder meanwhile; Busy, one line, where somebody does and goes on."""
    seconds = sqlite_tables.PATIENCE if patience is None else patience
    with closing(sqlite3.connect(folder / FILE, timeout=seconds, isolation_level=None)) as connection:
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as fault:
            if "locked" not in str(fault):
                raise of_database(fault, folder, FILE) from fault
            raise Busy(f"A restore or a forget is at work in {folder}; try again when it has ended") from fault
        yield


def nobody_is(folder: Path) -> bool:
    """Is nobody at such work now?"""
    try:
        with alone(folder, patience=0.0):
            return True
    except Busy:
        return False
