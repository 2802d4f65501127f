"""Readings of a stepped gauge repeat: each value of a segment once, rising, and how often it was read."""

from dataclasses import dataclass

import numpy as np

from analysis.methods.segments import Floats, Ints, blocks, fresh, lengths, segment_ids


@dataclass(frozen=True, eq=False)
class Once:
    """The different values of segments, segment after segment; readings n, values v, segments s."""

    order: Ints  # (n,) readings by segment and value, alike ones as they stand
    value: Floats  # (v,)
    begins: Ints  # (v,) where each begins in `order`
    often: Ints  # (v,) readings of it
    starts: Ints  # (s,) the first value of each segment

    @classmethod
    def of(cls, values: Floats, starts: Ints) -> "Once":
        """Of readings (n,), none missing, segment after segment."""
        n = len(values)
        order = np.empty(n, dtype=np.int64)
        for which, where in blocks(starts, n):
            block = values[where]
            ids = segment_ids(starts[which] - where.start, len(block))
            order[where] = np.lexsort((block, ids.astype(np.min_scalar_type(len(ids))))) + where.start
        rising = values[order]
        new = fresh(rising)
        new[starts] = True
        begins = np.flatnonzero(new)
        return cls(order, rising[begins], begins, lengths(begins, n), np.searchsorted(begins, starts))

    def medians(self, of_value: Floats | None = None) -> Floats:
        """Median of each segment (s,), or of something that each value says (v,)."""
        said = self.value if of_value is None else of_value
        which = segment_ids(self.starts, len(said))
        order = slice(None) if of_value is None else np.lexsort((said, which))
        upto, said = np.cumsum(self.often[order]), said[order]
        before = self.begins[self.starts]
        size = lengths(before, len(self.order))
        low, high = (said[np.searchsorted(upto, before + half, side="right")] for half in ((size - 1) // 2, size // 2))
        return np.asarray((low + high) / 2)
