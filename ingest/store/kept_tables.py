"""Tables that take long to work out, kept beside the store a file a column: store/kept_tables.

A process reads the columns it asks for, from a file that the system maps into memory, and nothing else. Nothing hangs
on the folder: it may be deleted at any time, and what of it is damaged or was written by other code is as if it were
not there. Who keeps something makes the key of all that it hangs on, and a *kin*: what two keys share of which the one
may be worked out from the other and from the rows that came or went between (`moved`).

Tables hold names, so `forget` deletes the folder; nobody who opened the shop before that adds to it afterwards.
"""

import json
import shutil
import sqlite3
import time
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import blake2b
from pathlib import Path
from typing import Any
from uuid import uuid4

import polars as pl
from deltalake.exceptions import DeltaError

from ingest.store.delta import KEPT, Table
from ingest.store.worked_out import alone_in, name_of, stands, take_away
from ingest.terms import tables
from ingest.terms.tables import Coded

FOLDER = "kept_tables"
SAID = "said.json"  # of each folder: what is in it
FORMAT = 2  # of what is written here
TURNS = 2  # versions that stay: the newest, and the one before it, which somebody may still be reading
ABANDONED = 3600  # seconds after which what somebody began to write is taken to be given up
SOME = 0.5  # of the rows of a table: where more stand in files that came or went, nobody looks what they say
FEW = 256  # words that stand in SAID itself
TEXTS = "texts"  # a column that was written as words and numbers, and is not one of categories
WHOLE = {str(dtype): dtype for dtype in (pl.Int64(), pl.Int32())}  # columns that are written as small as they fit
ROW = (tables.LOG_ID, tables.LINE, tables.STAGE)  # what names the visit of a row
SEEN = {"visits": tables.VISITS, "readings": tables.READINGS, "faults": tables.FAULTS}  # columns that anybody reads
MARKS: dict[str, pl.DataType] = {"_one": pl.UInt64(), "_other": pl.UInt64(), "_n": pl.Int64()}
Column = pl.Series | Coded
Given = Mapping[str, Mapping[str, Callable[[], Column]]]  # table -> column -> what makes it


class Damaged(Exception):
    """A kept column is not as it was written; it is to be worked out anew."""


@dataclass(frozen=True, eq=False)
class Kept:
    """What is kept under one key."""

    folder: Path  # of the shop
    path: Path
    said: dict[str, Any]
    _sound: set[str] = field(default_factory=set, repr=False)  # files that this process has read through

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

    def column(self, table: str, name: str) -> pl.Series:
        """A column of a table. Damaged where it is not as it was written, which the store's log says then."""
        found = self.written(table, name)
        return found.column() if isinstance(found, Coded) else found

    def written(self, table: str, name: str) -> Column:
        """A column as it is written: texts and categories as their words and numbers."""
        if name not in self.said["tables"][table]["columns"]:
            raise pl.exceptions.ColumnNotFoundError(name)
        with self._minding():
            dtype, *files = self.said["tables"][table]["columns"][name]
            parts = [self._read(file).alias(name) for file in files]
            if len(parts) == 2:
                return Coded(parts[0], parts[1], dtype == TEXTS)
            return parts[0].cast(WHOLE[dtype]) if dtype in WHOLE else parts[0]

    def frame(self, table: str) -> pl.DataFrame:
        """A whole table."""
        return pl.DataFrame([self.column(table, name) for name in self.columns(table)])

    def _read(self, file: str | list[str]) -> pl.Series:
        if isinstance(file, list):
            return pl.Series(file, dtype=pl.String)
        path = self.path / file
        if file not in self._sound:
            if [path.stat().st_size, _sum_of(path)] != self.said["files"][file]:
                raise Damaged(f"{self.path.name}/{file} is not as it was written")
            self._sound.add(file)
        return pl.read_ipc(path).to_series()

    @contextmanager
    def _minding(self) -> Iterator[None]:
        """Whatever goes wrong in reading is Damaged, and one line of the store's log."""
        try:
            yield
        except (OSError, ValueError, LookupError, TypeError, pl.exceptions.PolarsError, Damaged) as fault:
            _note(self.folder, f"kept tables are worked out anew: {type(fault).__name__}: {fault}")
            shutil.rmtree(self.path, ignore_errors=True)
            raise Damaged(str(fault)) from fault


