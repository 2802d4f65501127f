"""Many series in one array: readings sorted series after series, and where each series starts.

Every method takes `values` of shape (n,) and `starts` of shape (s,). `starts[0]` is 0, starts rise strictly, so no
segment is empty; segment i is values[starts[i]:starts[i + 1]], the last one runs to the end.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Rows = npt.NDArray[np.int32]  # of long tables, where millions stay in memory; not to be reckoned with
Flags = npt.NDArray[np.bool_]

CELLS = 1 << 20  # of a rectangle of pieces worked on at once
ONE_STREAM: Ints = np.zeros(1, dtype=np.int64)


def checked(values: npt.ArrayLike, starts: npt.ArrayLike) -> tuple[Floats, Ints]:
    """Values as float64 (n,) and starts as int64 (s,), or UnusableData where they are no complete segments."""
    array = np.ascontiguousarray(values, dtype=np.float64)
    begins = np.ascontiguousarray(starts, dtype=np.int64)
    if array.ndim != 1 or begins.ndim != 1:
        raise UnusableData(f"wanted one row of readings and one of starts; got shapes {array.shape} and {begins.shape}")
    if len(array) == 0:
        raise UnusableData("there is no reading; wanted at least one: choose a longer period or load more logs")
    if len(begins) == 0 or begins[0] != 0 or begins[-1] >= len(array) or bool((np.diff(begins) <= 0).any()):
        raise UnusableData(f"starts must begin at 0, rise strictly and stay below the {len(array)} readings")
    missing = ~np.isfinite(array)
    if missing.any():
        raise UnusableData(
            f"{int(missing.sum())} of {len(array)} readings are missing, first at {int(missing.argmax())}; drop them "
            "first"
        )
    return array, begins


def lengths(starts: Ints, n: int) -> Ints:
    """How many readings each segment holds, shape (s,)."""
    return np.diff(starts, append=n)


def segment_ids(starts: Ints, n: int) -> Ints:
    """The number of its segment for each reading, shape (n,)."""
    return np.repeat(np.arange(len(starts), dtype=np.int64), lengths(starts, n))


def places(starts: Ints, n: int) -> Ints:
    """The place of each reading in its own segment, from 0, shape (n,)."""
    return np.arange(n, dtype=np.int64) - np.repeat(starts, lengths(starts, n))


def fresh(keys: npt.NDArray[np.generic]) -> Flags:
    """Which keys (n,) differ from the one before them; the first does."""
    found = np.ones(len(keys), dtype=np.bool_)
    np.not_equal(keys[1:], keys[:-1], out=found[1:])
    return found


def in_order(*keys: Ints) -> Ints:
    """The order of rows by several whole numbers from 0 on, shape (n,) each, the first before all; rows alike as they
    stand.
    """
    n = len(keys[0])
    wide = [int(key.max(initial=0)).bit_length() for key in keys]
    own = n.bit_length()
    few = max(wide) <= 16  # bits, which are sorted by counting
    if not few and sum(wide) + own < 64:  # all in one with the row's own number: to sort is quicker than to order
        packed = np.zeros(n, dtype=np.int64)
        for key, bits in zip(keys, wide, strict=True):
            packed <<= bits
            packed |= key
        packed <<= own
        packed |= np.arange(n)
        packed.sort()
        packed &= (1 << own) - 1
        return packed
    small = [key.astype(np.min_scalar_type(int(key.max(initial=0)))) for key in keys]
    return np.asarray(np.lexsort(small[::-1]), dtype=np.int64)


def sums(values: npt.NDArray[np.generic], starts: Ints) -> Floats:
    """Sum of each segment, shape (s,)."""
    return np.asarray(np.add.reduceat(values, starts), dtype=np.float64)


def means(values: Floats, starts: Ints) -> Floats:
    """Mean of each segment, shape (s,); computed round the first value, so that a constant run has exactly its value as
    mean.
    """
    first = values[starts]
    spread = np.repeat(first, lengths(starts, len(values)))
    return first + np.add.reduceat(values - spread, starts) / lengths(starts, len(values))


def standard_deviations(values: Floats, starts: Ints) -> Floats:
    """Standard deviation (divisor n - 1) of each segment round its mean, shape (s,); 0 where a segment holds one
    reading.
    """
    size = lengths(starts, len(values))
    centre = means(values, starts)
    off = values - np.repeat(centre, size)
    squares = (
        np.add.reduceat(off * off, starts) - np.add.reduceat(off, starts) ** 2 / size
    )  # the second term mends the rounded mean
    return np.sqrt(np.maximum(squares, 0.0) / np.maximum(size - 1, 1))


def firsts(starts: Ints, n: int, count: Ints) -> tuple[Ints, Ints]:
    """Indices of the first `count` (s,) readings of each segment, fewer where it is shorter, and where each segment
    starts among them.
    """
    taken = np.minimum(lengths(starts, n), count)
    begins = np.cumsum(taken) - taken
    return np.repeat(starts - begins, taken) + np.arange(int(taken.sum()), dtype=np.int64), begins


def spans(low: Ints, high: Ints) -> Ints:
    """All indices from each low to before its high, one span after the other."""
    size = high - low
    return np.repeat(low - np.cumsum(size) + size, size) + np.arange(int(size.sum()), dtype=np.int64)


def placed(values: npt.NDArray[np.integer], low: Ints, high: Ints, wanted: Ints, *, behind: bool) -> Ints:
    """Where each of `wanted` (k,) goes among values (n,) that rise from its `low` to its `high`, before equal ones or
    behind them, shape (k,).
    """
    low, high = low.copy(), high.copy()
    while (open_ := low < high).any():
        middle = (low + high) // 2
        there = values[np.where(open_, middle, 0)]
        further = open_ & ((there <= wanted) if behind else (there < wanted))
        low, high = np.where(further, middle + 1, low), np.where(open_ & ~further, middle, high)
    return low


def blocks(starts: Ints, n: int, size: int = 32_768) -> Iterator[tuple[slice, slice]]:
    """Whole segments of about `size` readings at a time, as (which segments, which readings).

    A long pass then works on arrays that stay in the processor's cache; results do not depend on `size`.
    """
    cuts = np.unique(np.append(np.searchsorted(starts, np.arange(0, n, size)), len(starts))).tolist()
    for first, last in pairwise(cuts):
        yield slice(first, last), slice(int(starts[first]), int(starts[last]) if last < len(starts) else n)


def rectangles(size: Ints) -> Iterator[tuple[Ints, int]]:
    """Pieces (p,) of like length together: which they are and the longest of them; no more than CELLS cells at once."""
    if len(size) == 0:
        return
    order = np.argsort(size, kind="stable")
    doubled = np.floor(np.log2(np.maximum(size[order], 1))).astype(np.int64)
    batch = np.cumsum(2 ** (doubled + 1)) // CELLS
    cuts = np.flatnonzero((np.diff(doubled) > 0) | (np.diff(batch) > 0)) + 1
    for which in np.split(order, cuts):
        yield which, int(size[which].max())


@dataclass(frozen=True)
class Dense:
    """Whole numbers told from 0 on without gaps, in their order."""

    code: Ints  # (n,)
    first: Ints  # (k,) index of the first of each


def places_in(keys: Ints, wanted: Ints) -> Ints:
    """The place of each wanted number (n,) among keys (k,), which rise; -1 where it is none of them; none below 0."""
    size = max(int(keys.max(initial=-1)), int(wanted.max(initial=-1))) + 1
    if size > 4 * len(wanted) + 1000:
        place = np.minimum(np.searchsorted(keys, wanted), max(len(keys) - 1, 0))
        return np.asarray(np.where(keys[place] == wanted, place, -1) if len(keys) else np.full(len(wanted), -1))
    place = np.full(size, -1, dtype=np.int64)
    place[keys] = np.arange(len(keys))
    return place[wanted]


def dense(keys: Ints) -> Dense:
    """Keys (n,), none below 0, as codes without gaps; without a sort where they lie close together."""
    size = int(keys.max(initial=-1)) + 1
    if size > 4 * len(keys) + 1000:
        order = np.argsort(keys)  # whichever way among alike ones
        fresh = np.diff(keys[order], prepend=-1) != 0
        code = np.empty(len(keys), dtype=np.int64)
        code[order] = np.cumsum(fresh) - 1
        return Dense(code, np.asarray(np.minimum.reduceat(order, np.flatnonzero(fresh)), dtype=np.int64))
    small = np.int32 if max(size, len(keys)) < 2**31 else np.int64  # tables of half the size
    first: npt.NDArray[Any] = np.full(size, -1, dtype=small)
    first[keys[::-1]] = np.arange(len(keys) - 1, -1, -1, dtype=small)  # the last that is put down stays
    there = first >= 0
    number: npt.NDArray[Any] = np.cumsum(there, dtype=small)
    number -= 1
    return Dense(number[keys].astype(np.int64), first[there].astype(np.int64))
