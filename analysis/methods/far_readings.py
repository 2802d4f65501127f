"""Single readings so far from all others of their series that they are slips of the pen, or of another instrument.

Far is further from the median than ten spreads, as the middle half of the readings tells the spread, and further than
ten steps of the gauge. A mean and a standard deviation would hide what they look for: one 3.0 among six hundred
readings round 0.1 makes their standard deviation four times as large. Lonely is one whose neighbours in time do not lie
as far on the same side: a series that moved, or that changed its target, has no slips for it.

Source: median absolute deviation from the median times 1.4826, Hampel 1974, J. American Statistical Association 69,
383-393; how robust such a rule is: Davies & Gather 1993, J. American Statistical Association 88, 782-792; both from
memory.
"""

import numpy as np
import numpy.typing as npt

from analysis.methods.segments import Flags, Floats, Ints, checked, lengths, segment_ids

FAR = 10.0  # spreads, and steps of the gauge
OF_MIDDLE = 1.4826  # standard deviations of a normal curve in its median absolute deviation


def lonely(values: npt.ArrayLike, starts: npt.ArrayLike, *, step: npt.ArrayLike = 0.0) -> Flags:
    """Which readings lie far from all others of their segment and alone, shape (n,).

    Parameters
    ----------
    values : float (n,), segment after segment, oldest first, none missing.
    starts : int (s,).
    step : float or (s,), of the gauge in the unit of the values; 0 where none is known: a segment whose middle half is
        all alike then has no spread, and nothing in it is far.

    Raises UnusableData where a value is missing.
    """
    readings, begins = checked(values, starts)
    n, ids = len(readings), segment_ids(begins, len(readings))
    steps = np.broadcast_to(np.asarray(step, dtype=np.float64), begins.shape)
    off = readings - medians(readings, begins)[ids]
    reach = FAR * np.maximum(medians(np.abs(off), begins) * OF_MIDDLE, steps)
    side = np.where(reach[ids] > 0, np.sign(off) * (np.abs(off) > reach[ids] * (1 + 1e-9)), 0.0)
    alike = np.zeros(n, dtype=np.bool_)
    alike[1:] = (side[1:] == side[:-1]) & (ids[1:] == ids[:-1])
    alike[:-1] |= alike[1:].copy()
    return np.asarray((side != 0) & ~alike)


def medians(values: Floats, starts: Ints) -> Floats:
    """Median of each segment, shape (s,)."""
    n = len(values)
    size = lengths(starts, n)
    ordered = values[np.lexsort((values, segment_ids(starts, n)))]
    return np.asarray((ordered[starts + (size - 1) // 2] + ordered[starts + size // 2]) / 2)
