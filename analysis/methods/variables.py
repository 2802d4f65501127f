"""Charts of measured readings: single ones, and subgroups with their range or standard deviation.

Which chart: one reading per instrument in time order -> `individuals`. Several readings that differ by nothing but
chance, taken together (five nuts cut in a row) -> `xbar_s`, or `xbar_r` where the range is what people are used to and
subgroups are under about ten. Several readings of one instrument that share its history (the strings of one guitar)
-> `three_way`: their inside spread says nothing of how much instruments differ, so limits of the means come from the
means themselves.

Source: ISO 7870-2; NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.constants import c4, d2, d3
from analysis.methods.problems import UnusableData
from analysis.methods.segments import (
    ONE_STREAM,
    Flags,
    Floats,
    Ints,
    blocks,
    checked,
    firsts,
    lengths,
    means,
    standard_deviations,
    sums,
)

TIE = (
    1e-9  # a reading nearer to a line than this share of the line or of sigma lies on it: three correct sums must agree
)


@dataclass(frozen=True)
class Spread:
    """A chart of ranges or standard deviations of subgroups."""

    centre: Floats  # (s,) mean of the baseline
    sigma: Floats  # (s,) mean moving range / d2(2); 0 where the baseline holds one reading or does not move
    n: Ints  # (s,) readings in the baseline


@dataclass(frozen=True)
class Individuals:
    """Limits of single readings and of their moving ranges, one of each a stream."""

    centre: Floats  # (s,)
    sigma: Floats  # (s,)
    lower: Floats  # (s,)
    upper: Floats  # (s,)
    beyond: Flags  # (n,)


def per_segment(value: npt.ArrayLike, segments: int, what: str) -> Floats:
    """One number for all segments, or one for each, as shape (s,); UnusableData where the count differs or a number is
    not finite.
    """
    array = np.asarray(value, dtype=np.float64)
    if array.ndim > 1 or (array.ndim == 1 and len(array) != segments):
        raise UnusableData(f"wanted one {what} or one for each of {segments} segments; got shape {array.shape}")
    if not np.isfinite(array).all():
        raise UnusableData(
            f"every {what} must be a number; got {array[~np.isfinite(array)][0] if array.ndim else array}: leave such "
            "streams out"
        )
    return np.broadcast_to(array, (segments,)).astype(np.float64)


def tie(line: Floats, sigma: Floats) -> Floats:
    """How far from a line a reading still lies on it."""
    return np.asarray(TIE * np.maximum(np.abs(line), sigma))


def moving_ranges(values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM) -> Floats:
    """Distance of each reading from the one before it in its segment, shape (n,); 0 for the first of a segment, which
    has none before.
    """
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
    values: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    width: float | Floats = 3.0,
    baseline: Ints | int | None = None,
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
            f"segment {first} has {line.n[first]} reading in its baseline; wanted at least 2 for a moving range: wait "
            "for more or leave it out"
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


@dataclass(frozen=True)
class Subgroups:
    """A chart of the means and one of the spread inside; streams (s,) of subgroups (g,)."""

    n: Ints  # (g,) readings in the subgroup
    mean: Floats  # (g,)
    centre: Floats  # (s,)
    sigma: Floats  # (s,) of one reading, from inside the subgroups
    lower: Floats  # (g,) limits of the mean
    upper: Floats  # (g,)
    beyond: Flags  # (g,)
    spread: Floats  # (g,) range or standard deviation; 0 for a single reading
    spread_centre: Floats  # (g,)
    spread_lower: Floats  # (g,)
    spread_upper: Floats  # (g,)
    spread_beyond: Flags  # (g,) never for a single reading


def _off(points: Floats, lower: Floats, upper: Floats, sigma: Floats) -> Flags:
    """Beyond limits given point by point, ties not counted."""
    return np.asarray((points > upper + tie(upper, sigma)) | (points < lower - tie(lower, sigma)), dtype=np.bool_)


def _by_size(factor: Callable[[int], float], n: Ints) -> Floats:
    """A factor for each subgroup, worked out once per size; a single reading has no spread and takes 1."""
    sizes, which = np.unique(n, return_inverse=True)
    return np.array([factor(int(size)) if size > 1 else 1.0 for size in sizes])[which]


def _subgroup_chart(
    values: npt.ArrayLike,
    groups: npt.ArrayLike,
    starts: npt.ArrayLike,
    width: float,
    *,
    by_range: bool,
    between: bool = False,
) -> tuple[Subgroups, Ints]:
    readings, edges = checked(values, groups)
    n = lengths(edges, len(readings))
    mean = means(readings, edges)
    _, begins = checked(mean, starts)
    if width <= 0:
        raise UnusableData(f"a limit lies above 0 sigma from the centre; got width {width:g}")
    if by_range:
        inside = np.maximum.reduceat(readings, edges) - np.minimum.reduceat(readings, edges)
        expected, scatter = _by_size(d2, n), _by_size(d3, n)
    else:
        inside = standard_deviations(readings, edges)
        expected = _by_size(c4, n)
        scatter = np.sqrt(np.maximum(1 - expected**2, 0.0))
    told = n > 1
    weight = np.where(told, (expected / np.where(told, scatter, 1.0)) ** 2, 0.0)  # each estimate by how sure it is
    total = sums(weight, begins)
    if (total == 0).any():
        raise UnusableData(
            f"stream {int((total == 0).argmax())} has only single readings: wanted subgroups of 2 or more; chart them "
            "as individuals"
        )
    size = lengths(begins, len(mean))
    sigma = sums(weight * inside / expected, begins) / total
    each = np.repeat(sigma, size)
    if between:
        line = spread(mean, begins)
        centre, half = line.centre, width * np.repeat(line.sigma, size)
    else:
        first = mean[begins]
        centre = first + sums(n * (mean - np.repeat(first, size)), begins) / sums(n, begins)
        half = width * each / np.sqrt(n)
    middle = np.repeat(centre, size)
    middle_inside = np.where(told, expected * each, 0.0)
    lower_inside = np.where(told, np.maximum(expected - width * scatter, 0.0) * each, 0.0)
    upper_inside = np.where(told, (expected + width * scatter) * each, 0.0)
    chart = Subgroups(
        n=n,
        mean=mean,
        centre=centre,
        sigma=sigma,
        lower=middle - half,
        upper=middle + half,
        beyond=_off(mean, middle - half, middle + half, half / width),
        spread=inside,
        spread_centre=middle_inside,
        spread_lower=lower_inside,
        spread_upper=upper_inside,
        spread_beyond=told & _off(inside, lower_inside, upper_inside, each),
    )
    return chart, begins


def xbar_r(
    values: npt.ArrayLike, groups: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, width: float = 3.0
) -> Subgroups:
    """Means and ranges of subgroups, of any and of unequal size.

    Parameters
    ----------
    values : float, shape (n,)
        Readings, subgroup after subgroup, oldest first, none missing.
    groups : int, shape (g,)
        Where each subgroup begins in `values`.
    starts : int, shape (s,)
        Where each stream begins, counted in subgroups.
    width : float
        Limits in sigmas of a mean and of a range; above 0.

    Returns
    -------
    Subgroups
        In the unit of `values`. sigma = mean of R / d2(n), weighted by (d2 / d3)^2 where n differ (equal n: R-bar /
        d2); the centre is the mean of all readings.

    Raises
    ------
    UnusableData
        A stream of single readings only, or a missing reading.

    Source: ISO 7870-2; unequal n: Burr 1969, Control charts for measurements with varying sample sizes, J. Quality
    Technology 1 (weights from memory).
    """
    return _subgroup_chart(values, groups, starts, width, by_range=True)[0]


def xbar_s(
    values: npt.ArrayLike, groups: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, width: float = 3.0
) -> Subgroups:
    """Means and standard deviations of subgroups; as `xbar_r`, with s / c4(n) weighted by c4^2 / (1 - c4^2) where n
    differ.
    """
    return _subgroup_chart(values, groups, starts, width, by_range=False)[0]


@dataclass(frozen=True)
class ThreeWay:
    """Between and within: means of subgroups judged by their own moving range, and the spread within."""

    chart: Subgroups  # its means are judged by their own moving range
    sigma_between: Floats  # (s,) what subgroups differ by beyond the spread inside; 0 where that explains it all


def three_way(
    values: npt.ArrayLike, groups: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, width: float = 3.0
) -> ThreeWay:
    """Means charted as individuals, the spread inside subgroups by s: change between instruments and within each,
    apart.

    For subgroups that are no random handful, such as the six string heights of one guitar: they rise and fall together,
    so limits from the spread inside would flag nearly every guitar. Parameters and errors as in `xbar_r`; a stream
    needs two subgroups. sigma_between^2 = (moving-range sigma of the means)^2 - sigma^2 x mean of 1/n, at least 0.

    Source: ISO 7870-2; Wheeler 1995, Advanced Topics in Statistical Process Control (three-way charts; from memory).
    """
    chart, begins = _subgroup_chart(values, groups, starts, width, by_range=False, between=True)
    size = lengths(begins, len(chart.mean))
    if (size < 2).any():
        raise UnusableData(
            f"stream {int((size < 2).argmax())} has 1 subgroup; wanted at least 2 for a moving range: wait for more "
            "or leave it out"
        )
    of_means = ((chart.upper - chart.lower) / 2 / width)[begins]
    inside = chart.sigma**2 * sums(1 / chart.n, begins) / size
    return ThreeWay(chart, np.sqrt(np.maximum(of_means**2 - inside, 0.0)))
