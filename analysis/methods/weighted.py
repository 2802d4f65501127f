"""Charts with a memory: the exponentially weighted moving average and the cumulative sum.

Both see a small lasting shift sooner than single readings do.

Source: Lucas & Saccucci 1990, Exponentially weighted moving average control schemes, Technometrics 32; Lucas & Crosier
1982, Fast initial response for CUSUM quality-control schemes, Technometrics 24; ISO 7870-4, -6.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, Ints, blocks, checked, lengths, places
from analysis.methods.variables import TIE, per_segment


@dataclass(frozen=True)
class Ewma:
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
        return np.repeat(self.reach, size) * _grow(self.weight, np.maximum(judged, 0))

    @property
    def lower(self) -> Floats:
        """Lower limit at each reading, shape (n,)."""
        return np.repeat(self.centre, lengths(self.starts, len(self.average))) - self.half

    @property
    def upper(self) -> Floats:
        """Upper limit at each reading, shape (n,)."""
        return np.repeat(self.centre, lengths(self.starts, len(self.average))) + self.half


def _grow(weight: float, judged: Ints) -> Floats:
    """Standard deviation of the average after so many judged readings, in sigmas of one reading."""
    gone = np.power(1 - weight, 2.0 * judged)
    return np.asarray(np.sqrt(weight / (2 - weight) * (1 - gone)), dtype=np.float64)


def _faded(inputs: Floats, begins: Ints, keep: float) -> Floats:
    """Running sums y = x + keep y', anew at each start, in one pass over all segments.

    One filter runs through; what it carries over a start is known from the segment's own end and taken out of the first
    input, which costs eps x |carried|. Where that is more than 1e5 the parts before and after are filtered apart.
    """
    through: Floats = lfilter([1.0], [1.0, -keep], inputs)
    if len(begins) == 1:
        return through
    ends = through[begins[1:] - 1]
    own = ends - keep ** np.diff(begins) * np.append(0.0, ends[:-1])
    stops = np.flatnonzero(np.abs(own) > 1e5) + 1
    if len(stops):
        parts = pairwise([0, *stops.tolist(), len(begins)])
        edges = np.append(begins, len(inputs))
        return np.concatenate([_faded(inputs[edges[a] : edges[b]], begins[a:b] - edges[a], keep) for a, b in parts])
    mended = inputs.copy()
    mended[begins[1:]] -= keep * own
    return np.asarray(lfilter([1.0], [1.0, -keep], mended), dtype=np.float64)


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
    middle, spread, wide = per_segment(centre, s, "centre"), per_segment(sigma, s, "sigma"), per_segment(width, s, "width")
    first = np.broadcast_to(np.asarray(begin, dtype=np.int64), (s,))
    if not 0 < weight <= 1 or (spread < 0).any() or (wide <= 0).any() or (first < 0).any():
        raise UnusableData("an EWMA wants a weight above 0 and at most 1, sigma and begin of at least 0 and a width above 0")
    size = lengths(begins, n)
    keep = 1.0 - weight
    unit = np.where(spread > 0, spread, np.maximum(np.abs(middle), 1.0))  # sigma 0: any yardstick will do, nothing is flagged
    early = 1 if keep == 0 else int(np.ceil(-40 / (2 * np.log(keep))))  # after so many judged readings the limits no longer move
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
            off[_heads(local, idle)] = 0.0
        off *= weight
        faded = _faded(off, local, keep)
        limit = reach[which] * _grow(weight, np.array([10**6]))[0] + slack[which]
        flags = np.abs(faded) > np.repeat(limit, count)
        taken = np.minimum(count - idle, early)
        at = _heads(local + idle, taken)
        order = np.arange(len(at)) - np.repeat(np.cumsum(taken) - taken, taken)
        moving = np.repeat(reach[which], taken) * _grow(weight, np.arange(1, early + 1))[order] + np.repeat(slack[which], taken)
        flags[at] = np.abs(faded[at]) > moving
        if idle.any():
            flags[_heads(local, idle)] = False
        beyond[where] = flags
        faded *= scale
        faded += line
        average[where] = faded
    return Ewma(average, beyond, begins, middle, wide * spread, np.ascontiguousarray(first), weight)


def _heads(begins: Ints, taken: Ints) -> Ints:
    """Indices of the `taken` readings from each begin on."""
    return np.repeat(begins - np.cumsum(taken) + taken, taken) + np.arange(int(taken.sum()), dtype=np.int64)
