"""Answers that took long, kept beside the store so that nobody works them out twice: store/worked_out.

Nothing hangs on the file: it may be deleted at any time, and what of it is damaged or was written by other code is as
if it were not there. A line an answer: a digest of the rest, whether it is of a time that has passed, the key it was
given under, and what was answered. Who asks makes the key of everything that the answer hangs on.

Answers hold names, so `forget` deletes the file; nobody who opened the shop before that adds to it afterwards.
"""

import os
import shutil
import sqlite3
from contextlib import closing, suppress
from hashlib import blake2b
from pathlib import Path
from uuid import uuid4

from ingest.store import ledger
from ingest.store.writing import write_whole

FILE = "worked_out"
MOST = 48 << 20  # bytes; from here on what is not of the past goes, but for the newest
NEWEST = MOST // 4  # bytes of those
PAST, PRESENT = "past", "present"


class WorkedOut:
    """The answers kept with one shop, as one version of its store sees them."""

    def __init__(self, folder: Path, version: int, made: str) -> None:
        self.path = folder / "store" / FILE
        self._folder, self._version, self._made = folder, version, made
        self._held: dict[str, str] | None = None
        self._new: dict[str, tuple[str, str]] = {}

    def of(self, key: str) -> str | None:
        """What was answered under a key; None where nothing is kept."""
        if self._held is None:
            self._held = {key: text for _, key, text in read(self.path)}
        return self._held.get(key)

    def keep(self, key: str, text: str, *, past: bool) -> None:
        """Keep an answer, with the next `write`; past : of a time that has passed, so that it will be asked for again.

        The text holds no line feed.
        """
        if self._held is not None:
            self._held[key] = text
        self._new[key] = (PAST if past else PRESENT, text)

    def write(self) -> None:
        """Put what is new into the file, if nobody is writing to the store and the version seen is still one of it."""
        new, self._new = self._new, {}
        if not new:
            return
        with suppress(OSError, sqlite3.Error), closing(alone_in(self._folder)) as connection:
            if stands(connection, self._version, self._made):
                self._add([(kind, key, text) for key, (kind, text) in new.items()])

    def _add(self, rows: list[tuple[str, str, str]]) -> None:
        data = b"".join(line(*row) for row in rows)
        size = self.path.stat().st_size if self.path.exists() else 0
        if size + len(data) <= MOST:
            with self.path.open("ab") as file:
                file.write(b"\n" * (size > 0) + data)  # behind a line that was cut short too
            return
        every = {key: (kind, text) for kind, key, text in [*read(self.path), *rows]}
        kept, room = [], NEWEST
        for key, (kind, text) in reversed(every.items()):
            room -= 0 if kind == PAST else len(text)
            if kind == PAST or room > 0:
                kept.append(line(kind, key, text))
        data = b"".join(reversed(kept))
        write_whole(self.path, data if len(data) <= MOST else b"", sure=False)


def alone_in(folder: Path) -> sqlite3.Connection:
    """The ledger, held against writers: a name that is being taken out of the shop must not come back by us."""
    path = ledger.path_of(folder)
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=0, isolation_level=None)
    try:
        connection.execute("BEGIN IMMEDIATE")
    except BaseException:
        connection.close()
        raise
    return connection


def stands(connection: sqlite3.Connection, version: int, made: str) -> bool:
    """Is a version, made then, still one of the store?"""
    row = connection.execute("SELECT at FROM versions WHERE n = ?", (version,)).fetchone()
    return row is not None and row[0] == made


def line(kind: str, key: str, text: str) -> bytes:
    """One answer as the file has it."""
    rest = f"{kind} {key} {text}".encode()
    return blake2b(rest, digest_size=8).hexdigest().encode() + b" " + rest + b"\n"


def read(path: Path) -> list[tuple[str, str, str]]:
    """Kind, key and text of every line that is whole."""
    try:
        data = path.read_bytes()
    except OSError:
        return []
    found = []
    for each in data.split(b"\n"):
        digest, _, rest = each.partition(b" ")
        if rest and blake2b(rest, digest_size=8).hexdigest().encode() == digest:
            kind, key, text = rest.decode().split(" ", 2)
            found.append((kind, key, text))
    return found


def name_of(key: str) -> str:
    """The name under which something is kept that has a file or folder of its own."""
    return blake2b(key.encode(), digest_size=16).hexdigest()


def take_away(store: Path, name: str) -> None:
    """Take a folder of what is kept away; who is writing there now finds it gone and keeps nothing."""
    with suppress(FileNotFoundError):
        (store / name).rename(store / f".{name}.{uuid4().hex}")
    for path in store.glob(f".{name}.*"):
        shutil.rmtree(path)


def let_go(folder: Path) -> None:
    """Take the file away."""
    with suppress(FileNotFoundError):
        os.unlink(folder / "store" / FILE)
