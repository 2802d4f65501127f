"""A column as a file holds it: numbers of one width, in their smallest where they are whole, and the words that they
stand for. A number of its own, by the width, says that there is none.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from ingest.terms import tables

WORDED = {str(dtype): dtype for dtype in (pl.String(), pl.Categorical())}
TRUTH = str(pl.Boolean())  # 0 and 1
PLAIN: dict[str, tuple[pl.DataType, str]] = {  # type by name -> itself, and the numbers that it is told by
    str(dtype): (dtype, number)
    for number, dtypes in {
        "i8": (pl.Int64(), pl.Datetime("us", "UTC"), pl.Datetime("us"), pl.Duration("us")),
        "i4": (pl.Int32(), pl.Date()),
        "u4": (pl.UInt32(),),
        "f8": (pl.Float64(),),
        "f4": (pl.Float32(),),
    }.items()
    for dtype in dtypes
}
# by bytes: the bits of a float that is none, as no sum leaves it
NO_NUMBER = {8: 0x7FFC_0000_5EED_0001, 4: 0x7FE5_EED1}


class NotHeld(Exception):
    """A column that a file cannot hold."""


@dataclass(frozen=True, eq=False)
class Numbers:
    """The rows of a column."""

    dtype: str  # of the column
    numbers: npt.NDArray[Any]  # (n,)
    words: pl.Series | None = None  # texts; the number of a row is its place among them

    @classmethod
    def of(cls, column: pl.Series) -> "Numbers":
        """Those of a column; NotHeld where a file cannot hold it.

        Words stand in their order, each once.
        """
        dtype = str(column.dtype)
        if dtype in WORDED:
            return cls(dtype, *_told(column))
        gone = column.is_null().to_numpy() if column.null_count() else None
        if dtype == TRUTH:
            return cls(dtype, _narrow(column.cast(pl.UInt8), gone, 2))
        if dtype not in PLAIN:
            raise NotHeld(f"a column of {dtype} cannot be kept; wanted texts, numbers, times or yes and no")
        held = column.to_physical()
        if held.dtype.is_integer() and len(held) > held.null_count():
            low, high = int(held.min()), int(held.max())  # type: ignore[arg-type]
            if low >= 0 and high < 2**32 - 1:
                return cls(dtype, _narrow(held, gone, high + 1))
        values = (held if gone is None else held.fill_null(0)).to_numpy()
        if _gone(values).any():
            raise NotHeld(f"a column of {dtype} cannot be kept: it holds the number that stands for none")
        return cls(dtype, _with_none(values, gone))

    def __len__(self) -> int:
        return len(self.numbers)

    def column(self, name: str) -> pl.Series:
        """The column itself."""
        gone = _gone(self.numbers)
        some = bool(gone.any())
        if self.words is not None:
            words = self.words.cast(WORDED[self.dtype])
            at = pl.Series(self.numbers)
            return (words.gather(at.set(pl.Series(gone), None)) if some else words[at]).alias(name)
        if self.dtype == TRUTH:
            column = pl.Series(name, self.numbers == 1)
        else:
            dtype, number = PLAIN[self.dtype]
            column = pl.Series(name, self.numbers.astype(number, copy=False)).cast(dtype)
        return column.set(pl.Series(gone), None) if some else column

    def whole(self, none: int = -1) -> npt.NDArray[np.int64]:
        """The numbers (n,) of a column of whole numbers or times, and what stands for none."""
        told = self.numbers.astype(np.int64)
        if none != _none(self.numbers.dtype):
            told[_gone(self.numbers)] = none
        return told

    def say(self, words: Iterable[str]) -> npt.NDArray[np.bool_]:
        """Which rows of a column that has words say one of some, shape (n,)."""
        return self._of_word(np.append(self._worded().is_in(list(words)).to_numpy(), False))

    def told(self) -> npt.NDArray[np.bool_]:
        """Which rows say something, a word that is not ''."""
        return self._of_word(np.append((self._worded() != "").to_numpy(), False))

    def said(self) -> set[str]:
        """The words that some row says."""
        words, seen = self._worded(), pl.Series(self.numbers).unique()
        return set(words.gather(seen.filter(seen < len(words))))

    def by_word(self, told: Mapping[str, int], none: int) -> npt.NDArray[np.int64]:
        """The number told of each row's word, shape (n,); `none` where it is told nothing of or has none."""
        return self._of_word(np.array([*(told.get(word, none) for word in self._worded()), none], dtype=np.int64))

    def _worded(self) -> pl.Series:
        if self.words is None:
            raise ValueError(f"a column of {self.dtype} has no words")
        return self.words

    def _of_word(self, table: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """What a table says of each row's word, shape (n,); its last is of none."""
        return np.asarray(np.take(table, self.numbers, mode="clip"))  # none stands behind all words

    def ranks(self) -> npt.NDArray[np.int64]:
        """The place of each row's word among the different ones, in the order of texts (tables.rank), shape (n,)."""
        return self.small_ranks().astype(np.int64)

    def small_ranks(self) -> npt.NDArray[Any]:
        """The same in the smallest width."""
        words = self._worded()
        place = np.minimum(self.numbers, len(words)) if len(words) < np.iinfo(self.numbers.dtype).max else self.numbers
        seen = np.zeros(len(words) + 1, dtype=np.bool_)
        seen[pl.Series(place).unique().to_numpy()] = True
        some = np.flatnonzero(seen[:-1])
        ranks = np.zeros(len(words) + 1, dtype=_width(len(words)))  # the last: of none
        ranks[some] = words[some].rank("dense").to_numpy() - (not seen[-1])
        return np.asarray(ranks[place])

    def at(self, rows: npt.NDArray[Any]) -> "Numbers":
        """Some rows in the order given."""
        return replace(self, numbers=self.numbers[rows])

    def alike(self, other: "Numbers") -> tuple["Numbers", "Numbers"]:
        """This and another of the same column, told in numbers of one width and by the same words."""
        if self.words is None or other.words is None:
            wide = np.promote_types(self.numbers.dtype, other.numbers.dtype)
            return replace(self, numbers=_in(self.numbers, wide)), replace(other, numbers=_in(other.numbers, wide))
        words, behind = pl.concat([self.words, other.words]), np.uint32(len(self.words))
        wide = max(_width(len(words)), self.numbers.dtype, key=lambda each: each.itemsize)
        theirs = _in(other.numbers, np.dtype(np.uint32))
        theirs = np.where(_gone(theirs), theirs, theirs + behind)
        both = _in(self.numbers, wide), _in(theirs, wide)
        return replace(self, numbers=both[0], words=words), replace(other, numbers=both[1], words=words)


def _told(column: pl.Series) -> tuple[npt.NDArray[Any], pl.Series]:
    """The numbers and words of a column of texts or categories."""
    codes = tables.coded(column).to_physical()
    gone = column.is_null().to_numpy() if column.null_count() else None
    own = codes.to_numpy() if gone is None else codes.drop_nulls().to_numpy()
    if not len(own):
        return _with_none(np.zeros(len(column), dtype=np.uint8), gone), pl.Series("", [], dtype=pl.String())
    last = np.zeros(int(own.max()) + 1, dtype=np.int64)  # of each code a row that has it, from 1
    rows = np.arange(1, len(column) + 1)
    last[own] = rows if gone is None else rows[~gone]
    there = np.flatnonzero(last)
    texts = column[last[there] - 1].cast(pl.String).to_list()
    order = sorted(range(len(texts)), key=texts.__getitem__)
    place = np.zeros(len(last), dtype=_width(len(texts)))
    place[there[order]] = np.arange(len(order))
    numbers = place[codes.fill_null(0).to_numpy() if gone is not None else own]
    return _with_none(numbers, gone), pl.Series("", [texts[at] for at in order], dtype=pl.String())


def _narrow(column: pl.Series, gone: npt.NDArray[np.bool_] | None, upto: int) -> npt.NDArray[Any]:
    """Whole numbers below `upto`, and for none in the rows that are `gone`."""
    return _with_none((column if gone is None else column.fill_null(0)).to_numpy().astype(_width(upto)), gone)


def _width(upto: int) -> np.dtype[Any]:
    """The smallest that tells whole numbers below `upto` and none."""
    return np.dtype(np.uint8 if upto < 2**8 else np.uint16 if upto < 2**16 else np.uint32)


def _none(width: np.dtype[Any]) -> Any:
    """The number that says there is none."""
    if width.kind == "f":
        return np.array(NO_NUMBER[width.itemsize], dtype=f"u{width.itemsize}").view(width)[()]
    return width.type(np.iinfo(width).max if width.kind == "u" else np.iinfo(width).min)


def _gone(numbers: npt.NDArray[Any]) -> npt.NDArray[np.bool_]:
    """Which are none."""
    if numbers.dtype.kind == "f":
        size = numbers.dtype.itemsize
        return np.asarray(numbers.view(f"u{size}") == NO_NUMBER[size])
    return np.asarray(numbers == _none(numbers.dtype))


def _with_none(numbers: npt.NDArray[Any], gone: npt.NDArray[np.bool_] | None) -> npt.NDArray[Any]:
    if gone is not None and gone.any():
        numbers = numbers.copy()
        numbers[gone] = _none(numbers.dtype)
    return numbers


def _in(numbers: npt.NDArray[Any], width: np.dtype[Any]) -> npt.NDArray[Any]:
    """The same in another width that holds them."""
    if numbers.dtype == width:
        return numbers
    told, gone = numbers.astype(width), _gone(numbers)
    return _with_none(told, gone)
