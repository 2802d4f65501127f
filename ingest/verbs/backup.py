"""`backup`: one file of one moment of a shop's folder, made while people work: a zip of shop files, originals, book and
store, with their hashes.
"""

import hashlib
import json
import os
import sqlite3
import time
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from ingest.access import file as access
from ingest.store import book, index, ledger, originals, seals
from ingest.store.problems import StoreProblem, busy, of_database
from ingest.store.sqlite_tables import PATIENCE, connect

FORMAT = 1  # of the file; raised whenever an older Truerun could not restore it
LIST = "truerun-backup.json"
PLACE, KEPT, ENDING = "backups", 5, ".truerun"
SHOP_FILES = (
    "shop.toml", "shop.additions.toml", "specs.csv", "lots.csv", "changes.csv", "climate.csv", "published.json",
)  # fmt: skip
LEDGER = f"store/{ledger.FILE}"
DATABASES = (book.FILE, access.FILE, LEDGER)
_TRIES = 3


@dataclass(frozen=True)
class Backup:
    """A backup file and what stands in it."""

    path: Path
    made_at: datetime  # UTC
    why: str
    files: int
    logs: int
    bytes: int

    @property
    def automatic(self) -> bool:
        """Was it made before a verb, not by a person?"""
        return self.why != ""


def backup(folder: Path, path: Path, *, now: datetime, why: str = "") -> Backup:
    """Write the shop into one file, as it stands at one moment; people may go on working.

    path : must not be there yet.  why : the verb before which it is made, '' for a person's own.
    Raises StoreProblem, one line: no shop, the file is there already, no room.
    """
    if not (folder / "shop.toml").exists() and not (folder / book.FILE).exists():
        raise StoreProblem(f"No shop in {folder}; nothing was written")
    if path.exists():
        raise StoreProblem(f"{path} is there already; nothing was written: choose another name")
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for tries in range(_TRIES):
            try:
                told = _write(folder, unfinished, now=now, why=why, held=tries == _TRIES - 1)
                break
            except FileNotFoundError:  # an old version went off the disk meanwhile
                if tries == _TRIES - 1:
                    raise
        with unfinished.open("rb") as file:
            os.fsync(file.fileno())
        unfinished.replace(path)
    except OSError as fault:
        raise StoreProblem(
            f"{path} could not be written ({fault.strerror or fault}); there is no backup, and nothing was changed"
        ) from fault
    except sqlite3.Error as fault:
        raise of_database(fault, folder, book.FILE) from fault
    finally:
        unfinished.unlink(missing_ok=True)
    return Backup(path, now, why, len(told["files"]), int(told["logs"]), path.stat().st_size)


def before(verb: str, folder: Path, *, now: datetime, spare: Path | None = None) -> Backup | None:
    """The backup that is made by itself before a verb that takes something away; the last five are kept. None where
    there is nothing yet.
    """
    if not (folder / book.FILE).exists() and not (folder / originals.FOLDER).exists():
        return None
    stamp = f"{now.astimezone(UTC):%Y-%m-%d-%H%M%S}-before-{verb}"
    names = (folder / PLACE / f"{stamp}{more}{ENDING}" for more in ("", *(f"-{n}" for n in range(2, 1000))))
    made = backup(folder, next(path for path in names if not path.exists()), now=now, why=verb)
    for old in automatic(folder)[KEPT:]:
        with suppress(OSError):
            if spare is None or not old.samefile(spare):
                old.unlink()
    return made


def automatic(folder: Path) -> list[Path]:
    """The backups that were made before verbs, the newest first."""
    return sorted(
        (folder / PLACE).glob(f"*-before-*{ENDING}"),
        key=lambda path: (path.stat().st_mtime_ns, path.name),
        reverse=True,
    )


def standing(folder: Path) -> list[Path]:
    """Every backup in the shop's folder, by name."""
    return sorted(
        path
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith(".") and path.suffix != ".sqlite" and is_backup(path)
    )


def is_backup(path: Path) -> bool:
    """Is a file a backup of a shop?"""
    try:
        with path.open("rb") as file:
            if file.read(4) != b"PK\x03\x04":
                return False
        with zipfile.ZipFile(path) as held:
            return LIST in held.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


