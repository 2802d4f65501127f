"""Answers kept beside the store as one text each, so that who opens the shop next has them at once: store/kept_texts.

Nothing hangs on the folder: it may be deleted at any time, and what of it is damaged or was written by other code is as
if it were not there. Who keeps a text makes the key of all that it hangs on. The newest stay.

Texts hold names, so `forget` deletes the folder; nobody who opened the shop before that adds to it afterwards.
"""

import sqlite3
from contextlib import closing, suppress
from hashlib import blake2b
from pathlib import Path

from ingest.store.worked_out import alone_in, name_of, stands, take_away
from ingest.store.writing import write_whole

FOLDER = "kept_texts"
MOST = 12  # texts that stay
LONGEST = 8 << 20  # bytes of one


class KeptTexts:
    """The texts kept with one shop, as one version of its store sees them."""

    def __init__(self, folder: Path, version: int, made: str) -> None:
        self._folder, self._version, self._made = folder, version, made
        self._root = folder / "store" / FOLDER

    def of(self, key: str) -> str | None:
        """The text kept under a key; None where none is."""
        try:
            data = (self._root / name_of(key)).read_bytes()
        except OSError:
            return None
        digest, _, rest = data.partition(b"\n")
        return rest.decode() if digest == _digest(key, rest) else None

    def keep(self, key: str, text: str) -> None:
        """Keep a text, if nobody is writing to the store and the version seen is still one of it."""
        rest = text.encode()
        if len(rest) > LONGEST:
            return
        with suppress(OSError, sqlite3.Error), closing(alone_in(self._folder)) as connection:
            if stands(connection, self._version, self._made):
                self._root.mkdir(exist_ok=True)  # not the store's own folder: who reads makes no store
                write_whole(self._root / name_of(key), _digest(key, rest) + b"\n" + rest, sure=False)
                self._tidy()

    def _tidy(self) -> None:
        for _, path in sorted((path.stat().st_mtime_ns, path) for path in self._root.iterdir())[:-MOST]:
            path.unlink()


def let_go(folder: Path) -> None:
    """Take all that is kept away."""
    take_away(folder / "store", FOLDER)


def _digest(key: str, rest: bytes) -> bytes:
    return blake2b(key.encode() + b"\0" + rest, digest_size=16).hexdigest().encode()
