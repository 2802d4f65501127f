"""How far a share, a count or a mean can be trusted: exact intervals, for one number or for many at once.

Every function takes numbers or arrays that broadcast and returns `(low, high)` as float arrays of the broadcast shape.
`side` is "both" (the level split over two ends), "lower" or "upper" (the whole risk at that end, the other end open).
"""

from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

Side = Literal["both", "lower", "upper"]


def binomial_exact(
    k: npt.ArrayLike, n: npt.ArrayLike, level: float = 0.95, *, side: Side = "both"
) -> tuple[Floats, Floats]:
    """Exact interval of a share, `k` of `n`; nothing seen (n = 0) says nothing: 0 to 1.

    Raises UnusableData unless 0 <= k <= n in whole numbers.

    Source: Clopper & Pearson 1934, Biometrika 26, as in Newcombe 1998, Statistics in Medicine 17.
    """
    found, out_of = _counts(k, n)
    low_tail, high_tail = tails(level, side)
    low = np.zeros(found.shape)
    high = np.ones(found.shape)
    if low_tail:
        low[...] = np.where(found > 0, special.betaincinv(np.maximum(found, 1), out_of - found + 1, low_tail), 0.0)
    if high_tail:
        high[...] = np.where(
            found < out_of, special.betaincinv(found + 1, np.maximum(out_of - found, 1), 1 - high_tail), 1.0
        )
    return low, high


def hypergeometric_exact(k: int, n: int, lot: int, level: float = 0.95) -> tuple[float, float]:
    """Exact interval of the share of a lot of `lot` pieces, of which `n` were drawn and `k` found; both ends whole
    pieces. Where every piece was looked at both ends are the share.

    Raises UnusableData unless 0 <= k <= n <= lot and n >= 1.

    Source: Konijn 1973, Statistical Theory of Sample Survey Design and Analysis (from memory); the finite analogue of
    Clopper & Pearson 1934: ends by the tails of the hypergeometric distribution.
    """
    if not (0 <= k <= n <= lot and n >= 1):
        raise UnusableData(f"{k} of {n} drawn from {lot}; wanted 0 <= k <= n <= lot, one drawn or more")
    tail = (1 - level) / 2
    bad = np.arange(k, lot - (n - k) + 1)  # whole lots that could have given k of n
    as_many = stats.hypergeom.sf(k - 1, lot, bad, n) > tail
    as_few = stats.hypergeom.cdf(k, lot, bad, n) > tail
    return float(bad[as_many].min() / lot), float(bad[as_few].max() / lot)


