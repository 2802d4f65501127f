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

from analysis.methods.segments import Flags, checked, segment_ids, spans
from analysis.methods.values_once import Once

FAR = 10.0  # spreads, and steps of the gauge
OF_MIDDLE = 1.4826  # standard deviations of a normal curve in its median absolute deviation


def lonely(
    values: npt.ArrayLike, starts: npt.ArrayLike, *, step: npt.ArrayLike = 0.0, told: Once | None = None
) -> Flags:
    """Which readings lie far from all others of their segment and alone, shape (n,).

    Parameters
    ----------
    values : float (n,), segment after segment, oldest first, none missing.
    starts : int (s,).
    step : float or (s,), of the gauge in the unit of the values; 0 where none is known: a segment whose middle half is
        all alike then has no spread, and nothing in it is far.
    told : the values once each, where they are known.

    Raises UnusableData where a value is missing.
    """
    readings, begins = checked(values, starts)
    steps = np.broadcast_to(np.asarray(step, dtype=np.float64), begins.shape)
    each = Once.of(readings, begins) if told is None else told
    ids = segment_ids(each.starts, len(each.value))
    off = each.value - each.medians()[ids]
    reach = FAR * np.maximum(each.medians(np.abs(off)) * OF_MIDDLE, steps)
    far = np.flatnonzero((reach[ids] > 0) & (np.abs(off) > reach[ids] * (1 + 1e-9)))
    side = np.zeros(len(readings), dtype=np.int8)
    side[each.order[spans(each.begins[far], each.begins[far] + each.often[far])]] = np.repeat(
        np.sign(off[far]), each.often[far]
    )
    some = np.flatnonzero(side)
    first = np.zeros(len(readings) + 1, dtype=np.bool_)
    first[begins] = first[-1] = True
    before, behind = (side[np.clip(some + by, 0, len(side) - 1)] == side[some] for by in (-1, 1))
    found = np.zeros(len(readings), dtype=np.bool_)
    found[some[~(before & ~first[some]) & ~(behind & ~first[some + 1])]] = True
    return found
