"""The rows of one file as they are read, piece by piece: in memory while they are few; of a long file on disk, so that
its rows take the memory of a piece, whatever its length.

Held of all rows are their marks: a few numbers that tell which may be of one visit. What rows say that share a visit
is read again from the pieces.
"""

import shutil
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from ingest.reading.on_disk import room
from ingest.terms import tables

VISIT_ROWS: dict[str, pl.DataType] = tables.VISITS | {
    "part": pl.String(),
    "ordinal": pl.Int64(),
    "text_hash": pl.Int64(),
}

MANY = 100_000  # visits and readings that are held in memory
NARROW = (  # of a visit: what tells it apart, and when it was
    "log_id", "line", "serial", "lot", "neck", "stage", "tech", "started_at", "finished_at", "time_known",
    "ordinal", "text_hash",
)  # fmt: skip
MARKS: dict[str, pl.DataType] = {  # a row a visit
    "line": pl.Int64(),
    "time": tables.TIME,  # started_at, else finished_at
    "begun": pl.Boolean(),  # is there a started_at
    "ordinal": pl.Int32(),
    "key": pl.UInt64(),  # of who, stage, time, tech and ordinal: rows of one visit share it, and hardly any others
}
LEFT_BEHIND = timedelta(days=1)  # after which pieces of a reading are nobody's any more
Frames = dict[str, pl.DataFrame]  # `visits`, `readings`, `faults`
KINDS = {"visits": VISIT_ROWS, "readings": tables.READINGS, "faults": tables.FAULTS}


def visit_hash(*, who: pl.Expr | str = "who", time: pl.Expr | str = "time") -> pl.Expr:
    """A number of who, stage, time and tech."""
    return pl.struct(
        pl.col(who) if isinstance(who, str) else who.alias("who"),
        "stage",
        pl.col(time) if isinstance(time, str) else time.alias("time"),
        "tech",
    ).hash()


def key_hash(visit: pl.Expr, ordinal: pl.Expr | str = "ordinal") -> pl.Expr:
    """What MARKS call `key`."""
    number = pl.col(ordinal) if isinstance(ordinal, str) else ordinal
    return pl.struct(visit.alias("visit"), number.cast(pl.Int64).alias("ordinal")).hash()


def marks_of(visits: pl.DataFrame) -> pl.DataFrame:
    """MARKS of visits (VISIT_ROWS) whose ordinals are known."""
    return _raw_marks(visits).select(*list(MARKS)[:-1], key=key_hash(pl.col("visit")))