def wilson(k: npt.ArrayLike, n: npt.ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Score interval of a share, `k` of `n`: shorter than the exact one, right on average; 0 to 1 where n = 0.

    Source: Wilson 1927, J. American Statistical Association 22, as in Newcombe 1998.
    """
    found, out_of = _counts(k, n)
    z2 = special.ndtri(1 - tails(level, "both")[0]) ** 2
    tried = np.maximum(out_of, 1)
    middle = (found + z2 / 2) / (tried + z2)
    half = np.sqrt(z2) * np.sqrt(found * (tried - np.minimum(found, tried)) / tried + z2 / 4) / (tried + z2)
    low = np.where((found > 0) & (out_of > 0), middle - half, 0.0)
    high = np.where((found < out_of) & (out_of > 0), middle + half, 1.0)
    return np.maximum(low, 0.0), np.minimum(high, 1.0)


def poisson_exact(k: npt.ArrayLike, level: float = 0.95, *, side: Side = "both") -> tuple[Floats, Floats]:
    """Exact interval of the expected count behind a count of `k`; divide both by what was expected for a ratio.

    Raises UnusableData unless k is a whole number of at least 0. With side "lower" the high end is infinite.

    Source: Garwood 1936, Biometrika 28; printed in Breslow & Day 1987, IARC Scientific Publications 82, table 2.10.
    """
    found = np.asarray(k, dtype=np.float64)
    if not _whole(found):
        raise UnusableData("a count must be a whole number of at least 0; look at the counts behind this interval")
    low_tail, high_tail = tails(level, side)
    low = (
        np.where(found > 0, special.gammaincinv(np.maximum(found, 1), low_tail), 0.0)
        if low_tail
        else np.zeros(found.shape)
    )
    high = special.gammaincinv(found + 1, 1 - high_tail) if high_tail else np.full(found.shape, np.inf)
    return np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)


def poisson_ratio(k: npt.ArrayLike, expected: npt.ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Exact interval of the ratio of a count `k` to what was `expected`, taking that as known and above 0.

    Source: Breslow & Day 1987, IARC Scientific Publications 82, section 2.3.
    """
    wanted = np.asarray(expected, dtype=np.float64)
    if not bool((wanted > 0).all()):
        raise UnusableData("the expected count must be above 0; leave out who had nothing to be compared with")
    low, high = poisson_exact(k, level)
    return low / wanted, high / wanted


def mean_t(
    mean: npt.ArrayLike, sd: npt.ArrayLike, n: npt.ArrayLike, level: float = 0.95, *, side: Side = "both"
) -> tuple[Floats, Floats]:
    """Interval of a mean from the mean, s and number of readings, in the unit of the mean.

    Raises UnusableData below two readings or with an s below 0. Source: NIST/SEMATECH e-Handbook, section 7.2.2.1.
    """
    centre, spread, count = _moments(mean, sd, n)
    low_tail, high_tail = tails(level, side)
    error = spread / np.sqrt(count)
    low = centre - stats.t.isf(low_tail, count - 1) * error if low_tail else np.full(centre.shape, -np.inf)
    high = centre + stats.t.isf(high_tail, count - 1) * error if high_tail else np.full(centre.shape, np.inf)
    return np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)


def sd_chi(sd: npt.ArrayLike, n: npt.ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Interval of a standard deviation from s and the number of normal readings, in the unit of s.

    Raises UnusableData below two readings or with an s below 0. Source: NIST/SEMATECH e-Handbook, section 7.2.3.1.
    """
    _, spread, count = _moments(0.0, sd, n)
    tail = tails(level, "both")[0]
    nu = count - 1
    return spread * np.sqrt(nu / stats.chi2.isf(tail, nu)), spread * np.sqrt(nu / stats.chi2.ppf(tail, nu))


def tails(level: float, side: Side) -> tuple[float, float]:
    """The risk at the low and at the high end."""
    if not 0 < level < 1:
        raise UnusableData(f"a confidence level lies between 0 and 1; got {level}")
    risk = 1 - level
    return {"both": (risk / 2, risk / 2), "lower": (risk, 0.0), "upper": (0.0, risk)}[side]


def _whole(counts: Floats) -> bool:
    return bool((np.isfinite(counts) & (counts >= 0) & (counts == np.floor(counts))).all())


def _counts(k: npt.ArrayLike, n: npt.ArrayLike) -> tuple[Floats, Floats]:
    found, out_of = np.broadcast_arrays(np.asarray(k, dtype=np.float64), np.asarray(n, dtype=np.float64))
    if not (_whole(found) and _whole(out_of) and bool((found <= out_of).all())):
        raise UnusableData("a share needs whole numbers with 0 <= k <= n; look at the counts behind this interval")
    return found, out_of


def _moments(mean: npt.ArrayLike, sd: npt.ArrayLike, n: npt.ArrayLike) -> tuple[Floats, Floats, Floats]:
    centre, spread, count = np.broadcast_arrays(*(np.asarray(x, dtype=np.float64) for x in (mean, sd, n)))
    if not bool((np.isfinite(centre) & (spread >= 0) & (count >= 2)).all()):
        raise UnusableData(
            "an interval needs a mean, an s of at least 0 and two readings or more; leave out rows with fewer"
        )
    return centre, spread, count
