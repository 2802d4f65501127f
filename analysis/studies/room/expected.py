"""Which curve the readings of a row follow, what share it puts outside the limits, and how surely: null rather than a
tail that the readings do not bear out.

Told only where the curve stands a test of fit at 5 % and the 95 % interval spans less than a factor of ten. A row whose
pool of streams has heavier tails than a normal curve is not told by one, however well its own few readings pass.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.methods import started_curves
from analysis.methods.capability import normal_ppm
from analysis.methods.coarse import rounded_normal
from analysis.methods.expected_share import normal_interval
from analysis.methods.independent_number import Carried
from analysis.methods.normality import anderson_darling, spread_ties
from analysis.methods.segments import Flags, Floats, Ints, blocks, spans
from analysis.methods.started_curves import Curve
from analysis.methods.values_once import Once

NORMAL = "normal"
LEAST_FOR_TEST = 8  # readings from which on the Anderson-Darling p is used (D'Agostino & Stephens 1986)
NOT_NORMAL_BELOW = 0.005
FIT = 0.05
HALF = 0.5  # of sigma: a wider step has its mean and sigma from the likelihood of intervals
FEW_LOTS = 0.02  # variance of the mean in sigma^2 above which lots that differ are too few to tell a share by
EXPECTED_IN_CELL = 5.0  # readings wanted in each class of a chi-square test


@dataclass(frozen=True)
class Rows:
    """What is known of each row of capability, shape (g,); nan where there is none."""

    values: Floats  # (n,) readings, row after row
    starts: Ints
    n: Ints
    mean: Floats
    sd_short: Floats
    sd_long: Floats
    step: Floats
    lower: Floats
    upper: Floats
    told: Once  # the values once each


@dataclass(frozen=True)
class Expected:
    """Readings expected outside in a million with their interval, nan where they cannot be told, shape (g,)."""

    distribution: list[str]
    not_normal: Flags
    ppm: Floats
    low: Floats
    high: Floats


def expected(rows: Rows, carried: Carried) -> Expected:
    """The curve of each row and what it expects outside."""
    g = len(rows.n)
    spread = np.nan_to_num(rows.sd_long) > 0
    wide = rows.step > rows.sd_short * (1 + 1e-9)
    p = _test(rows, np.flatnonzero(~wide & (rows.n >= LEAST_FOR_TEST) & spread))
    not_normal = p < NOT_NORMAL_BELOW
    limited = ~(np.isnan(rows.lower) & np.isnan(rows.upper))
    few_lots = (carried.lots > 0) & (carried.mean_variance > FEW_LOTS)
    asked = spread & limited & ~carried.heavy & ~few_lots
    mean, sd = rows.mean.copy(), rows.sd_long.copy()
    curve = _Curve(mean, sd, carried.mean_variance / carried.short, carried.sd_variance.copy())
    stands = asked & np.isfinite(p) & (p >= FIT)
    coarse = np.flatnonzero(asked & (rows.step > HALF * rows.sd_short * (1 + 1e-9)) & ~not_normal)
    for row in coarse:
        stands[row] = _coarse(rows, int(row), p[row], curve)
    ppm = np.where(stands, normal_ppm(mean, sd, rows.lower, rows.upper), np.nan)
    low, high = normal_interval(
        mean, sd, rows.lower, rows.upper, mean_variance=curve.mean_variance, sd_variance=curve.sd_variance
    )
    names = [NORMAL] * g
    others = np.flatnonzero(not_normal)
    for row, curves in zip(others, started_curves.untested(rows.told, others), strict=True):
        names[row], ppm[row], low[row], high[row] = curves[0].name if curves else NORMAL, np.nan, np.nan, np.nan
        if curves and limited[row] and not carried.dependent[row] and rows.n[row] >= started_curves.LEAST:
            x = rows.values[rows.starts[row] : rows.starts[row] + rows.n[row]]
            ppm[row], low[row], high[row] = _other(x, curves, rows.lower[row], rows.upper[row])
    told = np.isfinite(low) & np.isfinite(high) & np.isfinite(ppm)
    return Expected(names, not_normal, *(np.where(told, each, np.nan) for each in (ppm, low, high)))


def _test(rows: Rows, tested: Ints) -> Floats:
    """p of the Anderson-Darling test with ties spread over the step; nan where no test was made."""
    p = np.full(len(rows.n), np.nan)
    if not len(tested):
        return p
    size = rows.n[tested]
    begins = np.cumsum(size) - size
    for which, where in blocks(begins, int(size.sum())):
        some, own = tested[which], begins[which] - where.start
        at = spans(rows.starts[some], rows.starts[some] + rows.n[some])
        order = rows.told.order[at] - np.repeat(rows.starts[some] - own, rows.n[some])
        spread = spread_ties(rows.values[at], own, step=rows.step[some], order=order)
        p[some] = anderson_darling(spread, own, order=order)[1]
    return p


@dataclass(frozen=True)
class _Curve:
    """The normal curve of each row and how uncertain it is, shape (g,); filled in row by row."""

    mean: Floats
    sd: Floats
    mean_variance: Floats  # in sigma^2
    sd_variance: Floats  # over the square of s


def _coarse(rows: Rows, row: int, p: float, curve: _Curve) -> bool:
    """Puts mean, sigma and their uncertainty from the likelihood of intervals into place; does the curve stand?"""
    mean, sd, mean_variance, sd_variance = curve.mean, curve.sd, curve.mean_variance, curve.sd_variance
    x, step = rows.values[rows.starts[row] : rows.starts[row] + rows.n[row]], float(rows.step[row])
    found = rounded_normal(x, step=step)
    if not found.known[0] or not found.sd[0] > 0:
        return False
    mean[row], sd[row] = found.mean[0], found.sd[0]
    fewer = max(1.0, float(rows.n[row] * mean_variance[row]))  # readings that depend on each other tell less
    mean_variance[row] = fewer * (found.mean_error[0] / sd[row]) ** 2
    sd_variance[row] = max(1.0, float(2 * rows.n[row] * sd_variance[row])) * (found.sd_error[0] / sd[row]) ** 2
    return p >= FIT if np.isfinite(p) else _cells(x, step, float(mean[row]), float(sd[row])) >= FIT


def _cells(x: Floats, step: float, mean: float, sd: float) -> float:
    """p of a chi-square test of rounded readings against the normal curve, classes of under five joined; 0 with none
    left to test by.
    """
    edges = np.arange(x.min() - step / 2, x.max() + step, step)
    seen = np.histogram(x, edges)[0].astype(np.float64)
    wished = len(x) * np.diff(stats.norm.cdf(np.r_[-np.inf, edges[1:-1], np.inf], mean, sd))
    joined: list[list[float]] = [[0.0, 0.0]]
    for count, wish in zip(seen, wished, strict=True):
        if joined[-1][1] >= EXPECTED_IN_CELL:
            joined.append([0.0, 0.0])
        joined[-1][0] += count
        joined[-1][1] += wish
    if joined[-1][1] < EXPECTED_IN_CELL and len(joined) > 1:
        last = joined.pop()
        joined[-1][0] += last[0]
        joined[-1][1] += last[1]
    freedom = len(joined) - 3
    if freedom < 1:
        return 0.0
    return float(stats.chi2.sf(sum((count - wish) ** 2 / wish for count, wish in joined), freedom))


def _other(x: Floats, curves: list[Curve], lower: float, upper: float) -> tuple[float, float, float]:
    """What the likeliest of other curves expects outside, nan where it is not told."""
    told = started_curves.with_fit(x, curves)
    if not told[0].stands:
        return np.nan, np.nan, np.nan
    return told[0].ppm(lower, upper), *started_curves.interval(x, told, lower, upper)
