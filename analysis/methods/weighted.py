"""Charts with a memory: the exponentially weighted moving average and the cumulative sum.

Both see a small lasting shift sooner than single readings do.

Source: Lucas & Saccucci 1990, Exponentially weighted moving average control schemes, Technometrics 32; Lucas & Crosier
1982, Fast initial response for CUSUM quality-control schemes, Technometrics 24; ISO 7870-4, -6.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from analysis.methods.problems import UnusableData
from analysis.methods.segments import (
    ONE_STREAM,
    Flags,
    Floats,
    Ints,
    blocks,
    checked,
    lengths,
    places,
    rectangles,
    spans,
)
from analysis.methods.variables import TIE, per_segment

ALONE = 250  # readings from which on a segment has a filter of its own; shorter ones go side by side


@dataclass(frozen=True)
class Ewma:
    """The average at each reading, its limits there, and where it is beyond."""

    average: Floats  # (n,) the centre before the first judged reading
    beyond: Flags  # (n,)
    starts: Ints  # (s,)
    centre: Floats  # (s,)
    reach: Floats  # (s,) width x sigma: the limits are this times `grow`
    begin: Ints  # (s,) first judged place of each segment
    weight: float

    @cached_property
    def half(self) -> Floats:
        """Distance from the centre to the limits, shape (n,); 0 before the first judged reading."""
        n = len(self.average)
        size = lengths(self.starts, n)
        judged = places(self.starts, n) - np.repeat(self.begin, size) + 1
        return np.repeat(self.reach, size) * growth(self.weight, np.maximum(judged, 0))

    @property
    def lower(self) -> Floats:
        """Lower limit at each reading, shape (n,)."""
        return np.repeat(self.centre, lengths(self.starts, len(self.average))) - self.half

    @property
    def upper(self) -> Floats:
        """Upper limit at each reading, shape (n,)."""
        return np.repeat(self.centre, lengths(self.starts, len(self.average))) + self.half


def growth(weight: float, judged: Ints) -> Floats:
    """Standard deviation of the average after so many judged readings, in sigmas of one reading."""
    gone = np.power(1 - weight, 2.0 * judged)
    return np.asarray(np.sqrt(weight / (2 - weight) * (1 - gone)), dtype=np.float64)


def faded(inputs: Floats, begins: Ints, keep: float) -> Floats:
    """Running sums y = x + keep y', anew at each start; each segment is summed alone, so that to the last digit it
    hangs on its own inputs and on nothing that stands beside it.
    """
    found = np.empty(len(inputs))
    size = lengths(begins, len(inputs))
    ahead, behind = np.ones(1), np.array([1.0, -keep])
    alone = size >= ALONE
    for first, count in zip(begins[alone].tolist(), size[alone].tolist(), strict=True):
        found[first : first + count] = lfilter(ahead, behind, inputs[first : first + count])
    short = np.flatnonzero(~alone)
    for which, longest in rectangles(size[short]):
        along = np.arange(longest)
        inside = along < size[short[which], None]
        at = (begins[short[which], None] + along)[inside]
        cells = np.zeros(inside.shape)
        cells[inside] = inputs[at]
        found[at] = lfilter(ahead, behind, cells, axis=1)[inside]
    return found


def ewma(
    values: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    centre: npt.ArrayLike,
    sigma: npt.ArrayLike,
    weight: float = 0.1,
    width: npt.ArrayLike = 3.0,
    begin: npt.ArrayLike = 0,
) -> Ewma:
    """Exponentially weighted moving average with exact limits, which widen from the first judged reading on.

    Parameters
    ----------
    values : float, shape (n,)
        Readings, segment after segment, oldest first, none missing.
    starts : int, shape (s,)
        Where each segment begins; the average starts anew at its segment's centre. To restart, cut the segment.
    centre, sigma : float or (s,)
        Centre line and standard deviation of one reading; sigma at least 0.
    weight : float
        Of the newest reading, above 0, at most 1.
    width : float or (s,)
        Limits in standard deviations of the average; above 0.
    begin : int or (s,)
        Place (from 0) of the first reading judged in each segment; before it the average stays at the centre.

    Returns
    -------
    Ewma
        `average` and `beyond` (n,), `lower` and `upper` (n,) worked out when asked. Limits after i judged readings:
        centre +- width sigma sqrt(weight / (2 - weight) (1 - (1 - weight)^(2 i))). With sigma 0 nothing is beyond.

    Source: Lucas & Saccucci 1990; NIST/SEMATECH e-Handbook, section 6.3.2.4 (there with the limits of a long run).
    """
    readings, begins = checked(values, starts)
    s, n = len(begins), len(readings)
    middle, spread, wide = (
        per_segment(centre, s, "centre"),
        per_segment(sigma, s, "sigma"),
        per_segment(width, s, "width"),
    )
    first = np.broadcast_to(np.asarray(begin, dtype=np.int64), (s,))
    if not 0 < weight <= 1 or (spread < 0).any() or (wide <= 0).any() or (first < 0).any():
        raise UnusableData(
            "an EWMA wants a weight above 0 and at most 1, sigma and begin of at least 0 and a width above 0"
        )
    size = lengths(begins, n)
    keep = 1.0 - weight
    unit = np.where(
        spread > 0, spread, np.maximum(np.abs(middle), 1.0)
    )  # sigma 0: any yardstick will do, nothing is flagged
    early = (
        1 if keep == 0 else int(np.ceil(-40 / (2 * np.log(keep))))
    )  # after so many judged readings the limits no longer move
    slack = TIE * np.maximum(np.abs(middle) / unit + wide, 1.0)
    reach = np.where(spread > 0, wide, np.inf)
    average = np.empty(n)
    beyond = np.empty(n, dtype=np.bool_)
    for which, where in blocks(begins, n):
        local, count = begins[which] - where.start, size[which]
        line, scale = np.repeat(middle[which], count), np.repeat(unit[which], count)
        off = (readings[where] - line) / scale
        idle = np.minimum(first[which], count)
        if idle.any():
            off[spans(local, local + idle)] = 0.0
        off *= weight
        smooth = faded(off, local, keep)
        limit = reach[which] * growth(weight, np.array([10**6]))[0] + slack[which]
        flags = np.abs(smooth) > np.repeat(limit, count)
        taken = np.minimum(count - idle, early)
        at = spans(local + idle, local + idle + taken)
        order = np.arange(len(at)) - np.repeat(np.cumsum(taken) - taken, taken)
        moving = np.repeat(reach[which], taken) * growth(weight, np.arange(1, early + 1))[order] + np.repeat(
            slack[which], taken
        )
        flags[at] = np.abs(smooth[at]) > moving
        if idle.any():
            flags[spans(local, local + idle)] = False
        beyond[where] = flags
        smooth *= scale
        smooth += line
        average[where] = smooth
    return Ewma(average, beyond, begins, middle, wide * spread, np.ascontiguousarray(first), weight)


@dataclass(frozen=True)
class Cusum:
    """Both sums at each reading, and where one is beyond its limit."""

    upper: Floats  # (n,) sum of what lies above centre + k sigma, in sigmas, never below 0
    lower: Floats  # (n,) sum of what lies below centre - k sigma, in sigmas, never below 0
    signal: Flags  # (n,) one of them is above h
    began: Ints  # (n,) where the signalling sum last rose from 0, as index in `values`; -1 without a signal
    shift: Floats  # (n,) estimated mean minus centre since then, in the unit of `values`; 0 without a signal


def cusum(
    values: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    centre: npt.ArrayLike,
    sigma: npt.ArrayLike,
    k: float = 0.5,
    h: float = 5.0,
    head_start: float = 0.0,
) -> Cusum:
    """Two-sided tabular cumulative sum, begun anew at each start and not after a signal.

    Parameters
    ----------
    values : float, shape (n,)
        Readings, segment after segment, oldest first, none missing.
    starts : int, shape (s,)
    centre, sigma : float or (s,)
        Target and standard deviation of one reading; sigma above 0.
    k, h : float
        Allowance (half the shift to be found) and limit of the sums, in sigmas; k at least 0, h above 0.
    head_start : float
        What both sums begin with, in sigmas, at least 0 and below h; h / 2 makes a chart quick from its first reading.

    Returns
    -------
    Cusum
        With a signal: when it began = first reading after the sum was last 0, its size = k + sum / readings since (what
        is left of a head start is no evidence, so it is taken off).

    Source: Lucas & Crosier 1982; ISO 7870-4; NIST/SEMATECH e-Handbook, section 6.3.2.3.
    """
    readings, begins = checked(values, starts)
    s, n = len(begins), len(readings)
    middle, unit = per_segment(centre, s, "centre"), per_segment(sigma, s, "sigma")
    if (unit <= 0).any() or k < 0 or not 0 <= head_start < h:
        raise UnusableData(
            "a CUSUM wants sigma above 0, k of at least 0 and a head start from 0 to below h; leave out series that "
            "never move"
        )
    size = lengths(begins, n)
    upper, lower, since_upper, since_lower = np.empty(n), np.empty(n), np.empty(n, np.int64), np.empty(n, np.int64)
    for which, at, inside in _rectangles(begins, size):
        z = (readings[at] - middle[which, None]) / unit[which, None]
        for sums, since, steps in ((upper, since_upper, z - k), (lower, since_lower, -z - k)):
            path = head_start + np.cumsum(steps, axis=1)
            total = path - np.minimum(np.minimum.accumulate(path, axis=1), 0.0)
            zero = np.maximum.accumulate(np.where(total == 0, np.arange(at.shape[1]), -1), axis=1)
            sums[at[inside]], since[at[inside]] = total[inside], (begins[which, None] + zero + 1)[inside]
    side = upper >= lower
    sums, began = np.where(side, upper, lower), np.where(side, since_upper, since_lower)
    signal = sums > h * (1 + TIE)
    fresh = began == np.repeat(begins, size)  # the sum has not been 0 since the head start
    count = np.maximum(np.arange(n) - began + 1, 1)
    shift = np.where(side, 1.0, -1.0) * (k + (sums - head_start * fresh) / count) * np.repeat(unit, size)
    return Cusum(upper, lower, signal, np.where(signal, began, -1), np.where(signal, shift, 0.0))


def _rectangles(begins: Ints, size: Ints, cells: int = 1 << 20) -> Iterator[tuple[Ints, Ints, Flags]]:
    """Segments of like length laid side by side: which they are (k,), indices of their readings (k, longest), which of
    these are theirs.
    """
    order = np.argsort(size, kind="stable")
    doubled = np.floor(np.log2(size[order])).astype(np.int64)
    batch = np.cumsum(2 ** (doubled + 1)) // cells
    cuts = np.flatnonzero((np.diff(doubled) > 0) | (np.diff(batch) > 0)) + 1
    for which in np.split(order, cuts):
        along = np.arange(size[which].max())
        inside = along < size[which, None]
        yield which, np.where(inside, begins[which, None] + along, begins[which, None]), inside
