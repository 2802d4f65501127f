"""Columns as files: what is kept under one key (store/kept_tables), read back.

A column was written whole, or *carried on* (store/keeping): then it is the rows of one written whole before and fresh
ones behind them, in an order that holds for all such columns of its table. A file is looked through by each process
once, as long as nobody touches it.
"""

import json
import mmap
import os
import shutil
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from hashlib import blake2b
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from ingest.store.numbers import Numbers
from ingest.store.runs import Runs

SAID = "said.json"  # of each folder: what is in it
FORMAT = 5  # of what is written there
MANY = 10_000  # files of which sums are known
_SUMS: dict[tuple[int, int, int, int], int] = {}


class Damaged(Exception):
    """A kept column is not as it was written; it is to be worked out anew."""


@dataclass(frozen=True, eq=False)
class Kept:
    """What is kept under one key."""

    folder: Path  # of the shop
    path: Path
    said: dict[str, Any]
    _orders: dict[str, Runs | None] = field(default_factory=dict, repr=False)
    _held: dict[str, pl.Series] = field(default_factory=dict, repr=False)  # words of columns that have many
    _asked: dict[str, tuple[pl.Series, npt.NDArray[Any]]] = field(default_factory=dict, repr=False)

    @property
    def tables(self) -> list[str]:
        """Their names."""
        return list(self.said["tables"])

    def height(self, table: str) -> int:
        """Rows of a table."""
        return int(self.said["tables"][table]["height"])

    def columns(self, table: str) -> list[str]:
        """The columns of a table, in their order."""
        return list(self.said["tables"][table]["columns"])

    def column(self, table: str, name: str, rows: pl.Series | None = None) -> pl.Series:
        """A column of a table, or some rows of it in the order given. Damaged where it is not as it was written, which
        the store's log says then.
        """
        numbers = self.numbers(table, name, rows)
        with self._minding():
            return numbers.column(name)

    def numbers(self, table: str, name: str, rows: pl.Series | None = None) -> Numbers:
        """The same as the numbers that it is held by."""
        if name not in self.said["tables"][table]["columns"]:
            raise pl.exceptions.ColumnNotFoundError(name)
        with self._minding():
            order = self.order(table) if self.carries_on(table, name) else None
            if order is None:
                whole = self._whole(table, name, copied=rows is None)
                return whole if rows is None else whole.at(rows.to_numpy())
            below, above = self._whole(table, name).alike(self._fresh(table, name))
            if rows is None:
                return replace(below, numbers=order.laid(below.numbers, above.numbers))
            at, n = self._places(table, order, rows), len(below)
            own = np.flatnonzero(at >= n)
            found = below.numbers[np.minimum(at, n - 1)] if n else np.empty(len(at), dtype=below.numbers.dtype)
            found[own] = above.numbers[at[own] - n]
            return replace(below, numbers=found)

    def frame(self, table: str) -> pl.DataFrame:
        """A whole table."""
        return pl.DataFrame([self.column(table, name) for name in self.columns(table)])

    def height_below(self, table: str) -> int:
        """Rows of a table that were written whole last."""
        layer = self.said["tables"][table].get("layer")
        return int(layer["below"]) if layer else self.height(table)

    def carries_on(self, table: str, name: str) -> bool:
        """Does a column stand in the order of its table? Not one written whole over a table that is carried on."""
        layer = self.said["tables"][table].get("layer")
        return not layer or name in layer["columns"]

    def order(self, table: str) -> Runs | None:
        """Where the rows of a table stand among those written whole last and, behind them, the fresh ones; None where
        all were written whole.
        """
        if table not in self._orders:
            with self._minding():
                layer = self.said["tables"][table].get("layer")
                self._orders[table] = Runs(*(self._array(each).copy() for each in layer["order"])) if layer else None
        return self._orders[table]

    def fresh(self, table: str, name: str) -> Numbers | None:
        """The fresh rows of a column; None where all was written whole."""
        layer = self.said["tables"][table].get("layer")
        if not layer or name not in layer["columns"]:
            return None
        with self._minding():
            return self._fresh(table, name)

    def files_of(self, table: str, name: str) -> list[Any]:
        """A column as SAID has it: what it is of, and where the rows that were written whole stand."""
        return list(self.said["tables"][table]["columns"][name])

    def _whole(self, table: str, name: str, *, copied: bool = False) -> Numbers:
        """The rows that were written whole; not copied they stand in a file, and are to be let go at once."""
        dtype, array, words = self.files_of(table, name)
        numbers = self._array(array)
        return Numbers(dtype, numbers.copy() if copied else numbers, self._words(words))

    def _fresh(self, table: str, name: str) -> Numbers:
        array, words = self.said["tables"][table]["layer"]["columns"][name]
        return Numbers(self.files_of(table, name)[0], self._array(array), self._words(words))

    def _places(self, table: str, order: Runs, rows: pl.Series) -> npt.NDArray[Any]:
        """Where some rows of a table stand; the same rows are asked of one column after the other."""
        asked = self._asked.get(table)
        if asked is None or asked[0] is not rows:
            self._asked[table] = asked = rows, order.rows[rows.to_numpy()].astype(np.int64)
        return asked[1]

    def _array(self, said: list[Any]) -> npt.NDArray[Any]:
        """Numbers as SAID has them: width, file, where in it they begin, and how many."""
        width, file, begin, n = said
        if not n:
            return np.zeros(0, dtype=width)
        return np.frombuffer(self._sound(file), dtype=width, offset=begin, count=n)

    def _words(self, said: str | list[str] | None) -> pl.Series | None:
        if said is None or isinstance(said, list):
            return None if said is None else pl.Series("", said, dtype=pl.String())
        if said not in self._held:
            self._sound(said)
            self._held[said] = pl.read_ipc(self.path / said).to_series()
        return self._held[said]

    def _sound(self, name: str) -> mmap.mmap:
        """A file, looked through by this process once."""
        with (self.path / name).open("rb") as file:
            stat = os.fstat(file.fileno())
            data = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        if [stat.st_size, sum_of(data, stat)] != self.said["files"][name]:
            raise Damaged(f"{self.path.name}/{name} is not as it was written")
        return data

    @contextmanager
    def _minding(self) -> Iterator[None]:
        """Whatever goes wrong in reading is Damaged, and one line of the store's log."""
        try:
            yield
        except (OSError, ValueError, LookupError, TypeError, pl.exceptions.PolarsError, Damaged) as fault:
            note(self.folder, f"kept tables are worked out anew: {type(fault).__name__}: {fault}")
            shutil.rmtree(self.path, ignore_errors=True)
            raise Damaged(str(fault)) from fault


