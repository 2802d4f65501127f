"""Charts of measured readings: individuals with moving range.

Single readings in time order, one instrument after another, are charted as individuals.

Source: ISO 7870-2; NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.constants import d2
from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, Ints, blocks, checked, firsts, lengths, means

TIE = 1e-9  # a reading nearer to a line than this share of the line or of sigma lies on it: three correct sums must agree


@dataclass(frozen=True)
class Spread:
    centre: Floats  # (s,) mean of the baseline
    sigma: Floats  # (s,) mean moving range / d2(2); 0 where the baseline holds one reading or does not move
    n: Ints  # (s,) readings in the baseline


@dataclass(frozen=True)
class Individuals:
    centre: Floats  # (s,)
    sigma: Floats  # (s,)
    lower: Floats  # (s,)
    upper: Floats  # (s,)
    beyond: Flags  # (n,)


def per_segment(value: npt.ArrayLike, segments: int, what: str) -> Floats:
    """One number for all segments, or one for each, as shape (s,); UnusableData where the count differs or a number is not finite."""
    array = np.asarray(value, dtype=np.float64)
    if array.ndim > 1 or (array.ndim == 1 and len(array) != segments):
        raise UnusableData(f"wanted one {what} or one for each of {segments} segments; got shape {array.shape}")
    if not np.isfinite(array).all():
        raise UnusableData(f"every {what} must be a number; got {array[~np.isfinite(array)][0] if array.ndim else array}: leave such streams out")
    return np.broadcast_to(array, (segments,)).astype(np.float64)


def tie(line: Floats, sigma: Floats) -> Floats:
    """How far from a line a reading still lies on it."""
    return np.asarray(TIE * np.maximum(np.abs(line), sigma))


def moving_ranges(values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM) -> Floats:
    """Distance of each reading from the one before it in its segment, shape (n,); 0 for the first of a segment, which has none before."""
    readings, begins = checked(values, starts)
    ranges = np.abs(np.diff(readings, prepend=readings[0]))
    ranges[begins] = 0.0
    return ranges


def spread(values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, baseline: Ints | int | None = None) -> Spread:
    """Centre and short-term sigma of each segment, from all its readings or from its first `baseline`.

    Parameters
    ----------
    values : float, shape (n,)
        Readings, segment after segment, oldest first, none missing.
    starts : int, shape (s,)
        Where each segment begins.
    baseline : int or int (s,), optional
        How many first readings of each segment count, at least 1; a shorter segment counts whole.

    Returns
    -------
    Spread
        In the unit of `values`. A segment of one counted reading has sigma 0 and n 1: a study says "too few" by n.
        A constant run has exactly its value as centre and sigma exactly 0.

    Source: ISO 7870-2; NIST/SEMATECH e-Handbook, section 6.3.2.2 (there with d2 rounded to 1.128).
    """
    readings, begins = checked(values, starts)
    if baseline is not None:
        wanted = np.broadcast_to(np.asarray(baseline, dtype=np.int64), begins.shape)
        if (wanted < 1).any():
            raise UnusableData(f"a baseline holds at least 1 reading; got {int(wanted.min())}")
        at, begins = firsts(begins, len(readings), wanted)
        readings = readings[at]
    size = lengths(begins, len(readings))
    centre, moved = np.empty(len(begins)), np.empty(len(begins))
    for which, where in blocks(begins, len(readings)):
        block, local = readings[where], begins[which] - where.start
        centre[which] = means(block, local)
        ranges = np.empty_like(block)
        np.abs(np.subtract(block[1:], block[:-1], out=ranges[1:]), out=ranges[1:])
        ranges[local] = 0.0
        moved[which] = np.add.reduceat(ranges, local)
    return Spread(centre, moved / np.maximum(size - 1, 1) / d2(2), size)


def individuals(
    values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, width: float | Floats = 3.0, baseline: Ints | int | None = None
) -> Individuals:
    """Centre lines and limits of single readings in time order, for one stream or for many at once.

    Parameters
    ----------
    values : float, shape (n,)
        Readings in one unit per stream (say relief in mm), stream after stream, oldest first, none missing.
    starts : int, shape (s,)
        Where each stream begins in `values`; the default is one stream.
    width : float or float (s,)
        Distance from centre to limit in estimated standard deviations; above 0.
    baseline : int or int (s,), optional
        How many first readings of each stream centre and sigma come from; all by default.

    Returns
    -------
    Individuals
        Limits in the unit of `values`, one of each per stream. A reading on a limit is not beyond it, where "on" is
        within 1e-9 of the larger of |limit| and sigma. A stream that never moves flags nothing while it stays put.

    Raises
    ------
    UnusableData
        A stream whose baseline holds under two readings, or a missing reading.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2; ISO 7870-2.
    """
    readings, begins = checked(values, starts)
    wide = per_segment(width, len(begins), "width")
    if (wide <= 0).any():
        raise UnusableData(f"a limit lies above 0 sigma from the centre; got width {wide.min():g}")
    line = spread(readings, begins, baseline=baseline)
    if (line.n < 2).any():
        first = int((line.n < 2).argmax())
        raise UnusableData(
            f"segment {first} has {line.n[first]} reading in its baseline; wanted at least 2 for a moving range: wait for more or leave it out"
        )
    lower, upper = line.centre - wide * line.sigma, line.centre + wide * line.sigma
    return Individuals(line.centre, line.sigma, lower, upper, outside(readings, begins, lower, upper, line.sigma))


def outside(readings: Floats, begins: Ints, lower: Floats, upper: Floats, sigma: Floats) -> Flags:
    """Which readings lie beyond the limits of their segment and not on them, shape (n,)."""
    size = lengths(begins, len(readings))
    below, above = lower - tie(lower, sigma), upper + tie(upper, sigma)
    beyond = np.empty(len(readings), dtype=np.bool_)
    for which, where in blocks(begins, len(readings)):
        block = readings[where]
        beyond[where] = (block > np.repeat(above[which], size[which])) | (block < np.repeat(below[which], size[which]))
    return beyond
