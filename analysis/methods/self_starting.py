"""Judging a young stream by itself: each reading against those before it, on the scale of a standard normal.

Q_r = PHI^-1( G_(r-2)( sqrt((r-1)/r) (x_r - mean_(r-1)) / s_(r-1) ) ), with G the t distribution. In control the Q of
one stream are independent standard normal, whatever its mean and sigma, so many young streams can stand on one chart.

Source: Quesenberry (1991), SPC Q charts for start-up processes and short or long runs, J. Quality Technology 23,
213-224 (formula from memory; its law is shown by simulation); ISO 7870-8 for the idea of one chart for small mixed
batches.
"""

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri, stdtr

from analysis.methods.segments import ONE_STREAM, Floats, checked, lengths, places, rectangles

BOUND = 8.0  # a Q beyond this says no more than "far out"


def self_starting(values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, step: npt.ArrayLike = 0.0) -> Floats:
    """Q of each reading, shape (n,); 0 for the first two of a segment and where nothing has moved yet.

    Parameters
    ----------
    values : float (n,), oldest first in each segment.
    starts : int (s,)
    step : float or (s,), the gauge's step: its variance step^2 / 12 is added to that of the readings before, so that a
    first reading
        one step away from equal ones is no surprise.
    """
    readings, begins = checked(values, starts)
    size = lengths(begins, len(readings))
    place = places(begins, len(readings))
    off = readings - np.repeat(readings[begins], size)  # the sums stay small
    before, squares = _running(off, begins, size), _running(off**2, begins, size)
    count = np.maximum(place, 1)
    mean = before / count
    variance = np.maximum(squares - count * mean**2, 0.0) / np.maximum(count - 1, 1)
    grain = np.repeat(np.broadcast_to(np.asarray(step, dtype=np.float64), begins.shape) ** 2 / 12, size)
    scale = np.sqrt(variance + grain)
    usable = (place >= 2) & (scale > 1e-9 * np.maximum(np.abs(readings), 1e-300))
    t = np.sqrt(count / (count + 1.0)) * (off - mean) / np.where(usable, scale, 1.0)
    upper = stdtr(np.maximum(count - 1, 1), -np.abs(t))  # the tail, where it keeps its digits
    q = -np.sign(t) * ndtri(np.maximum(upper, 1e-300))
    return np.where(usable, np.clip(q, -BOUND, BOUND), 0.0)


def _running(values: Floats, begins: npt.NDArray[np.int64], size: npt.NDArray[np.int64]) -> Floats:
    """Sum of what came before each reading in its segment, of its own readings alone: to the last digit whatever
    stands beside it.
    """
    found = np.empty(len(values))
    for which, longest in rectangles(size):
        along = np.arange(longest)
        inside = along < size[which, None]
        at = (begins[which, None] + along)[inside]
        cells = np.zeros(inside.shape)
        cells[inside] = values[at]
        total = np.cumsum(cells, axis=1)
        found[at] = (np.pad(total[:, :-1], ((0, 0), (1, 0))))[inside]
    return found
