"""Do readings look normal: Anderson-Darling for many segments at once, Shapiro-Wilk, and the places of a probability
plot.

Source: Anderson & Darling (1954), J. American Statistical Association 49; D'Agostino & Stephens (1986), Goodness-of-Fit
Techniques, chapter 4; Shapiro & Wilk (1965), Biometrika 52, here by Royston's (1995) algorithm in scipy.
"""

import math

import numpy as np
import numpy.typing as npt
from scipy import stats
from scipy.special import log_ndtr, ndtri

from analysis.methods.problems import UnusableData
from analysis.methods.segments import (
    ONE_STREAM,
    Floats,
    Ints,
    checked,
    lengths,
    means,
    places,
    segment_ids,
    standard_deviations,
)

LEAST = 8  # readings: from here the formula for p holds (D'Agostino & Stephens)
SAME = 1e-9  # relative: readings this close are equal but for the last bits


def anderson_darling(
    values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, order: Ints | None = None
) -> tuple[Floats, Floats]:
    """Anderson-Darling statistic against the normal distribution with mean and s of the segment, and its p.

    Parameters
    ----------
    values : float, shape (n,)
        Readings, segment after segment; their order within a segment does not matter. Spread ties first.
    starts : int, shape (s,)
        Where each segment begins in `values`.
    order : int, shape (n,), optional
        An order of segments, and of rising readings in each, that may be known; where it is not one they are sorted.

    Returns
    -------
    statistic, p : float, shape (s,)
        A*2 = A2 (1 + 0.75/n + 2.25/n^2), and the chance that normal readings reach it.

    Raises
    ------
    UnusableData
        A segment of fewer than 8 readings or of equal ones, a missing reading.

    Source: D'Agostino & Stephens (1986), section 4.8.5, Tables 4.7 and 4.9.
    """
    array, segments = checked(values, starts)
    size = lengths(segments, len(array))
    spread = standard_deviations(array, segments)
    centre = means(array, segments)
    _enough(size, spread <= SAME * np.abs(centre), LEAST)
    rising = array if order is None else array[order]
    falls = rising[1:] < rising[:-1]
    falls[segments[1:] - 1] = False
    if falls.any():
        rising = rising[np.lexsort((rising, segment_ids(segments, len(array))))]
    z = (rising - np.repeat(centre, size)) / np.repeat(spread, size)
    place = places(segments, len(array))
    mirrored = np.repeat(segments + size - 1, size) - place
    logs = log_ndtr(z) + log_ndtr(-z[mirrored])
    a2 = -size - np.add.reduceat((2 * place + 1) * logs, segments) / size
    statistic = _adjusted(a2, size.astype(np.float64))
    return statistic, _p(statistic)


def anderson_darling_told_once(values: Floats, often: Floats) -> tuple[float, float]:
    """`anderson_darling` of one set of readings, ties left as they are: each value once, rising, and how often it was
    read, both of shape (n,).

    A value read c times behind a others has the ranks a + 1 to a + c, whose odd numbers 2 i - 1 add up to
    (a + c)^2 - a^2; counted from the other end likewise.
    """
    n = float(often.sum())
    centre = float(values @ often) / n
    spread = math.sqrt(float((values - centre) ** 2 @ often) / (n - 1))
    _enough(np.array([int(n)]), np.array([spread <= SAME * abs(centre)]), LEAST)
    z = (values - centre) / spread
    upto = np.cumsum(often)
    before, behind = upto - often, n - upto
    weights = upto**2 - before**2, (n - before) ** 2 - behind**2
    a2 = -n - float(weights[0] @ log_ndtr(z) + weights[1] @ log_ndtr(-z)) / n
    statistic = _adjusted(np.array([a2]), np.array([n]))
    return float(statistic[0]), float(_p(statistic)[0])


def _adjusted(a2: Floats, n: Floats) -> Floats:
    return np.asarray(a2 * (1 + 0.75 / n + 2.25 / n**2))


