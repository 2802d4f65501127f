"""Between which limits a wished share of all instruments lies, with a wished confidence.

Limits are mean -+ factor x s for normal readings, or two of the readings themselves whatever their distribution.
Source: NIST/SEMATECH e-Handbook, section 7.2.6; Odeh & Owen 1980, Tables for Normal Tolerance Limits; ISO 16269-6;
Wilks 1941, Annals of Mathematical Statistics 12.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, log, sqrt

import numpy as np
import numpy.typing as npt
from scipy import optimize, special, stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Floats, checked, lengths, means, segment_ids, sums


@dataclass(frozen=True)
class Band:
    """Limits of each stream in the unit of its readings; an end not asked for is infinite."""

    low: Floats  # (s,)
    high: Floats  # (s,)


def normal_band(
    values: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    coverage: float = 0.95,
    confidence: float = 0.95,
    side: str = "both",
) -> Band:
    """Exact tolerance limits of normal readings, for one stream or many.

    Parameters
    ----------
    values : float, shape (n,)
    starts : int, shape (s,)
        Two readings a stream at least.
    coverage, confidence : float
        Share that must lie within, and how surely.
    side : "both" | "lower" | "upper"
        "lower": at least this share lies above `low`.
    """
    x, begins = checked(values, starts)
    n = lengths(begins, len(x))
    if int(n.min()) < 2:
        raise UnusableData("tolerance limits need two readings a stream or more; leave out streams with fewer")
    mean = means(x, begins)
    s = np.sqrt(sums((x - mean[segment_ids(begins, len(x))]) ** 2, begins) / (n - 1))
    sizes, which = np.unique(n, return_inverse=True)
    factor = two_sided if side == "both" else one_sided
    reach = np.array([factor(int(size), coverage, confidence) for size in sizes])[which] * s
    nowhere = np.full(len(begins), np.inf)
    return Band(mean - reach if side != "upper" else -nowhere, mean + reach if side != "lower" else nowhere)


@lru_cache(maxsize=4096)
def two_sided(n: int, coverage: float, confidence: float, nu: float | None = None) -> float:
    """Exact factor of s for two limits about the mean of n readings; `nu` degrees of freedom of s, n - 1 unless given.

    Solves the integral over the mean of P(s is wide enough for the share within) = confidence.
    Source: Odeh & Owen 1980; Howe's and other printed approximations stand in `printed_factor`.
    """
    freedom = _sizes(n, coverage, confidence, nu)
    nodes, weights = np.polynomial.legendre.leggauss(120)
    reach = 9.0 / sqrt(n)  # in sigma: the mean is never 9 standard errors off
    z = (nodes + 1) / 2 * reach
    density = weights * reach / 2 * 2 * np.sqrt(n / (2 * np.pi)) * np.exp(-n * z**2 / 2)
    half = np.sqrt(stats.ncx2.ppf(coverage, 1, z**2))  # half width about z that holds the share

    def short(factor: float) -> float:
        return float(density @ stats.chi2.sf(freedom * (half / factor) ** 2, freedom)) - confidence

    low = float(special.ndtri((1 + coverage) / 2)) * 0.5
    high = low
    while short(high) < 0:
        high *= 2
    return float(optimize.brentq(short, low / 1e3, high, xtol=1e-12))


@lru_cache(maxsize=4096)
def one_sided(n: int, coverage: float, confidence: float, nu: float | None = None) -> float:
    """Exact factor of s for one limit, from the noncentral t distribution. Source: NIST/SEMATECH e-Handbook, section
    7.2.6.3.
    """
    freedom = _sizes(n, coverage, confidence, nu)
    return float(stats.nct.ppf(confidence, freedom, special.ndtri(coverage) * sqrt(n)) / sqrt(n))


def printed_factor(n: int, coverage: float, confidence: float, rule: str) -> float:
    """The approximations that printed tables hold, to compare with them; no figure uses these.

    rule: "howe" (two-sided, Howe 1969), "wald wolfowitz" (two-sided, 1946: tables of Bowker in Eisenhart, Hastay &
    Wallis 1947), "natrella" (one-sided, NBS Handbook 91, 1963).
    """
    nu = _sizes(n, coverage, confidence, None)
    if rule == "natrella":
        z_share, z_sure = float(special.ndtri(coverage)), float(special.ndtri(confidence))
        a = 1 - z_sure**2 / (2 * nu)
        return (z_share + sqrt(z_share**2 - a * (z_share**2 - z_sure**2 / n))) / a
    stretch = sqrt(nu / float(stats.chi2.ppf(1 - confidence, nu)))
    if rule == "howe":
        return float(special.ndtri((1 + coverage) / 2)) * sqrt(1 + 1 / n) * stretch
    if rule == "wald wolfowitz":
        return float(np.sqrt(stats.ncx2.ppf(coverage, 1, 1 / n))) * stretch
    raise UnusableData(f'the rules are "howe", "wald wolfowitz" and "natrella"; got "{rule}"')


def drop(n: int, coverage: float, confidence: float) -> int:
    """How many outermost readings of n may lie outside, both ends together, whatever the distribution; -1 if even none
    may.

    The share between two order statistics that leave m - 1 readings outside follows Beta(n - m + 1, m).
    """
    _sizes(max(n, 2), coverage, confidence, None)
    m = np.arange(1, n + 1)
    sure = special.betaincc(n - m + 1, m, coverage)  # P(share > coverage)
    return max(int((sure >= confidence).sum()) - 2, -1)


def free_band(values: npt.ArrayLike, *, coverage: float = 0.95, confidence: float = 0.95) -> tuple[float, float]:
    """Two readings of `values` (n,) between which the share lies, whatever the distribution; the outer ones are dropped
    evenly.

    Raises UnusableData with the number of readings needed where n is too small.
    """
    x, _ = checked(values, ONE_STREAM)
    spare = drop(len(x), coverage, confidence)
    if spare < 0:
        need = sample_needed(coverage, confidence)
        raise UnusableData(
            f"limits without a curve need {need} readings for {coverage:.0%} with {confidence:.0%} confidence; got "
            f"{len(x)}"
        )
    ordered = np.sort(x)
    low = spare // 2
    return float(ordered[low]), float(ordered[len(x) - 1 - (spare - low)])


def sample_needed(coverage: float, confidence: float, *, ends: int = 2) -> int:
    """Fewest readings whose extremes (`ends` = 2) or one extreme (1) hold the share with the confidence."""
    _sizes(2, coverage, confidence, None)
    n = max(ends, ceil(log(1 - confidence) / log(coverage)))
    while float(special.betaincc(n - ends + 1, ends, coverage)) < confidence:
        n += 1
    return n


def _sizes(n: int, coverage: float, confidence: float, nu: float | None) -> float:
    freedom = n - 1 if nu is None else nu
    if n < 2 or freedom <= 0 or not (0 < coverage < 1 and 0 < confidence < 1):
        raise UnusableData(
            f"a tolerance factor needs two readings and shares between 0 and 1; got n {n}, {coverage} and {confidence}"
        )
    return float(freedom)
