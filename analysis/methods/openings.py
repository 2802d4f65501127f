"""From firings to signals: a chart opens at a firing while none is open, and closes at the so-manieth reading in a row
without one.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.segments import Flags, Ints

QUIET = 20  # readings in a row without a firing that close a signal


@dataclass(frozen=True)
class Openings:
    opened: Ints  # (k,) index of the opening reading
    last: Ints  # (k,) index of the last firing that belongs to it
    closed: Ints  # (k,) index of the reading that closed it by silence; -1 where none did
    segment: Ints  # (k,)


def openings(fired: Flags, starts: Ints, *, breaks: npt.NDArray[np.int64] | None = None) -> Openings:
    """Signals of many charts at once.

    Parameters
    ----------
    fired : bool (n,), chart after chart, oldest first.
    starts : int (s,), where each chart begins.
    breaks : int (b,), optional: readings from which on a firing opens anew, because a person closed what was open
    before.
    """
    at = np.flatnonzero(fired)
    if len(at) == 0:
        none = np.zeros(0, dtype=np.int64)
        return Openings(none, none, none, none)
    segment = np.searchsorted(starts, at, side="right") - 1
    fresh = np.ones(len(at), dtype=bool)
    fresh[1:] = (segment[1:] != segment[:-1]) | (np.diff(at) > QUIET)
    if breaks is not None and len(breaks):
        era = np.searchsorted(np.sort(breaks), at, side="right")
        fresh[1:] |= era[1:] != era[:-1]
    first = np.flatnonzero(fresh)
    last = at[np.append(first[1:], len(at)) - 1]
    segment = segment[first]
    ends = np.append(starts[1:], len(fired))[segment]
    closed = np.where(last + QUIET < ends, last + QUIET, -1)
    return Openings(at[first], last, closed.astype(np.int64), segment.astype(np.int64))
