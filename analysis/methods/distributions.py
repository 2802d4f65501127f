"""Curves for readings that are no normal ones: percentile indices of any curve, and the likeliest folded normal.

`started_curves` chooses between curves and says what share each expects outside.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import optimize, stats

from analysis.methods.segments import Floats

OUTER = 0.00135  # ISO 22514-2: the 0.135 % and 99.865 % points stand where -+ 3 sigma stand for a normal curve


@dataclass(frozen=True)
class Placed:
    """A family of curves at one shape, start and scale: what scipy calls frozen, without the copy of the whole family
    that it makes each time (3 ms, of which a search for an interval would take hundreds).
    """

    dist: Any  # the family, as scipy.stats.gamma
    shape: float
    loc: float
    scale: float

    def cdf(self, x: Any) -> Any:
        """Share below."""
        return self.dist.cdf(x, self.shape, loc=self.loc, scale=self.scale)

    def sf(self, x: Any) -> Any:
        """Share above."""
        return self.dist.sf(x, self.shape, loc=self.loc, scale=self.scale)

    def ppf(self, share: Any) -> Any:
        """Below which value a share lies."""
        return self.dist.ppf(share, self.shape, loc=self.loc, scale=self.scale)

    def pdf(self, x: Any) -> Any:
        """Density."""
        return self.dist.pdf(x, self.shape, loc=self.loc, scale=self.scale)

    def logpdf(self, x: Any) -> Any:
        """Natural log of the density."""
        return self.dist.logpdf(x, self.shape, loc=self.loc, scale=self.scale)


def percentile_indices(curve: Any, lower: float = np.nan, upper: float = np.nan) -> tuple[float, float]:
    """(pp, ppk) from the 0.135 %, 50 % and 99.865 % points of `curve` (it has a `ppf`); pp is nan with one limit,
    both with none.

    Source: ISO 22514-2, percentile method.
    """
    low, middle, high = (float(curve.ppf(share)) for share in (OUTER, 0.5, 1 - OUTER))
    above, below = (upper - middle) / (high - middle), (middle - lower) / (middle - low)
    return (upper - lower) / (high - low), float(np.fmin(above, below))


def folded_normal(x: Floats, often: Floats | None = None) -> Placed:
    """At the likeliest mu and sigma, mu^2 + sigma^2 is the mean square: one angle is left to look for.

    x (n,), at least 0; often (n,) : how often each was read; None: once.
    """
    count = np.ones(len(x)) if often is None else often
    n = float(count.sum())
    reach = float(np.sqrt(x**2 @ count / n))
    variance = float((x - x @ count / n) ** 2 @ count / n)

    def minus(angle: float | Floats) -> Floats:
        mu, sigma = reach * np.sin(angle), reach * np.cos(angle)
        near, far = (-((x - at) ** 2) / (2 * sigma**2) for at in (mu, -mu))
        return -np.asarray(np.logaddexp(near, far) @ count - n * np.log(np.ravel(sigma)))

    end = float(np.arcsin(np.sqrt(1 - min(1.0, variance / reach**2) / 4)))  # sigma is never as low as half of s
    grid = np.linspace(0.0, end, 60)
    best = int(np.argmin(minus(grid[:, None])))
    around = (float(grid[max(best - 1, 0)]), float(grid[min(best + 1, len(grid) - 1)]))
    found = optimize.minimize_scalar(
        lambda angle: float(minus(angle)[0]), bounds=around, method="bounded", options={"xatol": 1e-12}
    )
    angle = float(found.x)
    if minus(0.0)[0] <= minus(angle)[0]:
        angle = 0.0
    return Placed(stats.foldnorm, float(np.tan(angle)), 0.0, float(reach * np.cos(angle)))
