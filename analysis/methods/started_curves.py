"""Curves that start anywhere: lognormal, gamma and Weibull with a start of their own, and the folded normal; which is
likeliest, which are hardly told apart from it, whether the readings bear them out, and what share they put outside
the limits with its interval.

Readings of a stepped gauge repeat: each value is worked with once, with how often it was read.

A start close to the smallest reading makes some likelihoods grow without bound; starts are therefore looked for from
a fiftieth of the spread below the smallest reading on, and the likelihood inside that range counts (a local maximum:
Johnson, Kotz & Balakrishnan 1994, Continuous Univariate Distributions 1, chapter 14; from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from analysis.methods.distributions import Placed, folded_normal
from analysis.methods.expected_share import LIKELY, PPM, Z, narrow
from analysis.methods.normality import LEAST as LEAST_TESTED
from analysis.methods.normality import anderson_darling_told_once
from analysis.methods.segments import CELLS, Floats, Ints, lengths
from analysis.methods.values_once import Once

STARTS = 14  # starts tried
NEAREST, FURTHEST = 0.02, 30.0  # of the readings' sd below the smallest one
GAPS = np.geomspace(NEAREST, FURTHEST, STARTS)
NEAR = np.array([np.geomspace(GAPS[max(k - 1, 0)], GAPS[min(k + 1, STARTS - 1)], 7) for k in range(STARTS)])
FAMILIES = {"lognormal": stats.lognorm, "gamma": stats.gamma, "Weibull": stats.weibull_min}
LEAST = 200  # readings from which their interval was seen to hold (tests/trials/expected_share.md)
FIT = 0.05  # a curve stands where its readings, turned into normal ones, pass the test at this level


@dataclass(frozen=True)
class Curve:
    """A curve and how likely it makes the readings."""

    name: str  # lognormal | gamma | Weibull | folded normal
    frozen: Placed
    likelihood: float  # natural log
    p: float = np.nan  # Anderson-Darling of the readings' places on the curve as normal readings; nan: not tested

    @property
    def stands(self) -> bool:
        """Does the fitted curve stand the test of fit?"""
        return self.p >= FIT

    def ppm(self, lower: float = np.nan, upper: float = np.nan) -> float:
        """Expected readings outside in a million; nan limits are none."""
        below = 0.0 if np.isnan(lower) else float(self.frozen.cdf(lower))
        above = 0.0 if np.isnan(upper) else float(self.frozen.sf(upper))
        return PPM * (below + above)


def curves(values: npt.ArrayLike) -> list[Curve]:
    """All curves whose support holds the readings (n,), the likeliest first; none for readings without spread."""
    x, often = _told_once(values)
    return [_tested(x, often, curve) for curve in _fitted(x[None], often[None])[0]]


def with_fit(values: npt.ArrayLike, found: list[Curve]) -> list[Curve]:
    """Curves of some readings (n,) with their test of fit; where the likeliest does not stand, it alone."""
    x, often = _told_once(values)
    best = _tested(x, often, found[0])
    return [best, *(_tested(x, often, curve) if best.stands else curve for curve in found[1:])]


def untested(told: Once, which: Ints) -> list[list[Curve]]:
    """`curves` of some segments (w,), without the test of fit; those with as many different values are fitted in one
    go.
    """
    size = lengths(told.starts, len(told.value))[which]
    found: list[list[Curve]] = [[] for _ in which]
    for many in np.unique(size):
        alike = np.flatnonzero(size == many)
        for some in np.array_split(alike, 1 + len(alike) * int(many) * STARTS // CELLS):
            at = told.starts[which[some]][:, None] + np.arange(many)
            for place, each in zip(some, _fitted(told.value[at], told.often[at].astype(np.float64)), strict=True):
                found[place] = each
    return found


def _fitted(x: Floats, often: Floats) -> list[list[Curve]]:
    """The curves that rows of readings let be fitted, the likeliest first.

    x, often (r, k) : each value once, rising, and how often it was read.
    """
    n, sd = often.sum(axis=1), _sd(x, often)
    found: list[list[Curve]] = [[] for _ in n]
    some = np.flatnonzero((n >= 3) & (sd > 1e-9 * np.maximum(np.abs(x).max(axis=1), 1e-300)))
    if not len(some):
        return found
    x, often, n, sd = x[some], often[some], n[some], sd[some]
    y = (x - x[:, :1]) / sd[:, None]  # fits are made from 0 in sd, so that neither unit nor zero matters
    each = np.arange(len(some))
    for name, fit in _FITS.items():
        best = fit(y[:, None, :] + GAPS[:, None], often)[2].argmax(axis=1)
        shape, scale, likelihood = fit(y[:, None, :] + NEAR[best][:, :, None], often)
        at = likelihood.argmax(axis=1)
        start = x[:, 0] - NEAR[best, at] * sd
        told = (shape[each, at], start, scale[each, at] * sd, likelihood[each, at] - n * np.log(sd))
        for row, (of_shape, of_start, of_scale, likely) in zip(some, np.column_stack(told).tolist(), strict=True):
            found[row].append(Curve(name, Placed(FAMILIES[name], of_shape, of_start, of_scale), likely))
    for row in np.flatnonzero(x[:, 0] >= 0):
        found[some[row]].append(_folded(x[row], often[row], float(sd[row])))
    return [sorted(row, key=lambda curve: -curve.likelihood) for row in found]


def _folded(x: Floats, often: Floats, sd: float) -> Curve:
    """The folded normal of readings that are nowhere below 0."""
    n = float(often.sum())
    unit = float(x @ often) / n
    curve = folded_normal(x / unit, often)
    frozen = Placed(curve.dist, curve.shape, 0.0, curve.scale * unit)
    scaled = n * float(np.log(sd))
    return Curve("folded normal", frozen, float(frozen.logpdf(x) @ often + scaled) - scaled)


def interval(values: npt.ArrayLike, told: list[Curve], lower: float, upper: float) -> tuple[float, float]:
    """95 % interval of the expected readings outside in a million over the curves hardly told apart from the
    likeliest; nan where it is wide.

    Each curve's by the delta method from the second derivatives of its likelihood, on the scale of normal quantiles.
    """
    x, often = _told_once(values)
    near = [curve for curve in told if curve.stands and curve.likelihood >= told[0].likelihood - LIKELY]
    if not told or not told[0].stands:
        return np.nan, np.nan
    ends = [_ends(x, often, curve, lower, upper) for curve in near]
    low, high = narrow(np.array(min(end[0] for end in ends)), np.array(max(end[1] for end in ends)))
    return float(low), float(high)


def _ends(x: Floats, often: Floats, curve: Curve, lower: float, upper: float) -> tuple[float, float]:
    dist, sd = curve.frozen.dist, float(_sd(x[None], often[None])[0])
    start, scale = curve.frozen.loc, curve.frozen.scale
    moves = curve.name != "folded normal"
    at = np.array([curve.frozen.shape, np.log(scale), *([start / sd] if moves else [])])

    def frozen(point: Floats) -> Placed:
        return Placed(dist, point[0], point[2] * sd if moves else start, float(np.exp(point[1])))

    def quantile(point: Floats) -> float:
        return -float(special.ndtri(Curve("", frozen(point), 0.0).ppm(lower, upper) / PPM))

    def minus(point: Floats) -> float:
        return -float(np.maximum(frozen(point).logpdf(x), -1e4) @ often)

    step = np.array([1e-3 * max(abs(at[0]), 0.05), 1e-3, 1e-3])[: len(at)]
    hessian = _second(minus, at, step)
    slope = np.array([(quantile(at + move) - quantile(at - move)) / (2 * move.max()) for move in np.diag(step)])
    z = quantile(at)
    try:
        variance = float(slope @ np.linalg.solve(hessian, slope))
    except np.linalg.LinAlgError:
        return np.nan, np.nan
    if not np.isfinite(z) or not variance > 0:
        return np.nan, np.nan
    half = Z * float(np.sqrt(variance))
    return PPM * float(special.ndtr(-z - half)), PPM * float(special.ndtr(-z + half))


def _second(of: Callable[[Floats], float], at: Floats, step: Floats) -> Floats:
    """Second derivatives by central differences."""
    k = len(at)
    moves = np.diag(step)
    centre = of(at)
    one = {(i, sign): of(at + sign * moves[i]) for i in range(k) for sign in (1, -1)}
    out = np.empty((k, k))
    for i in range(k):
        out[i, i] = (one[i, 1] - 2 * centre + one[i, -1]) / step[i] ** 2
        for j in range(i):
            both = of(at + moves[i] + moves[j]) + of(at - moves[i] - moves[j])
            out[i, j] = out[j, i] = (both - one[i, 1] - one[i, -1] - one[j, 1] - one[j, -1] + 2 * centre) / (
                2 * step[i] * step[j]
            )
    return out


def _told_once(values: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Each value once, rising, and how often it was read."""
    x, often = np.unique(np.asarray(values, dtype=np.float64), return_counts=True)
    return x, often.astype(np.float64)


