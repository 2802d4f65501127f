"""Capability: how much room the limits leave, with how well that is known.

Rows are streams: every argument is a number or an array that broadcasts, nan in `target`, `lower` or `upper` means that
the row has none. nan comes out where an index does not exist (no limit on that side, no target, fewer than two
readings, no spread), and nowhere else. Which distribution to count with, and percentiles of it, are in `distributions`;
readings too coarse for their spread in `coarse`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

BISSELL_Z = 1.96  # as printed; the shop's figures are defined with these three digits
NU_OF_MOVING_RANGES = (
    0.605  # degrees of freedom a step of a mean moving range of two; Bissell 1990, and run_length for the same use
)


@dataclass(frozen=True)
class Indices:
    """One number a row each, shape of the broadcast input; nan where the index does not exist."""

    cp: Floats
    cp_low: Floats
    cp_high: Floats
    cpk: Floats
    cpk_low: Floats
    cpk_high: Floats
    pp: Floats
    pp_low: Floats
    pp_high: Floats
    ppk: Floats
    ppk_low: Floats
    ppk_high: Floats
    cpm: Floats


def indices(
    mean: npt.ArrayLike,
    sd_short: npt.ArrayLike,
    sd_long: npt.ArrayLike,
    n: npt.ArrayLike,
    *,
    target: npt.ArrayLike = np.nan,
    lower: npt.ArrayLike = np.nan,
    upper: npt.ArrayLike = np.nan,
) -> Indices:
    """Capability indices of many rows from mean, spread and number of readings, with 95 % bounds.

    Parameters
    ----------
    mean, sd_short, sd_long : float, broadcastable
        In one unit per row; `sd_short` = mean moving range / d2, `sd_long` = s. nan where fewer than two readings.
    n : int, broadcastable
        Readings of the row.
    target, lower, upper : float, broadcastable
        In the same unit; nan = none.

    Returns
    -------
    Indices
        cp, cpk with `sd_short`, bounds with nu = 0.605 (n - 1); pp, ppk, cpm with `sd_long`, bounds with n - 1.

    Raises
    ------
    UnusableData
        A lower limit that is not below the upper one, or a spread below 0.

    Sources: ISO 22514-2; NIST/SEMATECH e-Handbook, section 6.1.6; bounds of cp and pp Kane 1986, J. Quality Technology
    18; of cpk and ppk Bissell 1990, Applied Statistics 39; cpm Chan, Cheng & Spiring 1988, J. Quality Technology 20.
    """
    rows = [np.asarray(x, dtype=np.float64) for x in (mean, sd_short, sd_long, n, target, lower, upper)]
    middle, short, long_, count, aim, low, high = np.broadcast_arrays(*rows)
    if bool((low >= high).any()) or bool((short < 0).any()) or bool((long_ < 0).any()):
        raise UnusableData(
            "a lower limit must lie below the upper one and a spread cannot be below 0; mend the spec or the readings"
        )
    short, long_ = (np.where((count >= 2) & (sd > 0), sd, np.nan) for sd in (short, long_))
    nu_long = np.where(count >= 2, count - 1, np.nan)
    nu_short = NU_OF_MOVING_RANGES * nu_long
    width = high - low
    room = np.fmin(high - middle, middle - low)  # fmin: the one side there is
    cp, pp = width / (6 * short), width / (6 * long_)
    cpk, ppk = room / (3 * short), room / (3 * long_)
    cp_low, cp_high = spread_bounds(cp, nu_short)
    pp_low, pp_high = spread_bounds(pp, nu_long)
    cpk_low, cpk_high = bissell(cpk, count, nu_short)
    ppk_low, ppk_high = bissell(ppk, count, nu_long)
    cpm = width / (6 * np.sqrt(long_**2 + (middle - aim) ** 2))
    return Indices(cp, cp_low, cp_high, cpk, cpk_low, cpk_high, pp, pp_low, pp_high, ppk, ppk_low, ppk_high, cpm)


def spread_bounds(index: npt.ArrayLike, nu: npt.ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Bounds of an index that only a spread on `nu` degrees of freedom makes uncertain (cp, pp); nan where the index or
    nu is.

    Source: Kane 1986, J. Quality Technology 18; exact for s of normal readings.
    """
    value, freedom = np.asarray(index, dtype=np.float64), np.asarray(nu, dtype=np.float64)
    sizes, which = np.unique(freedom, return_inverse=True)  # many rows, few sizes
    low, high = (
        np.sqrt(special.chdtri(sizes, above) / sizes)[which.reshape(freedom.shape)]
        for above in ((1 + level) / 2, (1 - level) / 2)
    )
    return value * low, value * high


def bissell(index: npt.ArrayLike, n: npt.ArrayLike, nu: npt.ArrayLike) -> tuple[Floats, Floats]:
    """95 % bounds index -+ 1.96 sqrt(1 / (9 n) + index^2 / (2 nu)) of cpk or ppk; nan where the index or nu is.

    Source: Bissell 1990, Applied Statistics 39.
    """
    value, count, freedom = (np.asarray(x, dtype=np.float64) for x in (index, n, nu))
    with np.errstate(divide="ignore"):
        half = BISSELL_Z * np.sqrt(1 / (9 * count) + value**2 / (2 * freedom))
    return value - half, value + half


def one_sided_exact(index: npt.ArrayLike, n: npt.ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Exact bounds of ppk towards one limit, from its noncentral t distribution; `index` (towards that limit), `n` >= 2
    readings.

    3 sqrt(n) ppk follows a noncentral t with n - 1 degrees of freedom and noncentrality 3 sqrt(n) times the true index.
    With two limits these bounds of the worse side err a little on the wide side.

    Source: Owen 1968, Technometrics 10; the same integral as one-sided tolerance factors.
    """
    value, count = np.broadcast_arrays(np.asarray(index, dtype=np.float64), np.asarray(n, dtype=np.float64))
    if not bool((np.isfinite(value) & (count >= 2)).all()):
        raise UnusableData("exact bounds need an index and two readings or more in every row; leave out the others")
    scale = 3 * np.sqrt(count)
    tail = (1 - level) / 2
    low, high = (special.nctdtrinc(count - 1, p, scale * value) / scale for p in (1 - tail, tail))
    return np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)


def normal_ppm(
    mean: npt.ArrayLike, sd: npt.ArrayLike, lower: npt.ArrayLike = np.nan, upper: npt.ArrayLike = np.nan
) -> Floats:
    """Expected readings outside the limits in a million, were they normal; nan limits are none, nan where there is no
    spread.
    """
    middle, spread, low, high = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (mean, sd, lower, upper))
    )
    spread = np.where(spread > 0, spread, np.nan)
    below = np.where(np.isnan(low), 0.0, special.ndtr((low - middle) / spread))
    above = np.where(np.isnan(high), 0.0, special.ndtr((middle - high) / spread))
    return np.where(np.isnan(spread), np.nan, 1e6 * (below + above))