def _write(folder: Path, path: Path, *, now: datetime, why: str, held: bool) -> dict[str, Any]:
    """The file itself; `held`: nobody writes a version until it is whole, where without it files went away under our
    hands.
    """
    listed: dict[str, str] = {}
    if (folder / access.FILE).exists():  # what it holds of people is for the owner's eyes, in a backup too
        path.unlink(missing_ok=True)
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT, access.OWNER_ONLY))
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as out:
        with one_moment(folder, writers_wait=held) as at_hand:
            names = [
                name for name in _names(folder, at_hand.get(LEDGER)) if (folder / name).exists()
            ]  # of a damaged shop what there is
            small = [(name, (folder / name).read_bytes()) for name in _changing(folder)]
            taken = [
                (name, bytes(at_hand[name].serialize()) if name in at_hand else database(folder / name))
                for name in DATABASES
                if (folder / name).exists()
            ]
            logs = _logs(folder, at_hand.get(book.FILE))
            if held:
                _put_files(out, folder, names, listed)
        if not held:
            _put_files(out, folder, names, listed)
        for name, data in (*taken, *small):
            listed[name] = hashlib.sha256(data).hexdigest()
            out.writestr(name, data)
        told = {"format": FORMAT, "made_at": now.isoformat(), "why": why, "logs": logs, "files": listed}
        out.writestr(LIST, json.dumps(told, indent=1))
    return told


@contextmanager
def one_moment(folder: Path, *, writers_wait: bool = True) -> Iterator[dict[str, sqlite3.Connection]]:
    """No version and no line of the book is committed meanwhile; yields ledger and book by their path in the folder,
    but those that are not there or damaged: there is nobody to wait for.

    writers_wait : nobody works on one either; else a load goes on and waits with its commit alone.
    Whoever looks into them meanwhile does so through what is yielded: a writer that waits with its commit lets nobody
    new look, and each would wait for the other.
    """
    held = _both(folder, "BEGIN IMMEDIATE" if writers_wait else "BEGIN")
    try:
        yield held
    finally:
        for connection in held.values():
            connection.close()


def _both(folder: Path, begin: str) -> dict[str, sqlite3.Connection]:
    """Ledger and book in hand at once; what is in hand is let go while the other is not to be had, since its writer may
    wait for ours.
    """
    until = time.monotonic() + PATIENCE
    while True:
        held: dict[str, sqlite3.Connection] = {}
        for name in (LEDGER, book.FILE):
            if not (folder / name).exists():
                continue
            connection = connect(folder / name, existing=True, patience=max(0.0, until - time.monotonic()) * (not held))
            try:
                connection.execute(begin)
                connection.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()
            except sqlite3.DatabaseError as fault:
                connection.close()
                if "locked" in str(fault):
                    break
            else:
                held[name] = connection
        else:
            return held
        for connection in held.values():
            connection.close()
        if time.monotonic() > until:
            raise busy(folder)
        time.sleep(0.02)


def _names(folder: Path, held: sqlite3.Connection | None) -> Iterator[str]:
    """The files that never change once written."""
    yield from (f"store/{name}" for name in seals.noted_files(held) or seals.files_of(folder))
    for path in sorted((folder / originals.FOLDER).glob("*")):
        if path.is_file() and not path.name.startswith("."):
            yield f"{originals.FOLDER}/{path.name}"


def _changing(folder: Path) -> list[str]:
    """The small files that somebody may write again: shop files, cards, where a Delta table begins to read."""
    marks = [f"store/{table}/_delta_log/{seals.LAST_CHECKPOINT}" for table in ledger.DELTA]
    cards = [path.relative_to(folder).as_posix() for path in sorted((folder / "cards").rglob("*")) if path.is_file()]
    return [name for name in (*SHOP_FILES, *marks, *cards) if (folder / name).is_file()]


def _put_files(out: zipfile.ZipFile, folder: Path, names: list[str], listed: dict[str, str]) -> None:
    for name in names:
        data = (folder / name).read_bytes()
        listed[name] = hashlib.sha256(data).hexdigest()
        out.writestr(name, data, zipfile.ZIP_STORED if name.endswith(".parquet") else zipfile.ZIP_DEFLATED, 1)


def database(path: Path) -> bytes:
    """A database as it stands; a damaged one byte for byte."""
    try:
        with closing(connect(path, existing=True)) as connection:
            connection.execute("BEGIN")
            connection.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()
            return bytes(connection.serialize())
    except sqlite3.DatabaseError as fault:
        if "locked" in str(fault):
            raise
        return path.read_bytes()


def _logs(folder: Path, held: sqlite3.Connection | None) -> int:
    if held is not None:
        with suppress(sqlite3.Error):
            return book.active_logs(book.lines(held, "loads")).height
    return sum(noted.what == index.LOADED for noted in index.all_notes(folder))
