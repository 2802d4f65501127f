"""Curves for readings that are no normal ones: percentile indices of any curve, and the likeliest folded normal.

`started_curves` chooses between curves and says what share each expects outside.
"""

import numpy as np
from scipy import optimize, stats
from scipy.stats.distributions import rv_frozen

from analysis.methods.segments import Floats

OUTER = 0.00135  # ISO 22514-2: the 0.135 % and 99.865 % points stand where -+ 3 sigma stand for a normal curve


def percentile_indices(curve: rv_frozen, lower: float = np.nan, upper: float = np.nan) -> tuple[float, float]:
    """(pp, ppk) from the 0.135 %, 50 % and 99.865 % points of `curve`; pp is nan with one limit, both with none.

    Source: ISO 22514-2, percentile method.
    """
    low, middle, high = (float(curve.ppf(share)) for share in (OUTER, 0.5, 1 - OUTER))
    above, below = (upper - middle) / (high - middle), (middle - lower) / (middle - low)
    return (upper - lower) / (high - low), float(np.fmin(above, below))


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
