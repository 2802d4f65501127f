"""The readings of all streams, end to end, a column at a time.

A reading stands in the stream of all techs and in that of who set it. Its columns are those of the story, which holds
each once: here stands only which row of the story it is, so that no column is in memory unless somebody asks for it.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints, Rows
from analysis.studies.story.columns import Columns

OF_STREAM = ("tech_set", "stream", "twin")  # columns that the story does not hold


@dataclass(frozen=True, eq=False)
class Readings:
    """Rows are readings of streams, stream after stream, each in time order; columns those of the story's readings,
    `stream`, `twin` (the row of the same reading in the stream of all techs) and `tech_set` (the tech of the stream).
    """

    source: Columns  # the story's readings
    row: Rows  # (n,) row of `source`
    stream: Rows  # (n,)
    twin: Rows  # (n,)
    techs: pl.Series  # (s,) of each stream, '' of all
    _ranks: dict[str, np.ndarray] = field(default_factory=dict, repr=False)  # of columns of `source`, once asked for

    @classmethod
    def of(cls, source: pl.DataFrame, stream: Ints, techs: pl.Series) -> "Readings":
        """Readings that stand in one stream each, in the order of the streams."""
        every = np.arange(len(source), dtype=np.int32)
        return cls(Columns.of(source), every, stream.astype(np.int32), every, techs)

    def __len__(self) -> int:
        return len(self.row)

    def __getitem__(self, name: str) -> pl.Series:
        return self.taken_at if name == "taken_at" else self._column(name, slice(None))

    @cached_property
    def taken_at(self) -> pl.Series:
        """When each was taken, UTC, shape (n,): what nearly every chart asks for."""
        return self._column("taken_at", slice(None))

    def ranks(self, name: str) -> Ints:
        """The place of each reading's word in a column of texts, in the order of texts, from 0, shape (n,)."""
        return np.asarray(self._ranks_told(name)[self.row], dtype=np.int64)

    def ranks_told(self, name: str) -> Ints:
        """The same of each of the story's readings."""
        return np.asarray(self._ranks_told(name), dtype=np.int64)

    def _ranks_told(self, name: str) -> np.ndarray:
        if name not in self._ranks:
            self._ranks[name] = self.source.numbers(name).small_ranks()
        return self._ranks[name]

    def told(self, name: str) -> Flags:
        """Which of the story's readings say something in a column of texts."""
        return self.source.numbers(name).told()

    def at(self, rows: Ints | Flags | slice, *names: str) -> pl.DataFrame:
        """Some readings in the order given: the columns named, or all."""
        wanted = names or (*self.source.columns, "tech_set", "stream", "twin")
        own = [name for name in wanted if name in OF_STREAM]
        others = [name for name in names if name not in OF_STREAM]
        taken = self.source.at(self.row[rows], *others) if others or not names else pl.DataFrame()
        return taken.with_columns(self._column(name, rows) for name in own).select(wanted) if own else taken

    def of_all(self, *names: str) -> pl.DataFrame:
        """All readings: the columns named."""
        return self.at(slice(None), *names)

    def one(self, name: str, row: int) -> object:
        """What one reading says in a column."""
        return self._column(name, slice(row, row + 1))[0]

    def only(self, kept: Flags, stream: Rows, streams: Flags) -> "Readings":
        """Some of them (n,), with the number of the stream of each of these, and which streams are left (s,); one whose
        twin is not left is its own.
        """
        place = np.where(kept, np.cumsum(kept) - 1, -1).astype(np.int32)[self.twin[kept]]
        twin = np.where(place < 0, np.arange(len(place), dtype=np.int32), place)
        return replace(self, row=self.row[kept], twin=twin, stream=stream, techs=self.techs.filter(pl.Series(streams)))

    def _column(self, name: str, rows: Ints | Flags | slice) -> pl.Series:
        if name == "tech_set":
            return self.techs.gather(self.stream[rows]).alias(name)
        if name in ("stream", "twin"):
            return pl.Series(name, getattr(self, name)[rows], dtype=pl.Int64)
        return self.source[name].gather(self.row[rows])