def sum_of(data: mmap.mmap, stat: os.stat_result) -> int:
    """A sum over all bytes of a file, against damage, not against anybody who means it; of a file that stands as it did
    when it was asked for last it is known.
    """
    found = _SUMS.get(_standing(stat))
    return known(stat, zlib.crc32(data)) if found is None else found


def known(stat: os.stat_result, found: int) -> int:
    """The sum of a file that is known now."""
    if len(_SUMS) >= MANY:
        _SUMS.clear()
    _SUMS[_standing(stat)] = found
    return found


def _standing(stat: os.stat_result) -> tuple[int, int, int, int]:
    return stat.st_dev, stat.st_ino, stat.st_mtime_ns, stat.st_size


def sealed(said: dict[str, Any]) -> bytes:
    """What SAID holds."""
    data = json.dumps(said).encode()
    return blake2b(data, digest_size=16).hexdigest().encode() + b"\n" + data


def unsealed(data: bytes) -> dict[str, Any] | None:
    """What SAID says; None where it is not as it was written, or by other code."""
    digest, _, rest = data.partition(b"\n")
    if blake2b(rest, digest_size=16).hexdigest().encode() != digest:
        return None
    found: dict[str, Any] = json.loads(rest)
    return found if found.get("format") == FORMAT else None


def note(folder: Path, line: str) -> None:
    """One line of the store's log."""
    with suppress(OSError), (folder / "store" / "program.log").open("a", encoding="utf-8") as file:
        file.write(f"{datetime.now(UTC).isoformat(timespec='seconds')} {' '.join(line.split())}\n")
