"""Inside, on the limit, outside: a reading stands for the whole step of its gauge.

Whoever claims carries the uncertainty: a reading is outside only where its step lies wholly beyond a limit, and on the
limit where a limit lies within the step. Half a step is the smallest part of a measurement's uncertainty.
Source: the idea of ISO 14253-1 (decision rules for verifying conformity with specifications).
"""

import numpy as np
import numpy.typing as npt

from analysis.methods.segments import Flags, Floats

SLACK = 1e-9  # in the unit of the readings: edges this close to a limit meet it


def against(
    value: npt.ArrayLike, below: npt.ArrayLike, above: npt.ArrayLike, lower: npt.ArrayLike, upper: npt.ArrayLike
) -> tuple[Flags, Flags]:
    """Which readings lie outside and which on the limit; the others are inside.

    Parameters
    ----------
    value : float, broadcastable
        Readings; nan is neither.
    below, above : float, at least 0
        How far the reading's step reaches on either side: half the gauge's step; both 0 is the plain comparison, by
        which a reading on a limit is inside.
    lower, upper : float
        Limits, nan = none.
    """
    x, under, over, low, high = np.broadcast_arrays(
        *(np.asarray(each, dtype=np.float64) for each in (value, below, above, lower, upper))
    )
    plain = (under <= 0) & (over <= 0)
    slack = np.where(plain, -SLACK, SLACK)  # a plain reading must lie beyond the limit, a step may begin at it
    with np.errstate(invalid="ignore"):
        outside = (x - under >= high - slack) | (x + over <= low + slack)
        crosses = [(x - under < limit - SLACK) & (x + over > limit + SLACK) for limit in (low, high)]
    return outside, (crosses[0] | crosses[1]) & ~outside & ~plain


def between_marks(value: npt.ArrayLike, marks: npt.ArrayLike) -> tuple[Floats, Floats]:
    """How far below and above a reading the marks next to it let it reach: halfway to each neighbour.

    value : float, shape (n,), either sign: marks are sizes, a hump of one leaf lies as far below 0 as a hollow above.
    marks : two sizes or more, rising. Beyond the last mark, and below the first, the gap on the other side is taken.
    """
    x, sizes = np.asarray(value, dtype=np.float64), np.asarray(marks, dtype=np.float64)
    size = np.abs(x)
    at_low, at_high = np.searchsorted(sizes, size - SLACK), np.searchsorted(sizes, size + SLACK, side="right")
    down = np.where(at_low > 0, size - sizes[np.maximum(at_low - 1, 0)], np.nan)
    up = np.where(at_high < len(sizes), sizes[np.minimum(at_high, len(sizes) - 1)] - size, np.nan)
    down, up = np.where(np.isnan(down), up, down) / 2, np.where(np.isnan(up), down, up) / 2
    return np.where(x < 0, up, down), np.where(x < 0, down, up)
