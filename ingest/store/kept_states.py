"""How charts stood, kept beside the store (`kept_files`), so that who judges the readings of a day judges those of that
day: store/kept_states.

What is kept are tables by name, as `tables_of` reads them.
"""

from collections.abc import Mapping
from io import BytesIO
from pathlib import Path

import polars as pl

from ingest.store.kept_files import KeptFiles
from ingest.store.worked_out import take_away

FOLDER = "kept_states"
MOST = 4  # states that stay: of the shop as it is typed, and as its people are shown; each has two
LONGEST = 256 << 20  # bytes of one
LENGTH = 8  # bytes that say how long a part is


class KeptStates:
    """The states kept with one shop, as one version of its store sees them."""

    def __init__(self, folder: Path, version: int, made: str) -> None:
        self._files = KeptFiles(folder, version, made, FOLDER, most=MOST, longest=LONGEST)

    def of(self, key: str) -> dict[str, pl.DataFrame] | None:
        """The tables kept under a key; None where none are."""
        data = self._files.of(key)
        return None if data is None else tables_of(data)

    def keep(self, key: str, tables: Mapping[str, pl.DataFrame]) -> None:
        """Keep tables, if nobody is writing to the store and the version seen is still one of it."""
        self._files.keep(key, bytes_of(tables))


def bytes_of(tables: Mapping[str, pl.DataFrame]) -> bytes:
    """Tables in one row of bytes: of each its name and its rows, with their lengths before them."""
    parts = []
    for name, rows in tables.items():
        file = BytesIO()
        rows.write_ipc(file)
        for part in (name.encode(), file.getvalue()):
            parts += [len(part).to_bytes(LENGTH, "little"), part]
    return b"".join(parts)


def tables_of(data: bytes) -> dict[str, pl.DataFrame]:
    """The tables of `bytes_of`."""
    parts, at = [], 0
    while at < len(data):
        end = at + LENGTH + int.from_bytes(data[at : at + LENGTH], "little")
        parts.append(data[at + LENGTH : end])
        at = end
    names, rows = (one.decode() for one in parts[::2]), (pl.read_ipc(BytesIO(one)) for one in parts[1::2])
    return dict(zip(names, rows, strict=True))


def let_go(folder: Path) -> None:
    """Take all that is kept away."""
    take_away(folder / "store", FOLDER)
