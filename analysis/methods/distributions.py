"""Which curve to count with: the normal one unless the readings speak against it, else the likeliest of four others.

Expected readings outside the limits and percentile indices follow from the curve chosen.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy import optimize, special, stats
from scipy.stats.distributions import rv_frozen

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

DOUBT = 0.005  # normal is given up below this Anderson-Darling p
OUTER = 0.00135  # ISO 22514-2: the 0.135 % and 99.865 % points stand where -+ 3 sigma stand for a normal curve


def likeliest(values: npt.ArrayLike) -> tuple[str, rv_frozen] | None:
    """Name and curve of the likeliest of lognormal, gamma, Weibull and folded normal, all starting at 0; None if none
    holds all readings.

    `values` of shape (n,) in any unit. The first three need readings above 0, the folded normal readings of at least 0;
    constant readings have no likeliest curve either.
    """
    x = _readings(values)
    if x.min() < 0 or np.ptp(x) <= 1e-6 * x.max():  # so narrow a run is no shape to tell curves apart by
        return None
    scale = float(x.mean())  # fits are made near 1, so a change of unit changes nothing
    fits: dict[str, Callable[[Floats], rv_frozen]] = {"folded normal": folded_normal}
    if x.min() > 0:
        fits = {"lognormal": _lognormal, "gamma": _gamma, "Weibull": _weibull} | fits
    curves = {name: fit(x / scale) for name, fit in fits.items()}
    likelihood = {name: float(curve.logpdf(x / scale).sum()) for name, curve in curves.items()}
    best = max(likelihood, key=lambda name: likelihood[name])
    family, shape, width = curves[best].dist, curves[best].args, curves[best].kwds["scale"] * scale
    return best, family(*shape, loc=0.0, scale=width)


def fit_distribution(values: npt.ArrayLike, *, p: float | None = None) -> tuple[str, rv_frozen]:
    """Name and curve to count with: "normal" (mean and s) unless `p` is below 0.005, else the likeliest other curve
    that fits.

    Parameters
    ----------
    values : float, shape (n,)
        Two readings or more, of one stream.
    p : float or None
        Anderson-Darling p of these readings with ties spread (normality.anderson_darling); None: no test was made (a
        gauge step above sigma), so normal.

    Returns
    -------
    (name, curve)
        "normal" with a p below 0.005 says that no curve holds all readings: to be flagged.
    """
    x = _readings(values)
    if len(x) < 2:
        raise UnusableData(f"a curve needs two readings or more; got {len(x)}")
    other = likeliest(x) if p is not None and p < DOUBT else None
    return other or ("normal", stats.norm(float(x.mean()), float(x.std(ddof=1))))


def expected_ppm(curve: rv_frozen, lower: float = np.nan, upper: float = np.nan) -> float:
    """Expected readings outside the limits in a million under `curve`; a limit that is nan is none."""
    below = 0.0 if np.isnan(lower) else float(curve.cdf(lower))
    above = 0.0 if np.isnan(upper) else float(curve.sf(upper))
    return 1e6 * (below + above)


def percentile_indices(curve: rv_frozen, lower: float = np.nan, upper: float = np.nan) -> tuple[float, float]:
    """(pp, ppk) from the 0.135 %, 50 % and 99.865 % points of `curve`; pp is nan with one limit, both with none.

    Source: ISO 22514-2, percentile method.
    """
    low, middle, high = (float(curve.ppf(share)) for share in (OUTER, 0.5, 1 - OUTER))
    above, below = (upper - middle) / (high - middle), (middle - lower) / (middle - low)
    return (upper - lower) / (high - low), float(np.fmin(above, below))


def _readings(values: npt.ArrayLike) -> Floats:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or len(x) == 0 or not bool(np.isfinite(x).all()):
        raise UnusableData("a curve needs one row of readings, none missing; drop the missing ones first")
    return x


def _lognormal(x: Floats) -> rv_frozen:
    logs = np.log(x)
    return stats.lognorm(float(logs.std()), loc=0.0, scale=float(np.exp(logs.mean())))


def _gamma(x: Floats) -> rv_frozen:
    gap = float(np.log(x.mean()) - np.log(x).mean())  # 0 for constant readings only
    shape = optimize.brentq(lambda k: np.log(k) - special.digamma(k) - gap, 1e-3, 1 / gap + 10, xtol=1e-12)
    return stats.gamma(shape, loc=0.0, scale=float(x.mean()) / shape)


def _weibull(x: Floats) -> rv_frozen:
    logs = np.log(x / x.max())  # at most 0, so powers never overflow

    def slope(shape: float) -> float:
        powers = np.exp(shape * logs)
        return float((powers * logs).sum() / powers.sum() - 1 / shape - logs.mean())

    high = 1.0
    while slope(high) < 0:
        high *= 2
    shape = optimize.brentq(slope, 1e-3, high, xtol=1e-12)
    return stats.weibull_min(shape, loc=0.0, scale=float(x.max() * np.exp(shape * logs).mean() ** (1 / shape)))


def folded_normal(x: Floats) -> rv_frozen:
    """At the likeliest mu and sigma, mu^2 + sigma^2 is the mean square: one angle is left to look for."""
    reach = float(np.sqrt((x**2).mean()))

    def minus(angle: float) -> float:
        mu, sigma = reach * np.sin(angle), reach * np.cos(angle)
        return -float(
            np.logaddexp(-((x - mu) ** 2) / (2 * sigma**2), -((x + mu) ** 2) / (2 * sigma**2)).sum()
            - len(x) * np.log(sigma)
        )

    end = float(np.arcsin(np.sqrt(1 - min(1.0, float(x.var()) / reach**2) / 4)))  # sigma is never as low as half of s
    grid = np.linspace(0.0, end, 60)
    best = int(np.argmin([minus(angle) for angle in grid]))
    around = (float(grid[max(best - 1, 0)]), float(grid[min(best + 1, len(grid) - 1)]))
    angle = float(optimize.minimize_scalar(minus, bounds=around, method="bounded", options={"xatol": 1e-12}).x)
    if minus(0.0) <= minus(angle):
        angle = 0.0
    return stats.foldnorm(float(np.tan(angle)), loc=0.0, scale=float(reach * np.cos(angle)))
