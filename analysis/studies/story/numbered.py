"""A number for what a row says: two rows that say the same have the same, in whatever process they are read."""

from collections.abc import Iterable
from hashlib import blake2b

import numpy as np
import numpy.typing as npt
import polars as pl

from ingest.terms import tables

Digits = npt.NDArray[np.uint64]
ODD, MORE = (
    np.uint64(0x9E3779B97F4A7C15),
    np.uint64(0xBF58476D1CE4E5B9),
)  # what keeps the bits of a sum apart (splitmix)
NONE = np.uint64(0x94D049BB133111EB)  # in place of what is not known


def digits(column: pl.Series) -> Digits:
    """A number for what each row says in a column of texts, categories, times, numbers or flags, whatever number stands
    for it in memory; NONE where it says nothing; shape (n,).
    """
    if column.dtype in (pl.String(), pl.Categorical()):
        column = tables.coded(column)
        code = column.to_physical().fill_null(2**32 - 1).to_numpy().astype(np.uint32, copy=False).view(np.int32)
        return np.asarray(_words(column, code)[code])  # -1: null
    plain = (column.cast(pl.Float64) if column.dtype.is_float() else column.to_physical()).fill_null(0).to_numpy()
    found = (plain if plain.dtype == np.float64 else plain.astype(np.int64)).view(np.uint64)
    return np.where(column.is_null().to_numpy(), NONE, found) if column.null_count() else found


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
        found = found * ODD
        found = stirred(np.add(found, part, out=found) if len(found) == len(part) else found + part)
    return found


def stirred(found: Digits) -> Digits:
    """Numbers whose bits hang on all of theirs."""
    told = found >> np.uint64(30)
    told ^= found
    told *= MORE
    told ^= told >> np.uint64(27)
    return told
