"""Many streams on one chart: the mean of an instrument's readings, chart by chart, in the order of time."""

from dataclasses import dataclass

import numpy as np

from analysis.methods.segments import Floats, Ints

DENSE = 4  # cells a reading up to which sums are laid out for every chart and instrument, which wants no sorting


@dataclass(frozen=True)
class InstrumentMeans:
    """Points, chart after chart, oldest first."""

    mean: Floats  # (p,)
    chart: Ints  # (p,)
    reading: Ints  # (p,) a reading of each point, as an index of what was given


def instrument_means(z: Floats, chart: Ints, instrument: Ints) -> InstrumentMeans:
    """Means over the readings of each instrument on each chart.

    Parameters
    ----------
    z : float (n,), readings on a common scale (say sigmas off their own baseline).
    chart : int (n,), from 0 on.
    instrument : int (n,), from 0 on, rising with time.
    """
    n = len(z)
    if n == 0:
        none = np.zeros(0, dtype=np.int64)
        return InstrumentMeans(np.zeros(0), none, none)
    wide = int(instrument.max()) + 1
    key = chart * wide
    key += instrument
    cells = (int(chart.max()) + 1) * wide
    first = np.empty(0, dtype=np.int64)
    if cells <= DENSE * n:
        count = np.bincount(key, minlength=cells)
        present = np.flatnonzero(count)
        mean = np.bincount(key, z, minlength=cells)[present] / count[present]
        seen = np.empty(cells, dtype=np.int32 if n < 2**31 else np.int64)
        seen[key] = np.arange(n, dtype=seen.dtype)
        first = seen[present].astype(np.int64)
    else:
        present, first, which = np.unique(key, return_index=True, return_inverse=True)
        mean = np.bincount(which, z) / np.bincount(which)
    return InstrumentMeans(np.asarray(mean), present // wide, first)