def _p(a: Floats) -> Floats:
    top = np.minimum(a, 100.0)  # the square term would turn the curve up beyond 150, where p is 0 to any digit
    exponents = [1.2937 - 5.709 * top + 0.0186 * top**2, 0.9177 - 4.279 * a - 1.38 * a**2]
    rest = [-8.318 + 42.796 * a - 59.938 * a**2, -13.436 + 101.14 * a - 223.73 * a**2]
    return np.select(
        [a >= 0.6, a > 0.34, a > 0.2],
        [np.exp(exponents[0]), np.exp(exponents[1]), -np.expm1(rest[0])],
        -np.expm1(rest[1]),
    )


def _enough(size: Ints, flat: npt.NDArray[np.bool_], least: int) -> None:
    short = size < least
    if short.any() or flat.any():
        first = int((short | flat).argmax())
        raise UnusableData(
            f"{int(short.sum())} of {len(size)} segments have fewer than {least} readings and "
            f"{int((flat & ~short).sum())} have equal ones, "
            f"first segment {first} with {int(size[first])}; leave these out"
        )


def spread_ties(
    values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, step: npt.ArrayLike, order: Ints | None = None
) -> Floats:
    """Readings with ties spread evenly over the gauge's step: the j-th of k equal ones moves to x + step ((j - .5)/k -
    .5).

    Parameters
    ----------
    values : float, shape (n,)
        Readings, segment after segment. Equal ones are counted within their segment, in the order given.
    starts : int, shape (s,)
        Where each segment begins in `values`.
    step : float, shape (s,) or one number
        Resolution of the gauge in the unit of `values`, at least 0; 0 leaves the readings alone.
    order : int, shape (n,), optional
        That of segments and rising readings, alike ones as they stand, where it is known.

    Returns
    -------
    float, shape (n,)
        In the order given. A reading without a twin stays where it is.
    """
    array, segments = checked(values, starts)
    steps = np.broadcast_to(np.asarray(step, dtype=np.float64), segments.shape)
    if not bool(((steps >= 0) & np.isfinite(steps)).all()):
        raise UnusableData(f"the gauge's step is {float(steps.min())}; wanted at least 0")
    if order is None:
        order = np.lexsort((array, segment_ids(segments, len(array))))  # stable: equal readings keep their order
    ordered, width = array[order], np.repeat(steps, lengths(segments, len(array)))
    new = np.diff(ordered, prepend=-np.inf) > SAME * np.maximum(np.abs(ordered), width)
    new[segments] = True
    begins = np.flatnonzero(new)
    often = lengths(begins, len(array))
    count, place = np.repeat(often, often), np.arange(len(array)) - np.repeat(begins, often)
    out = np.empty(len(array))
    out[order] = ordered + width * ((place + 0.5) / count - 0.5)
    return out


def shapiro_wilk(values: npt.ArrayLike) -> tuple[float, float]:
    """Shapiro-Wilk W and its p of one set of 3 to 5000 readings, not all equal."""
    array, _ = checked(values, ONE_STREAM)
    if not 3 <= len(array) <= 5000 or np.ptp(array) == 0:
        raise UnusableData(
            f"{len(array)} readings between {array.min()} and {array.max()}; wanted 3 to 5000, not all equal"
        )
    result = stats.shapiro(array)
    return float(result.statistic), float(result.pvalue)


def plot_places(values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM) -> tuple[Floats, Floats]:
    """Normal quantile and reading for each point of a probability plot, each segment sorted, both of shape (n,).

    The i-th smallest of n stands at the normal quantile of its median rank (i - 0.3175) / (n + 0.365); the ends at
    0.5^(1/n).

    Source: Filliben (1975), Technometrics 17; NIST/SEMATECH e-Handbook, section 1.3.3.21.
    """
    array, segments = checked(values, starts)
    size = np.repeat(lengths(segments, len(array)).astype(np.float64), lengths(segments, len(array)))
    rank = places(segments, len(array)) + 1.0
    share = (rank - 0.3175) / (size + 0.365)
    end = np.exp(-math.log(2) / size)
    share = np.where(rank == size, end, np.where(rank == 1, 1 - end, share))
    share = np.where(size == 1, 0.5, share)
    return np.asarray(ndtri(share), dtype=np.float64), array[np.lexsort((array, segment_ids(segments, len(array))))]
