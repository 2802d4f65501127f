"""An order of rows as stretches of rows that follow each other: of a table to which a log was added a few hundred, of
millions of rows.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
FEW = 256  # rows to a stretch on average: from there on whole stretches are copied, below it row by row


@dataclass(frozen=True, eq=False)
class Runs:
    """Stretches one behind the other; none is empty."""

    first: Ints  # (k,) the row that each begins with
    lengths: Ints  # (k,) its rows

    @classmethod
    def of(cls, rows: npt.NDArray[Any], apart: int = -1) -> "Runs":
        """The stretches of rows (n,) that stand in some order, none of them on both sides of the row `apart`."""
        if not len(rows):
            return cls(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64))
        new = (np.diff(rows.astype(np.int64)) != 1) | (rows[1:] == apart)
        starts = np.append(0, np.flatnonzero(new) + 1)
        return cls(rows[starts].astype(np.int64), np.diff(np.append(starts, len(rows))))

    @classmethod
    def merged(cls, stands: npt.NDArray[np.bool_], behind: Ints) -> "Runs":
        """Rows of a table that stand, among them fresh ones, which are numbered behind all rows of it.

        stands : of each row; behind : (m,) rising, of each fresh row how many that stand come before it.
        """
        gone = np.flatnonzero(~stands)
        before = gone - np.arange(len(gone))  # rows that stand before each that is gone
        n = len(stands) - len(gone)
        at, fresh, counts = np.unique(behind, return_index=True, return_counts=True)
        cuts = np.unique(np.concatenate([[0], at, before]))
        cuts = cuts[cuts < n]
        kept = cuts + np.searchsorted(before, cuts, side="right")
        first = np.concatenate([kept, len(stands) + fresh])
        lengths = np.concatenate([np.diff(np.append(cuts, n)), counts])
        order = np.argsort(np.concatenate([cuts * 2 + 1, at * 2]))  # fresh ones before the row that they come before
        return cls(first[order], lengths[order])

    @cached_property
    def begins(self) -> Ints:
        """(k + 1,) where each stretch stands, and where the last one ends."""
        return np.append(0, np.cumsum(self.lengths)).astype(np.int64)

    def __len__(self) -> int:
        return int(self.begins[-1])

    @cached_property
    def rows(self) -> npt.NDArray[np.uint32]:
        """(n,) the row that stands in each place."""
        shift = (self.first - self.begins[:-1]).astype(np.uint32)  # a step back counts round, and back again
        return np.asarray(np.repeat(shift, self.lengths) + np.arange(len(self), dtype=np.uint32), dtype=np.uint32)

    def at(self, places: npt.NDArray[Any]) -> Ints:
        """The rows that stand in some places."""
        run = np.searchsorted(self.begins, places, side="right") - 1
        return np.asarray((self.first - self.begins[:-1])[run] + places, dtype=np.int64)

    def upon(self, below: "Runs", known: int) -> "Runs":
        """The same order, told in the rows that `below` tells of; rows behind all of its places are numbered from
        `known` on.
        """
        ends, n = self.first + self.lengths, len(below)
        own = Runs(np.append(below.first, known), np.append(below.lengths, max(int(ends.max(initial=0)) - n, 0) + 1))
        low = np.searchsorted(own.begins, self.first, side="right")
        cuts = np.maximum(np.searchsorted(own.begins, ends, side="left") - low, 0)
        run = np.repeat(np.arange(len(ends)), cuts + 1)
        turn = np.arange(len(run)) - np.repeat(np.append(0, np.cumsum(cuts + 1))[:-1], cuts + 1)
        start = np.where(turn == 0, self.first[run], own.begins[low[run] + turn - 1])
        end = np.where(turn == cuts[run], ends[run], own.begins[np.minimum(low[run] + turn, len(own.begins) - 1)])
        return Runs(own.at(start), end - start)

    def joined(self, apart: int) -> "Runs":
        """As few stretches as tell the same, none of them on both sides of the row `apart`."""
        if not len(self.first):
            return self
        new = np.append(True, (self.first[1:] != self.first[:-1] + self.lengths[:-1]) | (self.first[1:] == apart))
        starts = np.flatnonzero(new)
        return Runs(self.first[starts], np.add.reduceat(self.lengths, starts))

    def laid(self, below: npt.NDArray[Any], above: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Values in this order: of the rows of `below` and, numbered behind them, those of `above`, of one type; no
        stretch stands on both sides.
        """
        if len(self) < FEW * len(self.first):
            return np.concatenate([below, above])[self.rows]
        n = len(below)
        ends = self.first + self.lengths
        parts = [below[a:b] if a < n else above[a - n : b - n] for a, b in zip(self.first, ends, strict=True)]
        return np.concatenate(parts) if parts else below[:0].copy()
