"""Are counts further from what was expected than chance and the usual unrest between units explain.

A unit (a tech at a stage, a supplier) has a count `observed` and what was `expected` of it (indirect standardization):
ratio = observed / expected, 1 = as expected.
Source: Spiegelhalter 2005, Funnel plots for comparing institutional performance, Statistics in Medicine 24;
Spiegelhalter 2005, Handling over-dispersion of performance indicators, Quality and Safety in Health Care 14; shrinkage:
Clayton & Kaldor 1987, Biometrics 43.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special, stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Floats

LEVEL = 0.998
WINSORIZED = 0.10  # share of units at each end whose z is pulled in before unrest is judged
LEAST_UNITS = 5  # fewer cannot tell unrest from one of them being different; then the limits are those of chance
UNRESTS = np.linspace(0.0, 1.5, 121)  # spread of true ratios between units, as a standard deviation


@dataclass(frozen=True)
class Funnel:
    """Limits of the ratio for each unit, shape (u,), and the unrest they allow for."""

    ratio: Floats
    low: Floats
    high: Floats
    outside: Flags
    multiplier: float  # phi: variance over what chance gives, 1 where that was not shown to be more
    between_sd: float  # tau: additive spread of ratios between units, 0 likewise


@dataclass(frozen=True)
class Shrunk:
    """Ratios pulled towards 1 by how little they are known, shape (u,)."""

    ratio: Floats
    low: Floats
    high: Floats
    between_sd: float  # mean spread of true ratios given the counts


def standardized(group: npt.ArrayLike, count: npt.ArrayLike, exposure: npt.ArrayLike, by: npt.ArrayLike) -> Floats:
    """What each unit would have had at everybody's rate in its own mix (indirect standardization), shape (u,).

    Rows of (unit 0..u-1, count, exposure, kind of work): a rate per kind over all units, times the unit's exposure.
    """
    unit, kind = np.asarray(group, dtype=np.int64), np.unique(np.asarray(by), return_inverse=True)[1]
    found, base = np.asarray(count, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    if not (unit.shape == kind.shape == found.shape == base.shape) or not bool((base > 0).all()):
        raise UnusableData(
            "standardization needs a unit, a count, an exposure above 0 and a kind of work for every row"
        )
    rate = np.bincount(kind, found) / np.bincount(kind, base)
    return np.bincount(unit, rate[kind] * base).astype(np.float64)


def funnel(
    observed: npt.ArrayLike, expected: npt.ArrayLike, *, level: float = LEVEL, rule: str = "multiplicative"
) -> Funnel:
    """Which units lie outside the funnel, after allowing for unrest that all share.

    Parameters
    ----------
    observed, expected : shape (u,)
        Counts and expected counts above 0.
    level : float
        Two-sided; .998 leaves 1 in 1000 beyond each limit by chance.
    rule : "multiplicative" | "additive" | "none"
        Multiplicative: limits are those of chance, widened by the root of the winsorized mean square z, where the sum
        of squares is beyond its 95 % point under chance. Additive: a spread between units is added (method of moments,
        winsorized z). Under five units neither is tried.

    Limits of chance are exact Poisson ones (`chance_limits`), since expected counts are small here.
    """
    found, wanted = _counts(observed, expected)
    low, high = chance_limits(wanted, level)
    z = winsorized(2 * (np.sqrt(found) - np.sqrt(wanted)))  # root: variance near 1 whatever the expected count
    phi, tau2 = 1.0, 0.0
    units, total = len(z), float((z**2).sum())
    if rule not in ("multiplicative", "additive", "none"):
        raise UnusableData(f'the rules are "multiplicative", "additive" and "none"; got "{rule}"')
    if rule != "none" and units >= LEAST_UNITS and total > float(stats.chi2.ppf(0.95, units)):
        if rule == "multiplicative":
            phi = total / units
        else:
            tau2 = max(0.0, (total - (units - 1)) / (wanted.sum() - (wanted**2).sum() / wanted.sum()))
    spread = np.sqrt(phi + tau2 * wanted)  # sd of z about what chance gives: 1 / E + tau^2 over 1 / E
    low, high = np.maximum(1 - (1 - low) * spread, 0.0), 1 + (high - 1) * spread
    ratio = found / wanted
    return Funnel(ratio, low, high, (ratio < low) | (ratio > high), phi, float(np.sqrt(tau2)))


def chance_limits(expected: npt.ArrayLike, level: float = LEVEL) -> tuple[Floats, Floats]:
    """Limits of a ratio that is 1 but for chance: exact Poisson quantiles, interpolated between counts so that they run
    smoothly.

    Source: Spiegelhalter 2005, Statistics in Medicine 24, appendix A.1.1 (as given there for the binomial).
    """
    wanted = np.asarray(expected, dtype=np.float64)
    if not bool((wanted > 0).all()):
        raise UnusableData("the expected count must be above 0; leave out who had nothing to be compared with")
    tail = (1 - level) / 2
    return _quantile(wanted, tail) / wanted, _quantile(wanted, 1 - tail) / wanted


def winsorized(z: Floats) -> Floats:
    """z with the outermost tenth at each end pulled in to the next, so that who is truly different does not widen the
    funnel.
    """
    if len(z) < 2:
        return z
    low, high = np.quantile(z, [WINSORIZED, 1 - WINSORIZED])
    return np.clip(z, low, high)


def shrunk(
    observed: npt.ArrayLike, expected: npt.ArrayLike, variance: npt.ArrayLike = 0.0, *, level: float = 0.95
) -> Shrunk:
    """Ratios and intervals that borrow strength from all units: gamma spread of true ratios round 1, Poisson counts.

    variance : how well each expectation is known; both counts of a unit stand for so much less: by 1 + variance /
    expected, by which it widens the spread of a ratio of 1.

    The spread is not taken as known: each from 0 to 1.5 is weighed by how likely it makes the counts (flat before they
    are seen), so few units give honest, wide intervals instead of none.
    """
    found, wanted = _counts(observed, expected)
    doubt = 1 + np.asarray(variance, dtype=np.float64) / wanted
    found, wanted = found / doubt, wanted / doubt
    weight = np.array([_log_marginal(found, wanted, spread) for spread in UNRESTS])
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    shape = np.divide(1.0, UNRESTS**2, out=np.full(len(UNRESTS), 1e12), where=UNRESTS > 0)  # no spread: all at 1
    a, b = shape[:, None] + found[None, :], shape[:, None] + wanted[None, :]
    ratio = weight @ (a / b)
    tail = (1 - level) / 2
    low, high = (
        np.array([_mixture(weight, a[:, u], b[:, u], share) for u in range(len(found))]) for share in (tail, 1 - tail)
    )
    return Shrunk(ratio, low, high, float(weight @ UNRESTS))


def _mixture(weight: Floats, a: Floats, b: Floats, share: float) -> float:
    likely = weight > 1e-12
    w, shape, rate = weight[likely], a[likely], b[likely]
    ends = special.gammaincinv(shape, share) / rate
    if len(ends) == 1 or np.ptp(ends) < 1e-9:
        return float(ends[0])
    return float(
        optimize.brentq(
            lambda x: float(w @ special.gammainc(shape, rate * x)) - share * w.sum(), ends.min(), ends.max()
        )
    )


def _log_marginal(found: Floats, wanted: Floats, spread: float) -> float:
    """Of counts that need not be whole: Poisson, or with a gamma spread of ratios negative binomial."""
    if spread == 0:
        return float((special.xlogy(found, wanted) - wanted - special.gammaln(found + 1)).sum())
    a = 1 / spread**2
    chance = special.gammaln(a + found) - special.gammaln(a) - special.gammaln(found + 1)
    return float((chance + a * np.log(a / (a + wanted)) + special.xlogy(found, wanted / (a + wanted))).sum())


def _quantile(expected: Floats, p: float) -> Floats:
    """Smallest count reaching p, less the part of its own chance that was not needed."""
    k = stats.poisson.ppf(p, expected)
    over = stats.poisson.cdf(k, expected) - p
    return np.asarray(np.maximum(k - over / stats.poisson.pmf(k, expected), 0.0), dtype=np.float64)


def _counts(observed: npt.ArrayLike, expected: npt.ArrayLike) -> tuple[Floats, Floats]:
    found, wanted = np.asarray(observed, dtype=np.float64), np.asarray(expected, dtype=np.float64)
    if found.shape != wanted.shape or found.ndim != 1 or len(found) == 0:
        raise UnusableData(
            f"a funnel needs an observed and an expected count a unit; got shapes {found.shape} and {wanted.shape}"
        )
    if not bool((np.isfinite(wanted) & (wanted > 0) & (found >= 0) & (found == np.floor(found))).all()):
        raise UnusableData(
            "counts must be whole numbers of at least 0 and expected counts above 0; leave out who had no exposure"
        )
    return found, wanted
