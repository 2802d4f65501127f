"""How many faults a sample may show where the pieces are like those of a baseline: limits that look ahead.

Source: Thatcher 1964, Relationships between Bayesian and confidence limits for predictions, J. Royal Statistical
Society B 26.
"""

import numpy as np
import numpy.typing as npt
from scipy.special import betaln, gammaln
from scipy.stats import nbinom

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats


def binomial_ahead(
    base_count: npt.ArrayLike, base_size: npt.ArrayLike, size: npt.ArrayLike, *, false_rate: float = 0.003
) -> tuple[Floats, Floats]:
    """Fewest and most faulty pieces of `size` that pieces like those of the baseline let expect.

    Parameters
    ----------
    base_count, base_size : whole numbers, shape (m,)
        Faulty pieces and pieces in the baseline.
    size : whole numbers, shape (m,)
        Pieces in the sample to judge.
    false_rate : float
        Chance of a false flag on each side, over baseline and sample together, at most this whatever the true share.

    Returns
    -------
    lower, upper : float, shape (m,)
        Counts that are still no flag; the baseline's own uncertainty is in them: beta-binomial with
        Beta(count + 1, size - count) above and Beta(count, size - count + 1) below.

    Source: Thatcher 1964, who shows that these priors keep the rate at most (from memory; the rate is shown by
    simulation).
    """
    x, big, n = (
        np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in np.broadcast_arrays(base_count, base_size, size)
    )
    if (x < 0).any() or (x > big).any() or (big < 1).any() or (n < 0).any() or not 0 < false_rate < 0.5:
        raise UnusableData(
            "looking ahead wants 0 to base_size faulty pieces, sizes of at least 1 and a false rate between 0 and a "
            "half"
        )
    faulty, sound = _most(x + 1, big - x, n, false_rate), _most(big - x + 1, x, n, false_rate)
    return n - sound, faulty


def _most(a: Floats, b: Floats, n: Floats, rate: float, cells: int = 1 << 20) -> Floats:
    """Smallest count that a beta-binomial (a, b) of n exceeds with a chance of at most `rate`; n where b is 0."""
    most = n.copy()
    unsure = np.flatnonzero(b > 0)
    for at in np.array_split(unsure, max(1, int(len(unsure) * (n.max(initial=0) + 1) / cells))):
        if len(at):
            k, m = np.arange(n[at].max() + 1), n[at, None]
            some = np.minimum(k, m)
            log = gammaln(m + 1) - gammaln(some + 1) - gammaln(m - some + 1)
            log += betaln(some + a[at, None], m - some + b[at, None]) - betaln(a[at], b[at])[:, None]
            chance = np.where(k <= m, np.exp(log), 0.0)
            above = (
                np.cumsum(chance[:, ::-1], axis=1)[:, ::-1] - chance
            )  # chance of more than k, summed from the small end
            most[at] = np.argmax(above <= rate, axis=1)
    return most


def poisson_ahead(
    base_count: npt.ArrayLike, base_size: npt.ArrayLike, size: npt.ArrayLike, *, false_rate: float = 0.003
) -> tuple[Floats, Floats]:
    """Fewest and most faults on `size` pieces that the faults of a baseline let expect; as `binomial_ahead`, by
    gamma-Poisson.

    Sizes may be any number above 0. The negative binomial with count + 1 above and count below (no lower limit from
    none).
    """
    x, big, n = (
        np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in np.broadcast_arrays(base_count, base_size, size)
    )
    if (x < 0).any() or (big <= 0).any() or (n <= 0).any() or not 0 < false_rate < 0.5:
        raise UnusableData(
            "looking ahead wants counts of at least 0, sizes above 0 and a false rate between 0 and a half"
        )
    share = big / (big + n)
    upper = nbinom.isf(false_rate, x + 1, share)
    lower = np.where(x > 0, nbinom.ppf(false_rate, np.maximum(x, 1), share), 0.0)
    return lower, upper
