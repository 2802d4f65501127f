"""The rows of one file as they are read, piece by piece: in memory while they are few; of a long file on disk, so that
its rows take the memory of a piece, whatever its length.

Beside the pieces stands what tells visits apart, of all rows at once: what only a whole file shows is worked out of it.
"""

import shutil
import tempfile
import weakref
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from ingest.terms import tables

VISIT_ROWS: dict[str, pl.DataType] = tables.VISITS | {
    "part": pl.String(),
    "ordinal": pl.Int64(),
    "text_hash": pl.Int64(),
}

MANY = 150_000  # visits and readings that are held in memory
NARROW = (  # of a visit: what tells it apart, and when it was
    "log_id", "line", "serial", "lot", "neck", "part", "stage", "tech", "started_at", "finished_at", "time_known",
    "ordinal", "text_hash",
)  # fmt: skip
LEFT_BEHIND = timedelta(days=1)  # after which pieces of a reading are nobody's any more
Frames = dict[str, pl.DataFrame]  # `visits`, `readings`, `faults`
KINDS = {"visits": VISIT_ROWS, "readings": tables.READINGS, "faults": tables.FAULTS}


class Pieces:
    """Visits (VISIT_ROWS), readings and faults of a file in the order they were read.

    on_disk : a folder in which many rows may wait, made where it is missing; None: all are held in memory.
    """

    def __init__(self, on_disk: Path | None = None) -> None:
        self._root = on_disk
        self._folder: Path | None = None  # taken away with this
        self._waiting: list[Frames] = []
        self._rows = 0  # that wait in memory
        self._written = 0  # pieces on disk
        self._narrow: list[pl.DataFrame] = []
        self._tables: list[tuple[int, int]] = []  # of each piece: of which table of the file, and its visits
        self._counted: pl.DataFrame | None = None
        self.readings = 0

    def add(self, visits: pl.DataFrame, readings: Sequence[pl.DataFrame], faults: pl.DataFrame, table: int) -> None:
        """One more piece, of a table of the file."""
        measured = pl.concat(readings) if readings else tables.empty(tables.READINGS)
        self._waiting.append({"visits": visits, "readings": measured, "faults": faults})
        self._narrow.append(visits.select(NARROW))
        self._tables.append((table, visits.height))
        self._counted = None
        self.readings += measured.height
        self._rows += visits.height + measured.height
        if self._root is not None and self._rows > MANY:
            self._lay_down(self._root)

    def _lay_down(self, root: Path) -> None:
        if self._folder is None:
            root.mkdir(parents=True, exist_ok=True)
            self._folder = Path(tempfile.mkdtemp(dir=root))
            weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
        for frames in self._waiting:
            for name, frame in frames.items():
                frame.write_parquet(self._path(self._written, name), compression="lz4", statistics=False)
            self._written += 1
        self._waiting, self._rows = [], 0

    def _path(self, number: int, name: str) -> Path:
        return (self._folder or Path()) / f"{number:06d}.{name}"

    @property
    def long(self) -> bool:
        """Do rows wait on disk?"""
        return self._written > 0

    @property
    def size(self) -> int:
        """Visits and readings."""
        return sum(height for _, height in self._tables) + self.readings

    def narrow(self) -> pl.DataFrame:
        """NARROW of all visits; `ordinal` is counted over all pieces of a table."""
        if self._counted is None:
            told = pl.concat(self._narrow) if self._narrow else tables.empty(VISIT_ROWS).select(NARROW)
            counts, first, begin, many = [], 0, 0, 0
            for place, (table, height) in enumerate(self._tables):
                first, many = first + height, many + 1
                if place + 1 == len(self._tables) or self._tables[place + 1][0] != table:
                    mine = told[begin:first]
                    counts.append(ordinal(mine) if many > 1 else mine["ordinal"])
                    begin, many = first, 0
            self._counted = told.with_columns(pl.concat(counts)) if counts else told
            self._narrow = [self._counted]
        return self._counted

    def __iter__(self) -> Iterator[Frames]:
        counted, first = self.narrow()["ordinal"], 0
        for number, (_, height) in enumerate(self._tables):
            if number < self._written:
                frames = {name: pl.read_parquet(self._path(number, name)) for name in KINDS}
            else:
                frames = self._waiting[number - self._written]
            yield frames | {"visits": frames["visits"].with_columns(counted[first : first + height])}
            first += height

    def whole(self) -> Frames:
        """All rows at once, in memory."""
        every = list(self)
        return {
            name: pl.concat([frames[name] for frames in every] or [tables.empty(kind)]) for name, kind in KINDS.items()
        }

    def of(self, lines: pl.Series) -> Frames:
        """The rows of some lines."""
        wanted = lines.unique().rename("line").to_frame()
        parts = [
            {name: frame.join(wanted, on="line", how="semi", maintain_order="left") for name, frame in frames.items()}
            for frames in (self if wanted.height else ())
        ]
        return {
            name: pl.concat([frames[name] for frames in parts] or [tables.empty(kind)]) for name, kind in KINDS.items()
        }


def ordinal(visits: pl.DataFrame) -> pl.Series:
    """The how-manieth row of the same serial (or part), stage, day and tech, from 1, where only the day is known; else
    0.
    """
    zero = pl.Series("ordinal", [0], dtype=pl.Int64).new_from_index(0, visits.height)
    dated = ~visits["time_known"]
    if not dated.any():
        return zero
    counted = visits.select("serial", "part", "stage", "started_at", "tech").filter(dated)
    places = counted.select(
        pl.int_range(1, pl.len() + 1, dtype=pl.Int64).over("serial", "part", "stage", "started_at", "tech")
    ).to_series()
    return zero.scatter(dated.arg_true(), places)


def clear_old(root: Path, *, now: datetime) -> None:
    """Take away what a reading left behind that was killed."""
    for path in root.iterdir() if root.is_dir() else ():
        try:
            old = now - datetime.fromtimestamp(path.stat().st_mtime, UTC) > LEFT_BEHIND
        except OSError:  # gone between two moments
            continue
        if old:
            shutil.rmtree(path, ignore_errors=True)