class KeptTables:
    """The tables kept with one shop, as one version of its store sees them."""

    def __init__(self, folder: Path, version: int, made: str, visits: int, held: Mapping[str, Table]) -> None:
        self.visits = visits  # on file: by them one tells whether keeping pays
        self._folder, self._version, self._made, self._held = folder, version, made, held
        self._root = folder / "store" / FOLDER

    def of(self, key: str) -> Kept | None:
        """What is kept under a key; None where nothing is."""
        return self._opened(self._root / name_of(key), key)

    def newest(self, kin: str) -> Kept | None:
        """What was kept last under a key of that kin; None where nothing is."""
        for path in reversed(self._turns()):
            kept = self._opened(path)
            if kept is not None and kept.said["kin"] == kin:
                return kept
        return None

    def keep(self, key: str, kin: str, given: Given) -> Kept | None:
        """Write tables, a column at a time, and give them back as they are kept; None where they could not be kept:
        somebody is writing to the store, this version is none of it any more, the disk is full.
        """
        part = self._root / f".{uuid4().hex}"
        if not self._may_keep():  # asked before and behind: writing takes a while, the lock is held for a moment
            return self.of(key)
        try:
            self._root.mkdir(exist_ok=True)  # not the store's own folder: who reads makes no store
            part.mkdir()
            said = self._written(part, given) | {"key": key, "kin": kin}
            (part / SAID).write_bytes(_sealed(said))
            with closing(alone_in(self._folder)) as connection:
                if stands(connection, self._version, self._made):
                    with suppress(OSError):  # somebody else has kept the same meanwhile
                        part.rename(self._root / name_of(key))
                    self._tidy()
        except (OSError, sqlite3.Error, DeltaError):
            pass
        finally:
            shutil.rmtree(part, ignore_errors=True)
        return self.of(key)

    def _may_keep(self) -> bool:
        with suppress(sqlite3.Error), closing(alone_in(self._folder)) as connection:
            return stands(connection, self._version, self._made)
        return False

    def moved(self, kept: Kept, table: str) -> pl.DataFrame | None:
        """log_id, line and stage of the visits of which a row of a Delta table came or went since something was kept;
        None where that cannot be told, or only by reading most of the table.
        """
        before, now = set(kept.said["delta"][table]), set(self._held[table].files())
        place = self._held[table].path
        try:
            rows = {name: _height(place / name) for name in before | now}
            if sum(rows[name] for name in before ^ now) > SOME * sum(rows[name] for name in now):
                return None
            parts = [_marks(place, sorted(files), sign) for files, sign in ((before - now, -1), (now - before, 1))]
        except (OSError, pl.exceptions.PolarsError):
            return None
        told = pl.concat(parts).group_by("_one", "_other").agg(pl.col("_n").sum(), pl.col(*ROW).first())
        return told.filter(pl.col("_n") != 0).select(*ROW).unique()

    def rows_of(self, table: str, log_ids: list[str]) -> pl.DataFrame:
        """The rows of a Delta table that some logs brought, as they are on file."""
        if self._held[table].version is None:
            return tables.empty(SEEN[table])
        return self._held[table].scan().filter(pl.col(tables.LOG_ID).is_in(log_ids)).select(list(SEEN[table])).collect()

    def _written(self, part: Path, given: Given) -> dict[str, Any]:
        delta = {name: sorted(table.files()) for name, table in self._held.items()}
        files: dict[str, list[int]] = {}
        told: dict[str, Any] = {}
        for table, columns in given.items():
            told[table] = {"height": 0, "columns": {}}
            for name, made in columns.items():
                column = made()
                dtype, parts = _parts(column)
                told[table]["height"] = len(parts[-1])
                told[table]["columns"][name] = [dtype]
                for each in parts:
                    if each.dtype == pl.String() and len(each) <= FEW:
                        told[table]["columns"][name].append(each.to_list())
                        continue
                    file = f"{len(files)}.arrow"
                    each.to_frame().write_ipc(part / file)
                    files[file] = [(part / file).stat().st_size, _sum_of(part / file)]
                    told[table]["columns"][name].append(file)
        return {"format": FORMAT, "tables": told, "files": files, "delta": delta}

    def _turns(self) -> list[Path]:
        """What is kept, the oldest first."""
        with suppress(OSError):
            there = [path for path in self._root.iterdir() if not path.name.startswith(".")]
            return [path for _, path in sorted((path.stat().st_mtime_ns, path) for path in there)]
        return []

    def _opened(self, path: Path, key: str | None = None) -> Kept | None:
        try:
            data = (path / SAID).read_bytes()
        except OSError:
            return None
        said = _unsealed(data)
        if said is None or said.get("format") != FORMAT or (key is not None and said["key"] != key):
            _note(self._folder, f"kept tables are worked out anew: {path.name}/{SAID} is not as it was written")
            shutil.rmtree(path, ignore_errors=True)
            return None
        return Kept(self._folder, path, said)

    def _tidy(self) -> None:
        """Leave the newest; what somebody began to write and gave up goes too."""
        for path in self._turns()[:-TURNS]:
            shutil.rmtree(path, ignore_errors=True)
        for path in self._root.glob(".*"):
            with suppress(OSError):
                if time.time() - path.stat().st_mtime > ABANDONED:
                    shutil.rmtree(path, ignore_errors=True)


