"""The ratio of a count to what was expected, where what was expected is itself only known so well.

An expectation `e` with variance `v` is worth the count m = e^2 / v of others, seen over m / e times the exposure: given
both counts, the share of them that is the own count is binomial, and its mid-p limits give those of the ratio. With v =
0 they are the mid-p limits of a Poisson count over a known expectation.
Source: Breslow & Day 1987, IARC Scientific Publications 82, section 3.4 (ratio of two Poisson counts, by the binomial);
mid-p: Lancaster 1961, J. American Statistical Association 56 (from memory); m from the two moments as Fay & Feuer 1997,
Statistics in Medicine 16, match a gamma.
"""

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.methods.intervals import tails
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

KNOWN = 1e8  # others' count from which on the expectation is as good as known
HALVINGS = 100


def ratio_mid_p(
    count: npt.ArrayLike, expected: npt.ArrayLike, variance: npt.ArrayLike, level: float = 0.95
) -> tuple[Floats, Floats]:
    """Limits of count / expected for each unit, shape (u,); `variance` is how well the expectation is known, 0 = known.

    Raises UnusableData for a count that is no whole number of at least 0, an expectation of nothing, or a variance
    below 0.
    """
    k, e, v = (np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in np.broadcast_arrays(count, expected, variance))
    if not bool(
        ((k >= 0) & (k == np.floor(k)) & np.isfinite(k) & (e > 0) & np.isfinite(e) & (v >= 0) & np.isfinite(v)).all()
    ):
        raise UnusableData(
            "a ratio needs whole counts of at least 0, expectations above 0 and variances of at least 0; leave out "
            "who had nothing expected"
        )
    tail, _ = tails(level, "both")
    others = np.minimum(e**2 / np.maximum(v, e**2 / KNOWN), KNOWN)
    return np.where(k > 0, _limit(k, others, tail), 0.0) / e, _limit(k, others, 1 - tail) / e


def _limit(k: Floats, others: Floats, chance: float) -> Floats:
    """Mean own count at which as many as `k` or more, half of the tie, have this chance."""
    low, high = np.zeros(len(k)), np.ones(len(k))
    for _ in range(HALVINGS):  # of all units at once
        p = (low + high) / 2
        above = (special.betainc(np.maximum(k, 1e-300), others + 1, p) + special.betainc(k + 1, others, p)) / 2
        low, high = np.where(above < chance, p, low), np.where(above < chance, high, p)
    p = (low + high) / 2
    return np.asarray(others * p / np.maximum(1 - p, 1e-300), dtype=np.float64)