def _total(of_value: Floats, often: Floats) -> Floats:
    """Sum over all readings of what each value says: (r, g, k), or (r, k), and how often (r, k)."""
    rows = of_value if of_value.ndim == 3 else of_value[:, None, :]
    found = (rows @ often[:, :, None])[:, :, 0]
    return found if of_value.ndim == 3 else found[:, 0]


def _sd(x: Floats, often: Floats) -> Floats:
    """Standard deviation (divisor n) of rows of readings (r,)."""
    n = often.sum(axis=1)
    mean = _total(x, often) / n
    return np.asarray(np.sqrt(_total((x - mean[:, None]) ** 2, often) / n))


def _tested(x: Floats, often: Floats, curve: Curve) -> Curve:
    """A curve with its test of fit."""
    z = special.ndtri(np.clip(curve.frozen.cdf(x), 1e-12, 1 - 1e-12))
    if often.sum() < LEAST_TESTED or float(np.ptp(z)) == 0:
        return replace(curve, p=0.0)
    return replace(curve, p=anderson_darling_told_once(z, often)[1])


# each of y (r, g, k) and often (r, k): shape, scale and log-likelihood (r, g)


def _lognormal(y: Floats, often: Floats) -> tuple[Floats, Floats, Floats]:
    n = often.sum(axis=1)[:, None]
    logs = np.log(y)
    mean = _total(logs, often) / n
    sd = np.sqrt(_total((logs - mean[:, :, None]) ** 2, often) / n)
    return sd, np.exp(mean), -n * (np.log(sd) + 0.5 * np.log(2 * np.pi) + 0.5) - _total(logs, often)


