"""Tables that take long to work out, kept beside the store a file a column: store/kept_tables. How they are written
says store/keeping, how they are read store/kept_columns.

A process reads the columns it asks for, from a file that the system maps into memory, and nothing else. Nothing hangs
on the folder: it may be deleted at any time, and what of it is damaged or was written by other code is as if it were
not there. Who keeps something makes the key of all that it hangs on, and a *kin*: what two keys share of which the one
may be worked out from the other and from the rows that came or went between (`moved`).

Tables hold names, so `forget` deletes the folder; nobody who opened the shop before that adds to it afterwards.
"""

import shutil
import sqlite3
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from contextlib import closing, suppress
from copy import copy
from pathlib import Path
from uuid import uuid4

import polars as pl
from deltalake.exceptions import DeltaError

from ingest.store.delta import KEPT, Table
from ingest.store.keeping import Given, Writing
from ingest.store.kept_columns import SAID, Damaged, Kept, note, sealed, unsealed
from ingest.store.numbers import NotHeld
from ingest.store.worked_out import alone_in, name_of, stands, take_away
from ingest.terms import tables

__all__ = ["SAID", "Damaged", "Kept", "KeptTables"]

FOLDER = "kept_tables"
TURNS = 2  # versions that stay: the newest, and the one before it, which somebody may still be reading
ABANDONED = 3600  # seconds after which what somebody began to write is taken to be given up
SOME = 0.5  # of the rows of a table: where more stand in files that came or went, nobody looks what they say
ROW = (tables.LOG_ID, tables.LINE, tables.STAGE)  # what names the visit of a row
NAMED = (*ROW, tables.SERIAL, "neck")  # and whom it is of
SEEN = {"visits": tables.VISITS, "readings": tables.READINGS, "faults": tables.FAULTS}  # columns that anybody reads
MARKS: dict[str, pl.DataType] = {"_one": pl.UInt64(), "_other": pl.UInt64(), "_n": pl.Int64()}


class KeptTables:
    """The tables kept with one shop, as one version of its store sees them."""

    def __init__(self, folder: Path, version: int, made: str, visits: int, held: Mapping[str, Table]) -> None:
        self.visits = visits  # on file: by them one tells whether keeping pays
        self._folder, self._version, self._made, self._held = folder, version, made, held
        self._root = folder / "store" / FOLDER
        self._over: Callable[[str, pl.DataFrame], pl.DataFrame] = lambda _, rows: rows
        self.laid_over: Callable[[], str] = (
            str  # what `over` hangs on beside the rows it is given, asked when it matters
        )

    def under(self, over: Callable[[str, pl.DataFrame], pl.DataFrame], hangs_on: Callable[[], str]) -> "KeptTables":
        """The same, with what is put over the rows of a table before anybody sees them."""
        veiled = copy(self)
        veiled._over, veiled.laid_over = over, hangs_on
        return veiled

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
        somebody is writing to the store, this version is none of it any more, the disk is full, a file holds no such
        column.
        """
        part = self._root / f".{uuid4().hex}"
        if not self._may_keep():  # asked before and behind: writing takes a while, the lock is held for a moment
            return self.of(key)
        try:
            self._root.mkdir(exist_ok=True)  # not the store's own folder: who reads makes no store
            part.mkdir()
            delta = {name: [table.version, *sorted(table.files())] for name, table in self._held.items()}
            said = Writing(part).tables(given) | {"key": key, "kin": kin, "delta": delta}
            (part / SAID).write_bytes(sealed(said))
            with closing(alone_in(self._folder)) as connection:
                if stands(connection, self._version, self._made):
                    with suppress(OSError):  # somebody else has kept the same meanwhile
                        part.rename(self._root / name_of(key))
                    self._tidy()
        except (OSError, sqlite3.Error, DeltaError, NotHeld):
            pass
        finally:
            shutil.rmtree(part, ignore_errors=True)
        return self.of(key)

    def _may_keep(self) -> bool:
        with suppress(sqlite3.Error), closing(alone_in(self._folder)) as connection:
            return stands(connection, self._version, self._made)
        return False

    def moved(self, kept: Kept, table: str) -> pl.DataFrame | None:
        """Of the visits of which a row of a Delta table came or went since something was kept log_id, line, stage and
        whom the row names (NAMED, as it is typed); None where that cannot be told, or only by reading most of the
        table.
        """
        came, went = self._changed(kept, table)
        place = self._held[table].path
        try:
            some, all_ = (_height(place, sorted(each)) for each in (came | went, self._held[table].files()))
            if some > SOME * all_:
                return None
            parts = [_marks(place, sorted(files), sign) for files, sign in ((went, -1), (came, 1))]
        except (OSError, pl.exceptions.PolarsError):
            return None
        told = pl.concat(parts).group_by("_one", "_other").agg(pl.col("_n").sum(), pl.exclude("_n").first())
        return told.filter(pl.col("_n") != 0).drop("_one", "_other", "_n").unique()

    def _changed(self, kept: Kept, table: str) -> tuple[set[str], set[str]]:
        """Files of a Delta table whose rows came and went since something was kept. By the table's log, where it tells
        how the files of then became those of now: then files that were only put together are none of them.
        """
        held, (since, *names) = self._held[table], kept.said["delta"][table]
        before, now = set(names), set(held.files())
        there, sign = set(before), Counter[str]()
        with suppress(OSError, ValueError, LookupError, TypeError):
            for name, added, changed in held.steps(since):
                (there.add if added else there.discard)(name)
                sign[name] += (1 if added else -1) if changed else 0
            if there == now:
                return {name for name, n in sign.items() if n > 0}, {name for name, n in sign.items() if n < 0}
        return now - before, before - now

    def rows_of(self, table: str, words: Iterable[str], column: str = tables.LOG_ID) -> pl.DataFrame:
        """The rows of a Delta table of some logs, or of which another column says one of some words, as they are on
        file.
        """
        if self._held[table].version is None:
            return tables.empty(SEEN[table])
        rows = self._held[table].scan().filter(pl.col(column).is_in(list(words)))
        return rows.select(list(SEEN[table])).collect()

    def shown(self, table: str, rows: pl.DataFrame) -> pl.DataFrame:
        """Rows of a Delta table with what is put over them before anybody sees them."""
        return self._over(table, rows)

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
        said = unsealed(data)
        if said is None or (key is not None and said["key"] != key):
            note(self._folder, f"kept tables are worked out anew: {path.name}/{SAID} is not as it was written")
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


def _height(place: Path, files: list[str]) -> int:
    return int(_scan(place, files).select(pl.len()).collect().item()) if files else 0


def _scan(place: Path, files: list[str]) -> pl.LazyFrame:
    """Some files of a Delta table."""
    return pl.scan_parquet([place / name for name in files], schema=KEPT[place.name], glob=False)


def _marks(place: Path, files: list[str], sign: int) -> pl.DataFrame:
    """Of each row of some files of a Delta table what it is of, two numbers for all that it says, and `sign`."""
    named = [name for name in NAMED if name in SEEN[place.name]]
    if not files:
        return pl.DataFrame(schema={name: tables.VISITS[name] for name in named} | MARKS)
    rows = _scan(place, files).select(list(SEEN[place.name])).collect()
    one, other = (rows.hash_rows(seed=seed) for seed in (1, 2))
    return rows.select(named).with_columns(_one=one, _other=other, _n=pl.lit(sign, dtype=pl.Int64))
