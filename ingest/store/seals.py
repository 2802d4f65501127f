"""Is what is kept as it was written? A hash of each database beside it, and in the ledger one of each file of the Delta
tables.

A seal holds SQLite's change counter and a hash of the file: the same counter and another hash is damage; another
counter is a commit after which nobody came to seal it, and only SQLite's own check speaks.
"""

import hashlib
import itertools
import json
import os
import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from ingest.store.problems import first_line
from ingest.store.sqlite_tables import connect
from ingest.store.writing import write_whole

COUNTER = slice(24, 28)  # bytes of an SQLite file that count its changes
LAST_CHECKPOINT = "_last_checkpoint"  # rewritten in place by the table's own library
MOST_READ = 20_000  # files that this process remembers to have read
IN_TURN = 4 << 20  # bytes of files it has read already that are read anew by whoever writes next, longest ago first
_read: dict[tuple[Path, str, int, int, int], int] = {}  # file, its hash, as what it stood there: which reading it was
_readings = itertools.count()
PIECE = 1 << 20  # bytes of a database that are read at a time
MOST_OPEN = 16  # databases that are kept open beside SQLite
_open: dict[tuple[int, int], int] = {}  # device and inode: descriptor
_opening = Lock()
DELTA = ("visits", "readings", "faults")


@dataclass(frozen=True)
class Wrong:
    """A file that is not as it was written."""

    path: str  # from the shop's folder
    how: str


def seal(folder: Path, path: Path) -> None:
    """Note how a database of the shop stands after a commit; a seal that cannot be written is no seal."""
    where = _seal_of(folder, path)
    if not where.parent.is_dir() or not path.exists():
        return
    try:
        with closing(connect(path, existing=True)) as connection:
            connection.execute("BEGIN")
            connection.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()
            write_whole(where, _coded(_stands(connection, path)), sure=False)
    except (OSError, sqlite3.Error):
        with suppress(OSError):
            where.unlink(missing_ok=True)


def wrong_with(folder: Path, path: Path, *, thorough: bool = False) -> str:
    """What is wrong with a database of the shop, '' for nothing.

    thorough : SQLite looks through it even where the seal is whole.
    Raises sqlite3.OperationalError where somebody holds it.
    """
    try:
        with closing(connect(path, existing=True)) as connection:
            connection.execute("BEGIN")
            connection.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()
            stands, sealed = _stands(connection, path), _sealed(folder, path)
            if (
                sealed is not None
                and sealed.get("counter") == stands["counter"]
                and sealed.get("sha256") != stands["sha256"]
            ):
                return "its bytes are not those that were written"
            if sealed == stands and not thorough:
                return ""
            found = str(
                connection.execute("PRAGMA quick_check(1)" if not thorough else "PRAGMA integrity_check(1)").fetchone()[
                    0
                ]
            )
            return "" if found == "ok" else first_line(found)
    except sqlite3.OperationalError as fault:
        if "locked" in str(fault):
            raise
        return first_line(fault)
    except (OSError, sqlite3.Error) as fault:
        return first_line(fault)


def _seal_of(folder: Path, path: Path) -> Path:
    return folder / "store" / f"{path.stem}.seal"