def _raw_marks(visits: pl.DataFrame) -> pl.DataFrame:
    """MARKS of a piece with `visit`, `time_known` and `text_hash` in the place of `key`."""
    who = pl.when(pl.col("serial") == "").then("/" + pl.col("lot") + "/" + pl.col("neck")).otherwise(pl.col("serial"))
    time = pl.coalesce("started_at", "finished_at")
    return visits.select(
        "line",
        visit_hash(who=who, time=time).alias("visit"),
        time.alias("time"),
        pl.col("started_at").is_not_null().alias("begun"),
        "time_known",
        _of_a_serial(),
        pl.col("ordinal").cast(pl.Int32),
    )


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
        self._raw: list[pl.DataFrame] = []  # marks of each piece until all are there
        self._marks: pl.DataFrame | None = None
        self._serials: list[pl.Series] = []
        self._tables: list[tuple[int, int]] = []  # of each piece: of which table of the file, and its visits
        self.readings = 0

    @property
    def root(self) -> Path | None:
        """Where rows may wait on disk."""
        return self._root

    def add(self, visits: pl.DataFrame, readings: Sequence[pl.DataFrame], faults: pl.DataFrame, table: int) -> None:
        """One more piece, of a table of the file; not after any of them was asked for."""
        measured = pl.concat(readings) if readings else tables.empty(tables.READINGS)
        self._waiting.append({"visits": visits, "readings": measured, "faults": faults})
        self._raw.append(_raw_marks(visits))
        self._serials.append(visits["serial"].unique())
        self._tables.append((table, visits.height))
        self.readings += measured.height
        self._rows += visits.height + measured.height
        if self._root is not None and self._rows > MANY:
            self._lay_down(self._root)

    def _lay_down(self, root: Path) -> None:
        if self._folder is None:
            self._folder = room(root, self)
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
    def height(self) -> int:
        """Visits."""
        return sum(height for _, height in self._tables)

    @property
    def size(self) -> int:
        """Visits and readings."""
        return self.height + self.readings

    @property
    def marks(self) -> pl.DataFrame:
        """MARKS of all visits; `ordinal` is counted over all pieces of a table."""
        if self._marks is None:
            told = pl.concat(self._raw) if self._raw else _raw_marks(tables.empty(VISIT_ROWS))
            self._raw = []
            if len({table for table, _ in self._tables}) < len(self._tables):
                told = told.with_columns(self._ordinals(told))
            self._marks = told.select(*list(MARKS)[:-1], key=key_hash(pl.col("visit")))
        return self._marks

    def _ordinals(self, told: pl.DataFrame) -> pl.Series:
        table = pl.concat([pl.repeat(number, height, dtype=pl.Int64, eager=True) for number, height in self._tables])
        if told["time_known"].all():
            return pl.Series("ordinal", [0], dtype=pl.Int32).new_from_index(0, told.height)
        rows = told.select("line", "text_hash", "time_known", "visit", table=table)
        return _counted(rows, "table", "visit").cast(pl.Int32)

    def table_of(self, piece: int) -> int:
        """Of which table of the file a piece is."""
        return self._tables[piece][0]

    def serials(self) -> pl.Series:
        """Every serial once."""
        told = pl.concat(self._serials).unique() if self._serials else pl.Series("serial", [], dtype=pl.String)
        self._serials = [told]
        return told

    def __iter__(self) -> Iterator[Frames]:
        counted, first = self.marks["ordinal"], 0
        for number, (_, height) in enumerate(self._tables):
            if number < self._written:
                frames = {name: pl.read_parquet(self._path(number, name)) for name in KINDS}
            else:
                frames = self._waiting[number - self._written]
            mine = counted[first : first + height].cast(pl.Int64)
            yield frames | {"visits": frames["visits"].with_columns(mine)}
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

    def narrow(self, lines: pl.Series | None = None) -> pl.DataFrame:
        """NARROW of the visits of some lines, None: of all."""
        wanted = None if lines is None else lines.unique().rename("line").to_frame()
        parts = [
            visits if wanted is None else visits.join(wanted, on="line", how="semi", maintain_order="left")
            for visits in (self._visits(NARROW) if wanted is None or wanted.height else ())
        ]
        return pl.concat(parts) if parts else tables.empty(VISIT_ROWS).select(NARROW)

    def by_serial(self, rows: int) -> Iterator[pl.DataFrame]:
        """NARROW of all visits that have a start and a finish, about so many at a time, those of a serial together."""
        parts = self.height // rows + 1
        timed = pl.col("started_at").is_not_null() & pl.col("finished_at").is_not_null()
        for part in range(parts):
            mine = timed & (pl.col("serial").hash() % parts == part)
            near = [visits.filter(mine) for visits in self._visits(NARROW)]
            yield pl.concat([tables.empty(VISIT_ROWS).select(NARROW), *near])

    def _visits(self, columns: Sequence[str]) -> Iterator[pl.DataFrame]:
        counted, first = self.marks["ordinal"], 0
        for number, (_, height) in enumerate(self._tables):
            visits = (
                pl.read_parquet(self._path(number, "visits"), columns=list(columns))
                if number < self._written
                else self._waiting[number - self._written]["visits"].select(columns)
            )
            yield visits.with_columns(counted[first : first + height].cast(pl.Int64))
            first += height


def ordinal(visits: pl.DataFrame) -> pl.Series:
    """The how-manieth row of the same serial (or part), stage, day and tech, from 1, where only the day is known; else
    0. A row that says the very same as the one right above it is that row once more, and has its number; not of parts
    without a serial, of which many read alike.

    visits : line, serial, part, stage, started_at, tech, time_known, text_hash.
    """
    zero = pl.Series("ordinal", [0], dtype=pl.Int64).new_from_index(0, visits.height)
    if visits["time_known"].all():
        return zero
    key = ("serial", "part", "stage", "started_at", "tech")
    rows = visits.select("line", _of_a_serial(), "time_known", key=pl.struct(key))
    return _counted(rows, "key").cast(pl.Int64)


def _of_a_serial() -> pl.Expr:
    """The text_hash of rows with a serial, null of others."""
    return pl.when(pl.col("serial") != "").then("text_hash").alias("text_hash")


def _counted(rows: pl.DataFrame, *key: str) -> pl.Series:
    """Ordinals of rows: line, text_hash (null: like no other), time_known and what makes them one visit; 0 where the
    clock is known.
    """
    same = pl.all_horizontal(
        *(pl.col(name).eq_missing(pl.col(name).shift(1)) for name in key),
        pl.col("text_hash") == pl.col("text_hash").shift(1),
        pl.col("line") == pl.col("line").shift(1) + 1,
    ).fill_null(False)
    dated = pl.col("time_known").not_()
    told = rows.with_columns(fresh=~same & dated)
    place = pl.col("fresh").cast(pl.Int32).cum_sum().over(*key)
    return told.select(pl.when(dated).then(place).otherwise(0).alias("ordinal")).to_series()


def clear_old(root: Path, *, now: datetime) -> None:
    """Take away what a reading left behind that was killed."""
    for path in root.iterdir() if root.is_dir() else ():
        try:
            old = now - datetime.fromtimestamp(path.stat().st_mtime, UTC) > LEFT_BEHIND
        except OSError:  # gone between two moments
            continue
        if old:
            shutil.rmtree(path, ignore_errors=True)
