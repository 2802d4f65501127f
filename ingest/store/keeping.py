"""How tables that are kept are written (store/kept_tables).

A column is written whole, or *carried on*: the rows of the one kept before, fresh rows behind them, and the order in
which both stand now, one for all such columns of a table. Of a column carried on only the fresh rows are written. The
files that hold the rest are named in the folder of the new one too and stay as long as any folder names them, so that
each folder is whole by itself. Where fresh rows have become many (FRESH) a table is written whole again.
"""

import os
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, TypeAlias, Union

import numpy as np
import polars as pl

from ingest.store.kept_columns import FORMAT, TEXTS, WHOLE, Kept, sum_of
from ingest.terms import tables
from ingest.terms.tables import Coded

FEW = 256  # words that stand in SAID itself
FRESH = 1 / 16  # fresh rows over those that were written whole: from there on all of a table is
Column: TypeAlias = Union[pl.Series, "Carried"]
Given = Mapping[str, Mapping[str, Callable[[], Column]]]  # table -> column -> what makes it


@dataclass(frozen=True, eq=False)
class Laid:
    """The rows of a kept table that stand, and fresh ones among them."""

    before: Kept
    table: str
    rows: np.ndarray  # (n,) place of each among the kept rows and, behind them, the fresh ones

    def column(self, name: str, fresh: pl.Series) -> "Carried":
        """A column of it. fresh : of the same name and type as the kept one."""
        return Carried(self, name, fresh)

    @cached_property
    def taken(self) -> pl.Series:
        """`rows` as what is gathered by."""
        return pl.Series(self.rows.astype(np.uint32))

    @cached_property
    def below(self) -> tuple[np.ndarray, np.ndarray]:
        """`rows` by what was written whole last, and which of the fresh rows of before and now are still used."""
        whole, places = self.before.height_below(self.table), self.before.order(self.table).to_numpy()
        known = max(int(places.max(initial=0)) + 1, whole)  # behind all that before has a place for
        own = known + np.arange(max(int(self.rows.max(initial=-1)) + 1 - len(places), 0), dtype=np.uint32)
        at = np.concatenate([places, own])[self.rows]
        above = np.flatnonzero(at >= whole)
        used, number = np.unique(at[above], return_inverse=True)
        at[above] = whole + number
        return at, used - np.uint32(whole)

    @property
    def pays(self) -> bool:
        """Are the fresh rows few enough to stand by themselves?"""
        return len(self.below[1]) <= FRESH * self.before.height_below(self.table)


@dataclass(frozen=True, eq=False)
class Carried:
    """A column carried on."""

    laid: Laid
    name: str
    own: pl.Series  # fresh rows

    @property
    def before(self) -> pl.Series:
        """All rows of before."""
        return self.laid.before.column(self.laid.table, self.name)

    def column(self) -> pl.Series:
        """The column itself."""
        return pl.concat([self.before, self.own.alias(self.name)]).gather(self.laid.taken)

    @property
    def stands(self) -> bool:
        """May the fresh rows be written by themselves?"""
        laid = self.laid
        return laid.pays and laid.before.carries_on(laid.table, self.name)

    def fresh(self) -> pl.Series:
        """Fresh rows of before and now that are still used."""
        kept = self.laid.before.fresh(self.laid.table, self.name)
        own = self.own.alias(self.name)
        if kept is None:
            return own.gather(self.laid.below[1])
        return pl.concat([kept, own]).gather(self.laid.below[1])


class Writing:
    """A folder being written."""

    def __init__(self, part: Path) -> None:
        self._part = part
        self._files: dict[str, list[int]] = {}
        self._tables: dict[str, Any] = {}
        self._number = 0

    def tables(self, given: Given) -> dict[str, Any]:
        """Write tables, a column at a time; what SAID says of them."""
        for table, columns in given.items():
            told: dict[str, Any] = {"height": 0, "columns": {}}
            carried: list[Carried] = []
            for name, made in columns.items():
                column = made()
                if isinstance(column, Carried) and column.stands:
                    carried.append(column)
                    told["columns"][name] = self._linked(column)
                    told["height"] = len(column.laid.rows)
                    continue
                plain = column.column() if isinstance(column, Carried) else column
                told["height"] = len(plain)
                dtype, parts = _written_as(plain)
                told["columns"][name] = [dtype, *(self._written(part.to_frame()) for part in parts)]
            if carried:
                told["layer"] = self._layer(carried)
            self._tables[table] = told
        return {"format": FORMAT, "tables": self._tables, "files": self._files}

    def _layer(self, carried: list[Carried]) -> dict[str, Any]:
        laid = carried[0].laid
        columns: dict[str, list[Any]] = {}
        numbers = []
        for each in carried:
            _, parts = _written_as(each.fresh())
            columns[each.name] = [self._written(words.to_frame()) for words in parts[:-1]]
            numbers.append(parts[-1].alias(each.name))
        file = self._file(pl.DataFrame(numbers))
        columns = {name: [*words, file] for name, words in columns.items()}
        order = self._file(pl.Series(laid.below[0]).to_frame())
        return {"order": order, "below": laid.before.height_below(laid.table), "columns": columns}

    def _written(self, part: pl.DataFrame) -> str | list[str]:
        words = part.to_series()
        return words.to_list() if words.dtype == pl.String() and len(words) <= FEW else self._file(part)

    def _file(self, part: pl.DataFrame) -> str:
        file = self._name()
        part.write_ipc(self._part / file)
        self._files[file] = [(self._part / file).stat().st_size, sum_of(self._part / file)]
        return file

    def _name(self) -> str:
        self._number += 1
        return f"{self._number}.arrow"

    def _linked(self, column: Carried) -> list[Any]:
        """A column as SAID has it, the files of the rows written whole named in this folder too."""
        before = column.laid.before
        dtype, *files = before.files_of(column.laid.table, column.name)
        named = [dtype]
        for file in files:
            if isinstance(file, str):
                own = self._name()
                try:
                    os.link(before.path / file, self._part / own)
                except OSError:  # a disk that knows no second name
                    shutil.copyfile(before.path / file, self._part / own)
                self._files[own] = before.said["files"][file]
                file = own
            named.append(file)
        return named


def _written_as(column: pl.Series) -> tuple[str, list[pl.Series]]:
    """What type a column is of, and how it is written: words and numbers, whole numbers as small as they fit, or as it
    stands.
    """
    if column.dtype in (pl.Categorical(), pl.String()):
        coded = Coded.of(column)
        return (TEXTS if coded.texts else ""), [coded.words, coded.numbers]
    dtype = str(column.dtype)
    if dtype in WHOLE and len(column) > column.null_count():
        low, high = int(column.min()), int(column.max())  # type: ignore[arg-type]
        column = tables.narrow(column, high + 1) if low >= 0 and high < 2**32 else column
    return dtype, [column]