def _gamma(y: Floats, often: Floats) -> tuple[Floats, Floats, Floats]:
    n = often.sum(axis=1)[:, None]
    mean, logs = _total(y, often) / n, _total(np.log(y), often) / n
    gap = np.log(mean) - logs
    k = (3 - gap + np.sqrt((gap - 3) ** 2 + 24 * gap)) / (12 * gap)
    for _ in range(6):  # Newton on 1/k, which settles in a few steps (Minka 2002; from memory)
        k = 1 / (1 / k + (-gap + np.log(k) - special.digamma(k)) / (k**2 * (1 / k - special.polygamma(1, k))))
    scale = mean / k
    return k, scale, n * ((k - 1) * logs - mean / scale - k * np.log(scale) - special.gammaln(k))


def _weibull(y: Floats, often: Floats) -> tuple[Floats, Floats, Floats]:
    n = often.sum(axis=1)[:, None]
    logs = np.log(y)
    top = logs[:, :, -1:]  # y rises
    rest, middle = logs - top, _total(logs, often) / n
    mean = middle - top[:, :, 0]
    k = 1.2 / np.maximum(np.sqrt(_total((logs - middle[:, :, None]) ** 2, often) / n), 1e-9)
    for _ in range(12):  # Newton on the likeliest shape, kept above 0
        powers = np.exp(k[:, :, None] * rest) * often[:, None, :]
        total, first, second = powers.sum(axis=2), (powers * rest).sum(axis=2), (powers * rest**2).sum(axis=2)
        slope = first / total - 1 / k - mean
        turn = second / total - (first / total) ** 2 + 1 / k**2
        k = np.maximum(k - slope / turn, k / 3)
    powers = _total(np.exp(k[:, :, None] * rest), often) / n
    scale = np.exp(top[:, :, 0]) * powers ** (1 / k)
    return k, scale, n * (np.log(k) - k * np.log(scale) - 1) + (k - 1) * _total(logs, often)


_FITS: dict[str, Callable[[Floats, Floats], tuple[Floats, Floats, Floats]]] = {
    "lognormal": _lognormal,
    "gamma": _gamma,
    "Weibull": _weibull,
}
