"""Are points independent, and limits when they are not.

Neighbouring readings that resemble each other (a drifting jig, a batch of necks from one board) make the moving range
too small for the readings' spread and an average of them too lively for its limits: at a lag-1 correlation of 0.3 an
EWMA with limits for one false opening in 8,000 readings gives 30 times as many. Taken as a first-order autoregression
with correlation phi:

- moving range: mean |x(t) - x(t-1)| = d2 sigma sqrt(1 - phi), so sigma = (mean moving range / d2) / sqrt(1 - phi);
- EWMA: variance = sigma^2 weight / (2 - weight) (1 + phi k) / (1 - phi k), k = 1 - weight; its limits widen by a little
  less than the root, for
  it then moves more smoothly and crosses them less often (`ewma_widening`).

Measured so, weight 0.1, limits from 100 readings, one opening in 8,000 wished (tests/trials/false_signals.md):
0.97 of the wished openings at phi 0.15, 0.96 at 0.3, 0.95 at 0.5.

A step in the mean looks like correlation too: test baselines, or readings less what is known to have moved.

Source: ISO 7870-9 (charts for stationary processes); Schmid (1997), Frontiers in Statistical Quality Control 5, On EWMA
charts for time series; Moran (1948), Biometrika 35 (moments of the lag-1 correlation); Kendall (1954), Biometrika 41
(its bias).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import ndtr

from analysis.methods.allowance import ewma_width
from analysis.methods.problems import UnusableData
from analysis.methods.run_length_weighted import ewma_rate_dependent
from analysis.methods.segments import ONE_STREAM, Flags, Floats, checked, lengths, means

LEAST = 4  # readings of a stream that says anything about neighbours


@dataclass(frozen=True)
class Dependence:
    """Lag-1 correlation of each stream and, pooled, of each group of streams."""

    lag_one: Floats  # (s,) plain r1 of each stream; 0 where it has under 4 readings or equal ones: it says nothing
    used: Flags  # (s,) the streams that say something
    phi: Floats  # (g,) pooled, corrected for the bias of short streams; 0 where no stream of the group says anything
    z: Floats  # (g,) its distance from independence in standard errors
    p: Floats  # (g,) two-sided; 1 where no stream of the group says anything
    readings: Floats  # (g,) how many readings stand behind it


def lag_one(values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM) -> Floats:
    """Lag-1 autocorrelation of each segment, shape (s,): sum (x(t) - m)(x(t+1) - m) / sum (x(t) - m)^2; 0 for equal
    readings.

    Source: NIST/SEMATECH e-Handbook, section 1.3.5.12.
    """
    array, segments = checked(values, starts)
    size = lengths(segments, len(array))
    off = array - np.repeat(means(array, segments), size)
    following = np.append(off[1:], 0.0)
    following[np.append(segments[1:], len(array)) - 1] = 0.0
    products, squares = np.add.reduceat(off * following, segments), np.add.reduceat(off * off, segments)
    scale = np.abs(array[segments]) * 1e-12  # below it what is left of equal readings is rounding
    return np.divide(products, squares, out=np.zeros(len(segments)), where=squares > size * scale**2)


def dependence(
    values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, groups: npt.ArrayLike | None = None
) -> Dependence:
    """Test whether neighbouring readings are correlated, pooled over the streams of each group.

    Parameters
    ----------
    values : float, shape (n,)
        Readings, stream after stream, oldest first; steady ones, say baselines.
    starts : int, shape (s,)
        Where each stream begins in `values`.
    groups : int from 0 on, shape (s,), or None
        The group (the characteristic) of each stream; None: one group.

    Returns
    -------
    Dependence
        Under independence r1 has mean -1/n and variance (n - 2)^2 / (n^2 (n - 1)) for normal readings, exactly; the
        pooled z weighs streams by n. phi = (r + 1/n) / (1 - 3/n), pooled.

    Raises
    ------
    UnusableData
        A missing reading, groups that are not one number from 0 on for each stream.
    """
    array, segments = checked(values, starts)
    group = np.zeros(len(segments), dtype=np.int64) if groups is None else np.asarray(groups, dtype=np.int64)
    if group.shape != segments.shape or bool((group < 0).any()):
        raise UnusableData(f"{group.shape} groups for {len(segments)} streams; wanted one number from 0 on for each")
    r = lag_one(array, segments)
    n = lengths(segments, len(array)).astype(np.float64)
    ends = np.maximum.reduceat(array, segments) > np.minimum.reduceat(array, segments)
    used = (n >= LEAST) & ends
    weight = np.where(used, n, 0.0)
    excess = np.bincount(group, weight * (r + 1 / n))
    total = np.asarray(np.bincount(group, weight), dtype=np.float64)
    shrunk = np.bincount(group, weight * (1 - 3 / n))
    variance = np.bincount(group, np.where(used, (n - 2) ** 2 / np.maximum(n - 1, 1), 0.0))
    some = total > 0
    z = np.divide(excess, np.sqrt(variance), out=np.zeros(len(total)), where=some)
    phi = np.divide(excess, shrunk, out=np.zeros(len(total)), where=some)
    return Dependence(r, used, np.clip(phi, -0.99, 0.99), z, np.asarray(2 * ndtr(-np.abs(z))), total)


def _checked_phi(phi: npt.ArrayLike) -> Floats:
    array = np.asarray(phi, dtype=np.float64)
    if not bool((np.abs(array) < 1).all()):
        raise UnusableData(f"phi is {array}; wanted a correlation between -1 and 1")
    return array


def sigma_factor(phi: npt.ArrayLike) -> Floats:
    """Sigma of the readings over (mean moving range / d2): 1 / sqrt(1 - phi), shape of phi. Limits of single readings
    widen by it.
    """
    return np.asarray(1 / np.sqrt(1 - _checked_phi(phi)))


def ewma_factor(phi: npt.ArrayLike, weight: float = 0.1) -> Floats:
    """Long-run sd of an EWMA over that of independent readings of the same sigma: sqrt((1 + phi k) / (1 - phi k)), k =
    1 - weight.
    """
    kept = _checked_phi(phi) * (1 - weight)
    return np.asarray(np.sqrt((1 + kept) / (1 - kept)))


def ewma_widening(phi: float, *, weight: float = 0.1, arl: float = 8000.0) -> float:
    """What to multiply the width of an EWMA by whose sigma is mean moving range / d2, so that it signals once in `arl`
    readings again.

    `sigma_factor` times `ewma_factor`, less what the smoother course of the average gives back: its rate with limits so
    widened would be
    0.90 of the wished one at phi 0.15, 0.81 at 0.3, 0.67 at 0.5 (1.20 at -0.3). Found from the chain of two successive
    averages. phi counts to three decimals, from -0.9 to 0.9.
    """
    _checked_phi(phi)
    return _widening(round(min(max(float(phi), -0.9), 0.9), 3), weight, arl)


@lru_cache(maxsize=1024)
def _widening(phi: float, weight: float, arl: float) -> float:
    if phi == 0 or weight == 1:
        return float(sigma_factor(phi))
    plain = ewma_width(min(max(arl, 20.0), 1e6), weight=weight, baseline=None)
    wished = math.log(ewma_rate_dependent(plain, 0.0, weight=weight))
    by_variance = plain * float(ewma_factor(phi, weight))

    def excess(width: float) -> float:
        return math.log(ewma_rate_dependent(width, phi, weight=weight)) - wished

    width = brentq(excess, 0.5 * by_variance, 1.25 * by_variance, xtol=1e-4)
    return float(width / plain * sigma_factor(phi))


def ewma_variance(readings: npt.ArrayLike, phi: float, weight: float = 0.1) -> Floats:
    """Variance of the average after so many readings (from 1) since it stood at the centre, in sigma^2; shape of
    `readings`.

    weight^2 sum over i, j < readings of k^(i + j) phi^|i - j|, in closed form.
    """
    _checked_phi(phi)
    t = np.asarray(readings, dtype=np.float64)
    k = 1 - weight
    own = (1 - k ** (2 * t)) / (1 - k * k)
    if phi == 0 or k == 0:
        return np.asarray(weight**2 * own)
    if abs(phi - k) < 1e-9:
        phi = k + 1e-7  # the two geometric sums fall together; the limit is approached smoothly
    # 2 sum over i of k^(2 i) sum over d = 1 .. t - 1 - i of (k phi)^d
    both = 2 / (1 - k * phi) * (k * phi * own - (k ** (2 * t) - (k * phi) ** t) / (k / phi - 1))
    return np.asarray(weight**2 * (own + both))


def effective_size(n: npt.ArrayLike, phi: npt.ArrayLike) -> Floats:
    """How many independent readings have a mean as sure as n correlated ones: n / (1 + 2 sum (1 - j/n) phi^j), shape of
    n and phi.

    It is for intervals of a mean. The width of an EWMA asks for the plain number of readings of its baseline: the mean
    errs more, but so does the average that is held against it, by nearly the same factor.
    """
    size, rho = np.asarray(n, dtype=np.float64), _checked_phi(phi)
    return np.asarray(size / ((1 + rho) / (1 - rho) - 2 * rho * (1 - rho**size) / (size * (1 - rho) ** 2)))
