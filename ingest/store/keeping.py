"""How tables that are kept are written (store/kept_tables).

A column is written whole, or *carried on*: the rows of the one kept before, fresh rows behind them, and the order in
which both stand now, one for all such columns of a table. Of a column carried on only the fresh rows are written. The
files that hold the rest are named in the folder of the new one too and stay as long as any folder names them, so that
each folder is whole by itself. Where fresh rows have become many (FRESH) a table is written whole again.
"""

import os
import shutil
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from io import BytesIO
from pathlib import Path
from typing import Any, TypeAlias, Union

import numpy as np
import polars as pl

from ingest.store.kept_columns import FORMAT, Kept, known
from ingest.store.numbers import Numbers
from ingest.store.runs import Runs

FEW = 256  # words that stand in SAID itself
ARRAYS, WORDS = "numbers", "words"  # what a file's name ends with
ALIGNED = 8  # bytes: where numbers of any width may begin
FRESH = 1 / 16  # fresh rows over those that were written whole: from there on all of a table is
Column: TypeAlias = Union[pl.Series, "Carried"]
Given = Mapping[str, Mapping[str, Callable[[], Column]]]  # table -> column -> what makes it


@dataclass(frozen=True, eq=False)
class Laid:
    """The rows of a kept table that stand, and fresh ones among them."""

    before: Kept
    table: str
    runs: Runs  # the place of each among the kept rows and, behind them, the fresh ones

    def column(self, name: str, fresh: pl.Series) -> "Carried":
        """A column of it. fresh : of the same name and type as the kept one."""
        return Carried(self, name, fresh)

    @cached_property
    def below(self) -> tuple[Runs, np.ndarray]:
        """`runs` by what was written whole last, and which of the fresh rows of before and now are still used."""
        whole = self.before.height_below(self.table)
        own = np.array([self.before.height(self.table)])
        places = self.before.order(self.table) or Runs(own * 0, own)
        end = int((places.first + places.lengths).max(initial=0))
        runs = self.runs.upon(places, max(end, whole)).joined(whole)
        above = np.flatnonzero(runs.first >= whole)
        rows = Runs(runs.first[above], runs.lengths[above]).rows.astype(np.int64) - whole
        used = np.unique(rows)
        runs.first[above] = whole + np.searchsorted(used, runs.first[above] - whole)
        return runs.joined(whole), used

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

    def numbers(self) -> Numbers:
        """The column itself, as the numbers that it is held by."""
        before = self.laid.before.numbers(self.laid.table, self.name)
        below, above = before.alike(Numbers.of(self.own))
        return replace(below, numbers=self.laid.runs.laid(below.numbers, above.numbers))

    def column(self) -> pl.Series:
        """The column itself."""
        return self.numbers().column(self.name)

    @property
    def stands(self) -> bool:
        """May the fresh rows be written by themselves?"""
        laid = self.laid
        return laid.pays and laid.before.carries_on(laid.table, self.name)

    def fresh(self) -> Numbers:
        """Fresh rows of before and now that are still used."""
        kept, own = self.laid.before.fresh(self.laid.table, self.name), Numbers.of(self.own)
        if kept is None:
            return own.at(self.laid.below[1])
        both = kept.alike(own)
        return replace(both[0], numbers=np.concatenate([each.numbers for each in both])).at(self.laid.below[1])


class Writing:
    """A folder being written."""

    def __init__(self, part: Path) -> None:
        self._part = part
        self._files: dict[str, list[int]] = {}
        self._tables: dict[str, Any] = {}
        self._number = 0

    def tables(self, given: Given) -> dict[str, Any]:
        """Write tables, a column at a time; what SAID says of them. NotHeld where a file cannot hold a column."""
        for table, columns in given.items():
            told: dict[str, Any] = {"height": 0, "columns": {}}
            carried: list[Carried] = []
            for name, made in columns.items():
                column = made()
                if isinstance(column, Carried) and column.stands:
                    carried.append(column)
                    told["columns"][name] = self._linked(column)
                    told["height"] = len(column.laid.runs)
                    continue
                plain = column.numbers() if isinstance(column, Carried) else Numbers.of(column)
                told["height"] = len(plain)
                (array,) = self._arrays(plain.numbers)
                told["columns"][name] = [plain.dtype, array, self._words(plain.words)]
            if carried:
                told["layer"] = self._layer(carried)
            self._tables[table] = told
        return {"format": FORMAT, "tables": self._tables, "files": self._files}

    def _layer(self, carried: list[Carried]) -> dict[str, Any]:
        """The order of a table that is carried on, and its fresh rows, in one file."""
        laid = carried[0].laid
        runs, fresh = laid.below[0], [each.fresh() for each in carried]
        first, lengths, *arrays = self._arrays(runs.first, runs.lengths, *(each.numbers for each in fresh))
        columns = {
            column.name: [array, self._words(each.words)]
            for column, array, each in zip(carried, arrays, fresh, strict=True)
        }
        below = laid.before.height_below(laid.table)
        return {"order": [first, lengths], "below": below, "columns": columns}

    def _arrays(self, *arrays: np.ndarray) -> list[list[Any]]:
        """Arrays of numbers one behind the other in a file, each with its place there; what is empty has none."""
        file, begin, told, parts = self._name(ARRAYS), 0, [], []
        for each in arrays:
            told.append([each.dtype.str, file, begin, len(each)])
            gap = bytes(-each.nbytes % ALIGNED)
            parts += [np.ascontiguousarray(each).view(np.uint8), gap]
            begin += each.nbytes + len(gap)
        if begin:
            self._write(file, *parts)
        return told

    def _words(self, words: pl.Series | None) -> str | list[str] | None:
        if words is None or len(words) <= FEW:
            return None if words is None else words.to_list()
        file, data = self._name(WORDS), BytesIO()
        words.to_frame("words").write_ipc(data)
        self._write(file, data.getvalue())
        return file

    def _write(self, file: str, *parts: Any) -> None:
        found = 0
        with (self._part / file).open("wb") as open_:
            for part in parts:
                open_.write(part)
                found = zlib.crc32(part, found)
            open_.flush()
            known(os.fstat(open_.fileno()), found)
            self._files[file] = [open_.tell(), found]

    def _name(self, kind: str) -> str:
        self._number += 1
        return f"{self._number}.{kind}"

    def _linked(self, column: Carried) -> list[Any]:
        """A column as SAID has it, the files of the rows written whole named in this folder too."""
        before = column.laid.before
        dtype, array, words = before.files_of(column.laid.table, column.name)
        width, file, begin, n = array
        named = [dtype, [width, self._link(before, file) if n else file, begin, n]]
        return [*named, self._link(before, words) if isinstance(words, str) else words]

    def _link(self, before: Kept, file: str) -> str:
        own = self._name(file.rpartition(".")[2])
        try:
            os.link(before.path / file, self._part / own)
        except OSError:  # a disk that knows no second name
            shutil.copyfile(before.path / file, self._part / own)
        self._files[own] = before.said["files"][file]
        return own
