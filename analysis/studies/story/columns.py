"""A table of the story a column at a time: held in memory, or kept beside the store and read when it is asked for.

A column that nobody asks for is not in memory; of those kept beside the store the ones asked for last stay, as many as
weigh so much (MOST), for reading one takes milliseconds. Of a few rows it is read for these alone.
"""

from collections.abc import Callable, Iterable
from threading import Lock
from typing import TypeAlias, overload

import numpy as np
import numpy.typing as npt
import polars as pl

from ingest.store.snapshot import Damaged, Kept, Numbers

MOST = 80 << 20  # bytes of a table's columns that stay
FEW = 3  # one row of so many and fewer are read alone
Rows: TypeAlias = npt.NDArray[np.integer] | pl.Series | slice
Asked: TypeAlias = str | pl.Expr | Iterable[str | pl.Expr]


class Columns:
    """Rows under named columns; what is selected of them is a table like any other."""

    def __init__(
        self,
        height: int,
        columns: list[str],
        read: Callable[[str], pl.Series],
        some: Callable[[str, pl.Series], pl.Series],
        numbers: Callable[[str, pl.Series | None], Numbers] | None = None,
    ) -> None:
        """`read` gives a column, `some` some rows of it without the rest, `numbers` what a file holds either by, if one
        does.
        """
        self.height, self.columns = height, columns
        self._read, self._some = read, some
        self._numbers = numbers or self._told
        self._held: dict[str, pl.Series] = {}  # the one asked for last stands last
        self._turn = Lock()

    @classmethod
    def of(cls, rows: pl.DataFrame) -> "Columns":
        """Those of a table in memory."""
        return cls(rows.height, rows.columns, rows.get_column, lambda name, some: rows[name][some])

    @classmethod
    def kept(cls, kept: Kept, table: str, columns: list[str], anew: Callable[[str], pl.Series]) -> "Columns":
        """Some of a table kept beside the store; one that turns out to be damaged is worked out anew."""

        def read(name: str) -> pl.Series:
            try:
                return kept.column(table, name)
            except Damaged:
                return anew(name)

        def some(name: str, rows: pl.Series) -> pl.Series:
            try:
                return kept.column(table, name, rows)
            except Damaged:
                return anew(name)[rows]

        def numbers(name: str, rows: pl.Series | None) -> Numbers:
            try:
                return kept.numbers(table, name, rows)
            except Damaged:
                return Numbers.of(anew(name) if rows is None else anew(name)[rows])

        return cls(kept.height(table), columns, read, some, numbers)

    def __len__(self) -> int:
        return self.height

    def is_empty(self) -> bool:
        """Is there no row?"""
        return self.height == 0

    @overload
    def __getitem__(self, wanted: str) -> pl.Series: ...
    @overload
    def __getitem__(self, wanted: list[str] | Rows) -> pl.DataFrame: ...
    def __getitem__(self, wanted: str | list[str] | Rows) -> pl.Series | pl.DataFrame:
        if isinstance(wanted, str):
            found = self._passing(wanted)
            with self._turn:
                self._held.pop(wanted, None)
                self._held[wanted] = found
                weight = sum(each.estimated_size() for each in self._held.values())
                while weight > MOST and len(self._held) > 1:
                    weight -= self._held.pop(next(iter(self._held))).estimated_size()
            return found
        if isinstance(wanted, list):
            return pl.DataFrame([self[name] for name in wanted])
        return self.at(wanted)

    def at(self, rows: Rows, *names: str) -> pl.DataFrame:
        """Some rows in the order given: the columns named; or all, of which those stay in memory that did before. Of a
        column that is not in memory a few rows are read without the rest.
        """
        if isinstance(rows, slice) and rows == slice(None):
            return pl.DataFrame([self[name] for name in names] if names else [self._passing(n) for n in self.columns])
        asked = np.arange(self.height)[rows] if isinstance(rows, slice) else rows
        at = asked if isinstance(asked, pl.Series) else pl.Series(asked)
        if names and FEW * len(at) >= self.height:
            return pl.DataFrame([self[name][at] for name in names])
        held = dict(self._held)
        return pl.DataFrame([held[n][at] if n in held else self._some(n, at) for n in names or self.columns])

    def whole(self) -> pl.DataFrame:
        """All of it, as a table in memory."""
        return self.at(slice(None))

    def select(self, *wanted: Asked, **named: pl.Expr | pl.Series) -> pl.DataFrame:
        """What is asked for, worked out of the columns that it names."""
        return self[self._named(*wanted, *named.values())].select(*wanted, **named)

    def filter(self, *where: Asked | pl.Series) -> pl.DataFrame:
        """The rows, all columns, of which everything holds."""
        asked = self[self._named(*where)]
        conditions = [pl.col(each) if isinstance(each, str) else each for each in where]
        with_rows = pl.select(pl.int_range(self.height, dtype=pl.UInt32).alias("_at")).to_series()
        found = asked.with_columns(with_rows).filter(*conditions)["_at"]
        return self.at(found)

    def ranks(self, name: str) -> npt.NDArray[np.int64]:
        """`tables.rank` of a column of texts or categories."""
        return self._numbers(name, None).ranks()

    def numbers(self, name: str, rows: pl.Series | None = None) -> Numbers:
        """A column, or some rows of it in the order given, as numbers and the words that they stand for: less memory to
        go through than its texts.
        """
        return self._numbers(name, rows)

    def group_by(self, *by: str) -> "Grouped":
        """Groups of rows; of what is then asked of each the columns are fetched."""
        return Grouped(self, by)

    def _passing(self, name: str) -> pl.Series:
        held = self._held.get(name)
        return self._read(name) if held is None else held

    def _told(self, name: str, rows: pl.Series | None) -> Numbers:
        column = self._passing(name)
        return Numbers.of(column if rows is None else column[rows])

    def _named(self, *wanted: Asked | pl.Series) -> list[str]:
        """The columns that expressions hang on; the first where they hang on none, so that there are rows."""
        names: dict[str, None] = {}
        for each in wanted:
            if isinstance(each, str):
                names[each] = None
            elif isinstance(each, pl.Expr):
                many = each.meta.has_multiple_outputs()  # of which columns, its names do not say
                names |= dict.fromkeys(self.columns if many else each.meta.root_names())
            elif not isinstance(each, pl.Series):
                names |= dict.fromkeys(self._named(*each))
        return [name for name in names if name in self.columns] or self.columns[:1]


class Grouped:
    """Rows of a table in groups."""

    def __init__(self, table: Columns, by: tuple[str, ...]) -> None:
        self._table, self._by = table, by

    def agg(self, *wanted: pl.Expr, **named: pl.Expr) -> pl.DataFrame:
        """What is asked of each group."""
        names = self._table._named(*self._by, *wanted, *named.values())
        return self._table[names].group_by(*self._by).agg(*wanted, **named)

    def len(self) -> pl.DataFrame:
        """How many rows each holds."""
        return self._table[list(self._by)].group_by(*self._by).len()
