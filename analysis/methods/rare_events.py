"""Time, or pieces, between rare faults: one point per fault instead of a row of zeros.

A short gap means more faults, a long one fewer.

Source: Nelson 1994, A control chart for parts-per-million nonconforming items, J. Quality Technology 26 (power
transform); exact limits from the exponential distribution, allowing for the estimated mean, and the geometric.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import fdtri, ndtr

from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, Ints, checked, firsts, lengths, means, places
from analysis.methods.variables import Individuals, individuals

POWER = 1 / 3.6  # makes exponential times nearly normal: Nelson 1994


@dataclass(frozen=True)
class Gaps:
    """Limits are for the points after the baseline, or for all where the baseline is all; those inside it are never
    beyond.
    """

    centre: Floats  # (s,) mean gap of the baseline
    lower: Floats  # (s,) a shorter gap is a signal that faults come sooner
    upper: Floats  # (s,) a longer one that they come later
    beyond: Flags  # (n,)


def _gaps(times: npt.ArrayLike, starts: npt.ArrayLike) -> tuple[Floats, Ints]:
    gaps, begins = checked(times, starts)
    if (gaps < 0).any():
        raise UnusableData(f"a gap between faults is at least 0; got {gaps.min():g}: sort the faults by time")
    return gaps, begins


def by_power(
    times: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    width: float = 3.0,
    baseline: Ints | int | None = None,
    power: float = POWER,
) -> tuple[Floats, Individuals]:
    """Gaps to the power of 1/3.6, shape (n,), and their chart of individuals; raise a limit above 0 to 3.6 to read it
    as time.

    Source: Nelson 1994 (printed as 0.2777).
    """
    gaps, begins = _gaps(times, starts)
    made = gaps**power
    return made, individuals(made, begins, width=width, baseline=baseline)


def by_exponential(
    times: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, width: float = 3.0, baseline: Ints | int | None = None
) -> Gaps:
    """Gaps judged by the exponential distribution with the mean of the baseline, whose uncertainty is in the limits.

    Parameters
    ----------
    times : float, shape (n,)
        Gaps of at least 0 in one unit, oldest first, stream after stream.
    starts : int, shape (s,)
    width : float
        Each side's chance of a false flag is that of a normal point beyond so many sigmas.
    baseline : int or (s,), optional
        How many first gaps give the mean. A later gap over that mean of m gaps is F with 2 and 2m degrees of freedom.
        All by default: then a gap over the sum of all m is Beta(1, m - 1), and each is judged among its own.

    Returns
    -------
    Gaps
        Limits in the unit of `times`.

    Raises
    ------
    UnusableData
        A negative or missing gap, a baseline of under two gaps or with nothing but zeros.
    """
    gaps, begins = _gaps(times, starts)
    size, tail = lengths(begins, len(gaps)), float(ndtr(-width))
    base = (
        size
        if baseline is None
        else np.minimum(np.broadcast_to(np.asarray(baseline, dtype=np.int64), begins.shape), size)
    )
    at, edges = firsts(begins, len(gaps), np.maximum(base, 1))
    centre = means(gaps[at], edges)
    if (base < 2).any() or (centre <= 0).any() or not width > 0:
        raise UnusableData(
            "exponential limits want a width above 0 and, in each stream, a baseline of at least 2 gaps that are not "
            "all 0"
        )
    m = base.astype(np.float64)
    if baseline is None:
        lower, upper = (centre * m * -np.expm1(np.log(above) / (m - 1)) for above in (1 - tail, tail))
    else:
        lower, upper = (centre * fdtri(2.0, 2 * m, below) for below in (tail, 1 - tail))
    judged = (
        places(begins, len(gaps)) >= np.repeat(base, size)
        if baseline is not None
        else np.ones(len(gaps), dtype=np.bool_)
    )
    return Gaps(centre, lower, upper, judged & ((gaps < np.repeat(lower, size)) | (gaps > np.repeat(upper, size))))


def by_geometric(
    pieces: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, share: npt.ArrayLike, width: float = 3.0
) -> Gaps:
    """Pieces looked at up to and with each faulty one, judged by the geometric distribution with a known share of
    faulty ones.

    Parameters
    ----------
    pieces : whole numbers from 1, shape (n,)
    starts : int, shape (s,)
    share : float or (s,)
        Share of faulty pieces, above 0 and below 1: from a standard or a long record, since its uncertainty is not in
        the limits.
    width : float
        Each side's chance of a false flag is at most that of a normal point beyond so many sigmas.

    Returns
    -------
    Gaps
        Counts that are still no flag. A lower limit of 1 flags nothing: with a share above that chance even two faulty
        pieces in a row are no surprise.
    """
    gaps, begins = _gaps(pieces, starts)
    p = np.broadcast_to(np.asarray(share, dtype=np.float64), begins.shape)
    if (gaps < 1).any() or (gaps != np.floor(gaps)).any() or not ((p > 0) & (p < 1)).all() or not width > 0:
        raise UnusableData(
            "geometric limits want whole numbers of pieces from 1, a share between 0 and 1 and a width above 0"
        )
    size, tail = lengths(begins, len(gaps)), float(ndtr(-width))
    lower = (
        np.floor(np.log1p(-tail) / np.log1p(-p) * (1 + 1e-12)) + 1
    )  # the largest count that has a chance of at most `tail` below it
    upper = np.ceil(
        np.log(tail) / np.log1p(-p) * (1 - 1e-12)
    )  # the smallest that has a chance of at most `tail` above it
    return Gaps(1 / p, lower, upper, (gaps < np.repeat(lower, size)) | (gaps > np.repeat(upper, size)))