def let_go(folder: Path) -> None:
    """Take all that is kept away."""
    take_away(folder / "store", FOLDER)


def _height(path: Path) -> int:
    return int(pl.scan_parquet(path, glob=False).select(pl.len()).collect().item())


def _marks(place: Path, files: list[str], sign: int) -> pl.DataFrame:
    """Of each row of some files of a Delta table what it is of, two numbers for all that it says, and `sign`."""
    if not files:
        return pl.DataFrame(schema={name: tables.VISITS[name] for name in ROW} | MARKS)
    read = pl.scan_parquet([place / name for name in files], schema=KEPT[place.name], glob=False)
    rows = read.select(list(SEEN[place.name])).collect()
    one, other = (rows.hash_rows(seed=seed) for seed in (1, 2))
    return rows.select(*ROW).with_columns(_one=one, _other=other, _n=pl.lit(sign, dtype=pl.Int64))


def _parts(column: Column) -> tuple[str, list[pl.Series]]:
    """What type a column is of, and how it is written: words and numbers, whole numbers as small as they fit, or as it
    stands.
    """
    if isinstance(column, pl.Series) and column.dtype in (pl.Categorical(), pl.String()):
        column = Coded.of(column)
    if isinstance(column, Coded):
        return (TEXTS if column.texts else ""), [column.words, column.numbers]
    dtype = str(column.dtype)
    if dtype in WHOLE and len(column) > column.null_count():
        low, high = int(column.min()), int(column.max())  # type: ignore[arg-type]
        column = tables.narrow(column, high + 1) if low >= 0 and high < 2**32 else column
    return dtype, [column]


def _sum_of(path: Path) -> int:
    """A sum over all bytes of a file: against damage, not against anybody who means it."""
    found = 0
    with path.open("rb") as file:
        while data := file.read(1 << 20):
            found = zlib.crc32(data, found)
    return found


def _sealed(said: dict[str, Any]) -> bytes:
    data = json.dumps(said).encode()
    return blake2b(data, digest_size=16).hexdigest().encode() + b"\n" + data


def _unsealed(data: bytes) -> dict[str, Any] | None:
    digest, _, rest = data.partition(b"\n")
    if blake2b(rest, digest_size=16).hexdigest().encode() != digest:
        return None
    found: dict[str, Any] = json.loads(rest)
    return found


def _note(folder: Path, line: str) -> None:
    """One line of the store's log."""
    with suppress(OSError), (folder / "store" / "program.log").open("a", encoding="utf-8") as file:
        file.write(f"{datetime.now(UTC).isoformat(timespec='seconds')} {' '.join(line.split())}\n")
