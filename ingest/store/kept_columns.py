"""Columns as files: what is kept under one key (store/kept_tables), read back.

A column was written whole, or *carried on* (store/keeping): then it is the rows of one written whole before and fresh
ones behind them, in an order that holds for all such columns of its table.
"""

import json
import shutil
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import blake2b
from pathlib import Path
from typing import Any

import polars as pl

from ingest.terms import tables
from ingest.terms.tables import Coded

SAID = "said.json"  # of each folder: what is in it
FORMAT = 4  # of what is written there
TEXTS = "texts"  # a column that was written as words and numbers, and is not one of categories
WHOLE = {str(dtype): dtype for dtype in (pl.Int64(), pl.Int32())}  # columns that are written as small as they fit


class Damaged(Exception):
    """A kept column is not as it was written; it is to be worked out anew."""


@dataclass(frozen=True, eq=False)
class Kept:
    """What is kept under one key."""

    folder: Path  # of the shop
    path: Path
    said: dict[str, Any]
    _sound: set[str] = field(default_factory=set, repr=False)  # files that this process has read through
    _orders: dict[str, pl.Series] = field(default_factory=dict, repr=False)

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
        if name not in self.said["tables"][table]["columns"]:
            raise pl.exceptions.ColumnNotFoundError(name)
        with self._minding():
            dtype, *parts = self._parts(table, name)
            fresh = self._fresh(table, name)
            if fresh is not None:
                if len(parts) == 2:
                    fresh = [fresh[0], _plus(fresh[1], len(parts[0]))]
                parts = [_joined(*both, rechunk=rows is None) for both in zip(parts, fresh, strict=True)]
                order = self.order(table)
                rows = order if rows is None else order.gather(rows)
            if rows is not None:
                parts[-1] = parts[-1].gather(rows)
            return read_back(dtype, parts).alias(name)

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

    def order(self, table: str) -> pl.Series:
        """Of each row of a table its place among the rows written whole last and, behind them, the fresh ones."""
        if table not in self._orders:
            with self._minding():
                layer = self.said["tables"][table].get("layer")
                own = pl.int_range(self.height(table), dtype=pl.UInt32, eager=True)
                self._orders[table] = self._read(layer["order"]) if layer else own
        return self._orders[table]

    def fresh(self, table: str, name: str) -> pl.Series | None:
        """The fresh rows of a column; None where all was written whole."""
        with self._minding():
            parts = self._fresh(table, name)
            dtype = self.said["tables"][table]["columns"][name][0]
            return None if parts is None else read_back(dtype, parts).alias(name)

    def files_of(self, table: str, name: str) -> list[Any]:
        """A column as SAID has it: what it is of, and where the rows that were written whole stand."""
        return list(self.said["tables"][table]["columns"][name])

    def _parts(self, table: str, name: str) -> list[Any]:
        dtype, *files = self.files_of(table, name)
        return [dtype, *(self._read(file) for file in files)]

    def _fresh(self, table: str, name: str) -> list[pl.Series] | None:
        layer = self.said["tables"][table].get("layer")
        if not layer or name not in layer["columns"]:
            return None
        *words, numbers = layer["columns"][name]
        return [*(self._read(each) for each in words), self._read(numbers, name)]

    def _read(self, file: str | list[str], name: str | None = None) -> pl.Series:
        if isinstance(file, list):
            return pl.Series(file, dtype=pl.String)
        path = self.path / file
        if file not in self._sound:
            if [path.stat().st_size, sum_of(path)] != self.said["files"][file]:
                raise Damaged(f"{self.path.name}/{file} is not as it was written")
            self._sound.add(file)
        return pl.read_ipc(path, columns=[name] if name else None).to_series()

    @contextmanager
    def _minding(self) -> Iterator[None]:
        """Whatever goes wrong in reading is Damaged, and one line of the store's log."""
        try:
            yield
        except (OSError, ValueError, LookupError, TypeError, pl.exceptions.PolarsError, Damaged) as fault:
            note(self.folder, f"kept tables are worked out anew: {type(fault).__name__}: {fault}")
            shutil.rmtree(self.path, ignore_errors=True)
            raise Damaged(str(fault)) from fault


def read_back(dtype: str, parts: list[pl.Series]) -> pl.Series:
    """A column of what it was written as."""
    if len(parts) == 2:
        return Coded(parts[0], parts[1], dtype == TEXTS).column()
    return parts[0].cast(WHOLE[dtype]) if dtype in WHOLE else parts[0]


def _plus(numbers: pl.Series, words: int) -> pl.Series:
    """Numbers of words that stand behind so many others."""
    moved = numbers.cast(pl.Int64) + words
    highest = moved.max()
    return tables.narrow(moved, (highest if isinstance(highest, int) else 0) + 1)


def _joined(one: pl.Series, other: pl.Series, *, rechunk: bool) -> pl.Series:
    """One behind the other; of whole numbers that were written in different widths in the wider."""
    if one.dtype != other.dtype:
        wider = pl.concat([one.clear().to_frame("n"), other.clear().to_frame("n")], how="vertical_relaxed")["n"].dtype
        one, other = one.cast(wider), other.cast(wider)
    return pl.concat([one.alias("n"), other.alias("n")], rechunk=rechunk)


def sum_of(path: Path) -> int:
    """A sum over all bytes of a file: against damage, not against anybody who means it."""
    found = 0
    with path.open("rb") as file:
        while data := file.read(1 << 20):
            found = zlib.crc32(data, found)
    return found


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
