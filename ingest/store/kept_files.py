"""What was worked out, kept beside the store as a file each in a folder of its own.

Nothing hangs on the folder: it may be deleted at any time, and what of it is damaged or was written by other code is as
if it were not there. Who keeps something makes the key of all that it hangs on. The newest stay.

What is kept holds names, so `forget` deletes the folder; nobody who opened the shop before that adds to it afterwards.
"""

import sqlite3
from contextlib import closing, suppress
from hashlib import blake2b
from pathlib import Path

from ingest.store.worked_out import alone_in, name_of, stands
from ingest.store.writing import write_whole


class KeptFiles:
    """The files kept with one shop in one folder, as one version of its store sees them."""

    def __init__(self, folder: Path, version: int, made: str, place: str, *, most: int, longest: int) -> None:
        """most : files that stay; longest : bytes of one."""
        self._folder, self._version, self._made = folder, version, made
        self._root, self._most, self._longest = folder / "store" / place, most, longest

    def of(self, key: str) -> bytes | None:
        """What is kept under a key; None where nothing is."""
        try:
            data = (self._root / name_of(key)).read_bytes()
        except OSError:
            return None
        digest, _, rest = data.partition(b"\n")
        return rest if digest == _digest(key, rest) else None

    def keep(self, key: str, rest: bytes) -> None:
        """Keep it, if nobody is writing to the store and the version seen is still one of it."""
        if len(rest) > self._longest:
            return
        with suppress(OSError, sqlite3.Error), closing(alone_in(self._folder)) as connection:
            if stands(connection, self._version, self._made):
                self._root.mkdir(exist_ok=True)  # not the store's own folder: who reads makes no store
                write_whole(self._root / name_of(key), _digest(key, rest) + b"\n" + rest, sure=False)
                self._tidy()

    def _tidy(self) -> None:
        for _, path in sorted((path.stat().st_mtime_ns, path) for path in self._root.iterdir())[: -self._most]:
            path.unlink()


def _digest(key: str, rest: bytes) -> bytes:
    return blake2b(key.encode() + b"\0" + rest, digest_size=16).hexdigest().encode()
