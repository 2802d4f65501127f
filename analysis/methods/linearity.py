"""A gauge against known values: bias, linearity, and the straight line both rest on.

Source: AIAG Measurement Systems Analysis, 4th ed., chapter III B; straight line checked against the NIST StRD data set
Norris.
"""

from dataclasses import dataclass
from math import fsum, sqrt

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats


@dataclass(frozen=True)
class Bias:
    """Mean reading minus the known value, in the unit of the readings."""

    n: int
    bias: float
    error: float  # standard error
    t: float  # nan where all readings are equal
    p: float  # two-sided; nan likewise
    low: float
    high: float


@dataclass(frozen=True)
class StraightLine:
    """Least squares y = intercept + slope x; t against 0 (infinite without residuals)."""

    n: int
    slope: float
    intercept: float
    slope_error: float
    intercept_error: float
    residual_sd: float
    r_squared: float
    slope_t: float
    intercept_t: float
    mean_x: float
    sum_xx: float  # sum of squares of x about its mean

    def band(self, x: npt.ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
        """Interval of the line at `x`, in the unit of y."""
        at = np.asarray(x, dtype=np.float64)
        half = (
            stats.t.isf((1 - level) / 2, self.n - 2)
            * self.residual_sd
            * np.sqrt(1 / self.n + (at - self.mean_x) ** 2 / self.sum_xx)
        )
        middle = self.intercept + self.slope * at
        return middle - half, middle + half


def bias(readings: npt.ArrayLike, reference: float, level: float = 0.95) -> Bias:
    """Bias of repeated readings (n,) of one part whose value `reference` is known; two readings at least."""
    x = np.asarray(readings, dtype=np.float64)
    if x.ndim != 1 or len(x) < 2 or not bool(np.isfinite(x).all()):
        raise UnusableData(f"bias needs two readings or more of one part, none missing; got shape {x.shape}")
    n = len(x)
    off = float(x.mean()) - reference
    error = float(x.std(ddof=1)) / sqrt(n)
    half = float(stats.t.isf((1 - level) / 2, n - 1)) * error
    t = off / error if error > 0 else float("nan")
    return Bias(n, off, error, t, float(2 * stats.t.sf(abs(t), n - 1)), off - half, off + half)


def linearity(reference: npt.ArrayLike, readings: npt.ArrayLike) -> StraightLine:
    """Bias against the known value: `reference` (parts,), `readings` (parts, trials); a slope of 0 is a gauge equally
    right everywhere.
    """
    known, x = np.asarray(reference, dtype=np.float64), np.asarray(readings, dtype=np.float64)
    if x.ndim != 2 or known.shape != x.shape[:1]:
        raise UnusableData(
            f"linearity needs one known value a part and equally many readings of each; got {known.shape} and {x.shape}"
        )
    return straight_line(np.repeat(known, x.shape[1]), (x - known[:, None]).ravel())


def straight_line(x: npt.ArrayLike, y: npt.ArrayLike) -> StraightLine:
    """Least squares line through points (n,), n at least 3 and x not constant, else UnusableData. Sums are exact to the
    last bit.
    """
    across, up = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if across.shape != up.shape or across.ndim != 1 or len(across) < 3 or not bool(np.isfinite(across + up).all()):
        raise UnusableData(f"a line needs three points or more, none missing; got {across.shape} and {up.shape}")
    n = len(across)
    mean_x, mean_y = fsum(across) / n, fsum(up) / n
    dx, dy = across - mean_x, up - mean_y
    sxx, syy = fsum(dx**2), fsum(dy**2)
    if sxx == 0:
        raise UnusableData("a line needs two different places at least; every point stands at the same one")
    slope = fsum(dx * dy) / sxx
    intercept = fsum([mean_y, -slope * mean_x])
    rss = fsum((dy - slope * dx) ** 2)
    sd = sqrt(rss / (n - 2))
    slope_error, intercept_error = sd / sqrt(sxx), sd * sqrt(1 / n + mean_x**2 / sxx)
    r2 = 1 - rss / syy if syy > 0 else float("nan")
    return StraightLine(
        n,
        slope,
        intercept,
        slope_error,
        intercept_error,
        sd,
        r2,
        _ratio(slope, slope_error),
        _ratio(intercept, intercept_error),
        mean_x,
        sxx,
    )


def _ratio(value: float, error: float) -> float:
    return value / error if error > 0 else float(np.copysign(np.inf, value)) if value else float("nan")