def _stands(connection: sqlite3.Connection, path: Path) -> dict[str, str]:
    """A database as it stands while a connection keeps others from writing there."""
    file = _beside(path)
    if file is None:
        data = connection.serialize()
        return {"counter": bytes(data[COUNTER]).hex(), "sha256": hashlib.sha256(data).hexdigest()}
    pages, size = (connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size"))
    found, at, end = hashlib.sha256(), 0, pages * size
    while at < end and (piece := os.pread(file, min(PIECE, end - at), at)):
        found.update(piece)
        at += len(piece)
    return {"counter": os.pread(file, COUNTER.stop, 0)[COUNTER].hex(), "sha256": found.hexdigest()}


def _beside(path: Path) -> int | None:
    """A descriptor of a database, three times as quick to read as through SQLite; None where it is read through that.

    It is never closed while the file has a name: closing any descriptor of a file lets go of all locks that this
    process has on it.
    """
    if not hasattr(os, "pread"):
        return None
    with _opening:
        for key, file in list(_open.items()):
            if not os.fstat(file).st_nlink:
                os.close(_open.pop(key))
        stat = path.stat()
        key = (stat.st_dev, stat.st_ino)
        if key not in _open and len(_open) < MOST_OPEN:
            _open[key] = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        return _open.get(key)


def _sealed(folder: Path, path: Path) -> dict[str, str] | None:
    """What a seal says, None where there is none that is as it was written."""
    try:
        data = _seal_of(folder, path).read_bytes()
        found = json.loads(data)["stands"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return found if isinstance(found, dict) and _coded(found) == data else None


def _coded(stands: dict[str, str]) -> bytes:
    """A seal with a hash of its own: a damaged seal is no seal, and says nothing about the database."""
    own = hashlib.sha256(json.dumps(stands).encode()).hexdigest()
    return json.dumps({"stands": stands, "own": own}).encode()


def make(connection: sqlite3.Connection) -> None:
    """The table of the files that make up the Delta tables."""
    connection.execute(
        "CREATE TABLE IF NOT EXISTS main.files (path TEXT PRIMARY KEY, size INTEGER NOT NULL, sha256 TEXT NOT NULL)"
    )


def note_files(connection: sqlite3.Connection, folder: Path) -> None:
    """Write into the ledger which files the Delta tables are made of; inside a writer's transaction, after its last
    write to them.
    """
    make(connection)
    known = dict(connection.execute("SELECT path, size FROM main.files").fetchall())
    there = files_of(folder)
    fresh = [(name, path) for name, path in there.items() if name not in known]
    connection.executemany("DELETE FROM main.files WHERE path = ?", [(name,) for name in known if name not in there])
    connection.executemany(
        "INSERT INTO main.files VALUES (?, ?, ?)", [(name, path.stat().st_size, hash_of(path)) for name, path in fresh]
    )


def files_of(folder: Path) -> dict[str, Path]:
    """The files of the Delta tables by their path from store/, those that never change once written."""
    store = folder / "store"
    found = [
        path for name in DELTA for pattern in ("*.parquet", "_delta_log/*") for path in (store / name).glob(pattern)
    ]
    return {path.relative_to(store).as_posix(): path for path in found if path.name[0] not in "._" and path.is_file()}


def noted_files(connection: sqlite3.Connection | None) -> list[str]:
    """The files that the newest version of a ledger names, by their path from store/; none where it cannot be read."""
    with suppress(sqlite3.Error):
        if connection is not None:
            return [name for (name,) in connection.execute("SELECT path FROM main.files ORDER BY path")]
    return []


def hash_of(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _wrong_bytes(path: Path, digest: str) -> str:
    try:
        return "" if hash_of(path) == digest else "its bytes are not those that were written"
    except OSError:
        return "missing"


def wrong_files(connection: sqlite3.Connection, folder: Path, *, anew: int | None) -> list[Wrong]:
    """The files of the Delta tables that are gone or not as they were written.

    anew : how many bytes are read again of files that this process has read already as they stand now, those first
    that were read longest ago; None: all.
    """
    try:
        noted = connection.execute("SELECT path, size, sha256 FROM main.files ORDER BY path").fetchall()
    except sqlite3.OperationalError as fault:
        if "no such table" not in str(fault):
            raise
        return []
    found, due = [], []
    for name, size, digest in noted:
        path = folder / "store" / name
        try:
            stat = path.stat()
        except OSError:
            found.append(Wrong(f"store/{name}", "missing"))
            continue
        seen = (path, digest, stat.st_ino, stat.st_mtime_ns, stat.st_ctime_ns)
        if stat.st_size != size:
            found.append(Wrong(f"store/{name}", f"{stat.st_size} bytes of {size}"))
        else:
            due.append((_read.get(seen, -1), size, name, seen))
    left = anew
    for reading, size, name, seen in sorted(due):
        if reading >= 0 and left is not None:
            if left <= 0:
                break
            left -= size
        wrong = _wrong_bytes(seen[0], seen[1])
        if wrong:
            found.append(Wrong(f"store/{name}", wrong))
            _read.pop(seen, None)
        else:
            _read[seen] = next(_readings)
    found.sort(key=lambda wrong: wrong.path)
    if len(_read) > MOST_READ:
        for _, old in sorted((reading, seen) for seen, reading in list(_read.items()))[: len(_read) - MOST_READ]:
            _read.pop(old, None)
    for table in DELTA:
        last = folder / "store" / table / "_delta_log" / LAST_CHECKPOINT
        try:
            if last.exists():
                json.loads(last.read_bytes())
        except (OSError, ValueError):
            found.append(Wrong(f"store/{table}/_delta_log/{LAST_CHECKPOINT}", "not readable"))
    return found
