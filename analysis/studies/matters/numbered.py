"""A number for what a row says: two rows that say the same have the same, in whatever process they are read."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from hashlib import blake2b

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.methods.segments import Ints
from ingest.terms import tables

Digits = npt.NDArray[np.uint64]
ODD, MORE = (
    np.uint64(0x9E3779B97F4A7C15),
    np.uint64(0xBF58476D1CE4E5B9),
)  # what keeps the bits of a sum apart (splitmix)
NONE = np.uint64(0x94D049BB133111EB)  # in place of what is not known


@dataclass(eq=False)
class Said:
    """What the rows of a table say by numbers, a column at a time from when it is first asked for."""

    read: Callable[[str], pl.Series]  # a column by its name
    held: dict[str, "_Column"] = field(default_factory=dict)

    def of(self, name: str, at: Ints) -> Digits:
        """Of some rows what a column says, NONE of row -1, shape (n,)."""
        if name not in self.held:
            self.held[name] = _Column.of(self.read(name))
        known = at >= 0
        if known.all():
            return self.held[name].at(at)
        found = np.full(len(at), NONE)
        found[known] = self.held[name].at(at[known])
        return found


@dataclass(frozen=True, eq=False)
class _Column:
    """A column by its words, each once, or by its numbers."""

    plain: np.ndarray  # (n,) the place of each word in `words`, the last: none; or the number itself, null as 0
    words: Digits | None  # None: of numbers
    nulls: npt.NDArray[np.bool_] | None  # (n,) of numbers where there are any

    @classmethod
    def of(cls, column: pl.Series) -> "_Column":
        """Of a column of texts, categories, times, numbers or flags."""
        if column.dtype in (pl.String(), pl.Categorical()):
            code = tables.coded(column).to_physical().fill_null(2**32 - 1).to_numpy().astype(np.uint32, copy=False)
            return cls(code.view(np.int32), _words(column, code.view(np.int32)), None)  # -1: null
        nulls = column.is_null().to_numpy() if column.null_count() else None
        plain = column.cast(pl.Float64) if column.dtype.is_float() else column.to_physical()
        return cls(plain.fill_null(0).to_numpy(), None, nulls)

    def at(self, rows: Ints) -> Digits:
        """Of some rows, shape (n,)."""
        some = self.plain[rows]
        if self.words is not None:
            return np.asarray(self.words[some])
        wide = some if some.dtype == np.float64 else some.astype(np.int64)
        found = wide.view(np.uint64)
        return found if self.nulls is None else np.where(self.nulls[rows], NONE, found)


def digits(column: pl.Series) -> Digits:
    """A number for what each row says, whatever number stands for it in memory."""
    return _Column.of(column).at(np.arange(len(column)))


def _words(column: pl.Series, code: np.ndarray) -> Digits:
    """The number of each word by its code, as far as some row says it; last that of none."""
    known = tables.coded(column).unique().drop_nulls()
    table = np.full(int(code.max(initial=-1)) + 2, NONE)
    table[known.to_physical().to_numpy()] = [of_word(word) for word in known.cast(pl.String)]
    return table


def of_word(word: str) -> int:
    """The number of a word."""
    return int.from_bytes(blake2b(word.encode(), digest_size=8).digest(), "little")


def mixed(parts: Iterable[Digits]) -> Digits:
    """One number for several, in their order."""
    found = np.zeros(1, dtype=np.uint64)
    for part in parts:
        found = stirred(found * ODD + part)
    return found


def stirred(found: Digits) -> Digits:
    """Numbers whose bits hang on all of theirs."""
    found = (found ^ (found >> np.uint64(30))) * MORE
    return np.asarray(found ^ (found >> np.uint64(27)))
