"""How likely each place is as the start of a change: log-likelihoods over no change, for all segments in one pass."""

import numpy as np

from analysis.methods.constants import d2
from analysis.methods.segments import Floats, Ints
from analysis.methods.weighted import faded

NO_START = -1.0  # below every log-likelihood over no change


def standardized(
    x: Floats, local: Ints, size: Ints, sigma: Floats | None, before: Floats | None
) -> tuple[Floats, Floats, Floats]:
    """Centre and sigma of each segment and the readings in sigmas off the centre; a constant run is exactly 0
    throughout.
    """
    if sigma is None:
        moves = np.abs(np.diff(x, prepend=x[0]))
        moves[local] = 0.0
        sigma = np.add.reduceat(moves, local) / np.maximum(size - 1, 1) / d2(2)
    scaled = x - np.repeat(x[local], size)
    if before is None:
        rest = np.add.reduceat(scaled, local) / size
        centre = x[local] + rest
    else:
        rest = before - x[local]
        centre = before
    scaled -= np.repeat(rest, size)
    scaled *= np.repeat(np.divide(1.0, sigma, out=np.zeros(len(size)), where=sigma > 0), size)
    return centre, sigma, scaled


def _sums_before(scaled: Floats, local: Ints) -> Floats:
    """Sum of the readings of the segment before each place: to the last digit by this segment alone."""
    sums = np.empty(len(scaled))
    sums[1:] = faded(scaled, local, 1.0)[:-1]
    sums[local] = 0.0
    return sums


def _places(local: Ints, size: Ints) -> Floats:
    return np.arange(int(size.sum()), dtype=np.float64) - np.repeat(local.astype(np.float64), size)


def step_scan(scaled: Floats, local: Ints, size: Ints, _sigma: Floats) -> tuple[Floats, Floats]:
    """Sum after each place and half of its square over its variance; NO_START at each segment's first reading, which
    cannot be the start.
    """
    score = -_sums_before(scaled, local)
    k = _places(local, size)
    variance = k * (1.0 - k * np.repeat(1.0 / size, size))
    variance[local] = 1.0
    likelihood = 0.5 * score * score / variance
    likelihood[local] = NO_START
    return score, likelihood


def level_scan(scaled: Floats, local: Ints, size: Ints, _sigma: Floats) -> tuple[Floats, Floats]:
    """The same where the mean before is known: all readings from the place on against it."""
    before = _sums_before(scaled, local)
    totals = before[local + size - 1] + scaled[local + size - 1]
    score = np.repeat(totals, size) - before
    return score, 0.5 * score * score / (np.repeat(size.astype(np.float64), size) - _places(local, size))


def ramp(after: Floats, n: Ints | Floats) -> tuple[Floats, Floats]:
    """Sum of 1, 2 ... after, and its sum of squares about the mean over all n readings of the segment."""
    total = after * (after + 1) / 2
    return total, total * ((2 * after + 1) / 3 - total / n)


def drift_scan(scaled: Floats, local: Ints, size: Ints, _sigma: Floats) -> tuple[Floats, Floats]:
    """Sum of reading times ramp for each start of the ramp, and half of its square over its variance."""
    before = _sums_before(scaled, local)
    running = faded(before, local, 1.0)
    score = -(np.repeat(running[local + size - 1], size) - running + before)
    _, variance = ramp(np.repeat(size.astype(np.float64), size) - _places(local, size), np.repeat(size, size))
    variance[variance <= 0] = np.inf
    return score, 0.5 * score * score / variance
