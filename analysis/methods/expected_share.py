"""What share of readings to expect outside the limits, and how surely that is known.

Everything is worked out on the scale of normal quantiles, z = -ndtri(share), where errors are nearly normal; an
interval that spans a factor of ten or more says nothing and is nan. Beyond the readings a share hangs on the curve:
of curves that the readings hardly tell apart the interval covers all.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.methods.segments import Flags, Floats

FAR = 37.0  # sigma: beyond it a normal share is 0 to any digit
Z = 1.959963984540054
WIDEST = 10.0  # an interval whose ends lie further apart than this factor is not told
LIKELY = 4.0  # curves whose log-likelihood lies within so much of the best are hardly told apart
TAIL = 0.025
PPM = 1e6


def normal_interval(
    mean: npt.ArrayLike,
    sd: npt.ArrayLike,
    lower: npt.ArrayLike,
    upper: npt.ArrayLike,
    *,
    mean_variance: npt.ArrayLike,
    sd_variance: npt.ArrayLike,
) -> tuple[Floats, Floats]:
    """95 % interval of the readings in a million that a normal curve puts outside its limits (nan = none), shape of
    the broadcast input.

    mean_variance : variance of the mean in sd^2 ; sd_variance : variance of sd over sd^2. Delta method on z.
    """
    m, s, low, high = np.broadcast_arrays(*(np.asarray(each, dtype=np.float64) for each in (mean, sd, lower, upper)))
    with np.errstate(divide="ignore", invalid="ignore"):
        below, above = (np.clip(each, -FAR, FAR) for each in ((low - m) / s, (m - high) / s))
        share = np.where(np.isnan(low), 0.0, special.ndtr(below)) + np.where(np.isnan(high), 0.0, special.ndtr(above))
        z = -special.ndtri(share)
        thick = [
            np.where(np.isnan(limit), 0.0, np.exp(-(np.nan_to_num(at) ** 2) / 2))
            for limit, at in ((low, below), (high, above))
        ]
        ground = np.exp(-(z**2) / 2)
        by_mean = (thick[1] - thick[0]) / ground
        by_sd = (np.nan_to_num(below) * thick[0] + np.nan_to_num(above) * thick[1]) / ground
        error = np.sqrt(by_mean**2 * np.asarray(mean_variance) + by_sd**2 * np.asarray(sd_variance))
    return narrow(PPM * special.ndtr(-z - Z * error), PPM * special.ndtr(-z + Z * error))


def narrow(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """The interval where its ends lie within a factor of ten, else nan; the lower end moved out for having been chosen.

    Of many rows those whose share came out large by chance are the ones with a narrow interval. So the lower end is
    that of the estimate given that it came out below the place where no interval is narrow any more: a share of rows
    told, however small, then keeps its 95 %. Errors in z are taken to grow as z does.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        far, near = -special.ndtri(low / PPM), -special.ndtri(high / PPM)
        z, error = (far + near) / 2, (far - near) / (2 * Z)
        told = (high < WIDEST * low) & np.isfinite(z) & (error > 0)
        z, error = np.where(told, z, 1.0), np.where(told, error, 0.1)

        def grown(at: Floats) -> Floats:
            return np.asarray(error * np.sqrt((2 + at**2) / (2 + z**2)))  # as those of mean and sd of one size

        edge = _halved(z, z + FAR, lambda at: _span(at, grown(at)) < np.log(WIDEST))
        out = _halved(z, z + FAR, lambda at: _left(z - at, edge - at, grown(at)) > TAIL)
        moved = np.where(told, np.minimum(low, PPM * special.ndtr(-out)), np.nan)
        kept = (high < WIDEST * moved) | (told & (low == high))
    return np.where(kept, moved, np.nan), np.where(kept, high, np.nan)


def _span(z: Floats, error: Floats) -> Floats:
    """Logarithm of how many times the ends of an interval lie apart."""
    return np.asarray(special.log_ndtr(-z + Z * error) - special.log_ndtr(-z - Z * error))


def _left(seen: Floats, edge: Floats, error: Floats) -> Floats:
    """Chance of an estimate as low as the one seen, or lower, given that it lies below the edge."""
    return np.asarray(np.exp(special.log_ndtr(seen / error) - special.log_ndtr(edge / error)))


def _halved(low: Floats, high: Floats, holds: Callable[[Floats], Flags]) -> Floats:
    """The last place where something holds that holds at `low` and stops holding once."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = np.where(holds(middle), middle, low), np.where(holds(middle), high, middle)
    return low
