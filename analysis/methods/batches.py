"""Readings of one stream that share something, as a lot or a day: which do, and how many."""

from dataclasses import dataclass

import numpy as np

from analysis.methods.segments import Flags, Floats, Ints, fresh, in_order


@dataclass(frozen=True, eq=False)
class Batches:
    """Batches of readings, stream after stream."""

    order: Ints  # (n,) readings batch after batch, within each as they stand
    which: Ints  # (n,) batch of each reading
    stream: Ints  # (b,)
    n: Floats  # (b,) readings
    rising: bool  # the readings stand batch after batch

    @classmethod
    def of(cls, stream: Ints, code: Ints) -> "Batches":
        """Of readings (n,) whose streams rise and of what they share."""
        falls = (code[1:] < code[:-1]) & (stream[1:] == stream[:-1])
        if not falls.any():  # as days mostly do not
            return cls._ordered(np.arange(len(stream)), stream, fresh(stream) | fresh(code), rising=True)
        order = in_order(stream, code - code.min())
        return cls._ordered(order, stream[order], fresh(stream) | fresh(code[order]), rising=False)

    @classmethod
    def known(cls, stream: Ints, code: Ints) -> "Batches":
        """The same where a code below 0 is not known: such a reading shares it with none."""
        order = in_order(stream, np.maximum(code, -1) + 1)
        alone = code[order] < 0
        at = np.flatnonzero(alone)
        if len(at):  # before all others of their stream, the last first: sums run in this order
            which = stream[order[at]]
            first, last = np.searchsorted(which, which), np.searchsorted(which, which, side="right") - 1
            order[at] = order[at[first + last - np.arange(len(at))]]
        new = fresh(stream) | fresh(code[order]) | alone
        return cls._ordered(order, stream, new, rising=False)

    @classmethod
    def _ordered(cls, order: Ints, stream: Ints, new: Flags, *, rising: bool) -> "Batches":
        """From readings in their order (n,): their streams, and where a batch begins."""
        begins = np.flatnonzero(new)
        size = np.diff(begins, append=len(order))
        which = np.empty(len(order), dtype=np.int64)
        which[order] = np.repeat(np.arange(len(begins)), size)
        return cls(order, which, stream[begins], size.astype(np.float64), rising)

    def squares(self, streams: int) -> Floats:
        """Sum of squared sizes a stream, shape (s,)."""
        return np.bincount(self.stream, self.n**2, streams).astype(np.float64)

    def within(self, other: "Batches") -> "Pairs":
        """What of each batch stands in one batch of others of the same readings."""
        order = self.order if other.rising else np.lexsort((other.which, self.which))
        mine = self.which[order]
        begins = np.flatnonzero(fresh(mine) | fresh(other.which[order]))
        return Pairs(mine[begins], np.diff(begins, append=len(order)).astype(np.float64))


@dataclass(frozen=True)
class Pairs:
    """Readings that share two things, batch of the first after batch."""

    batch: Ints  # (p,) of the first
    n: Floats  # (p,)
