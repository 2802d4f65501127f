"""A stretch of one source's lots, one after another in time, that lies apart from the lots of all other sources.

Every stretch is looked at: from any lot on, up to any lot. It is held against lots of the others of the same days, so
that what moved all sources is nobody's; where fewer than two were there, against all of theirs. Lots are the units: a
stretch errs by as much as the others' lots differ, and by what its pieces leave open where that is more. The chance of
the farthest one is paid for all that were looked at. Sizes are by t with lots as independent.

Source: an interval of a difference with pooled spread, NIST/SEMATECH e-Handbook, section 1.3.5.3; the largest of all
stretches, as of a change and its end: Levin & Kline 1985, Statistics in Medicine 4 (from memory; that a stretch is said
where none is no oftener than promised, and that sizes are held, is shown by simulation).
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.methods.segments import Floats, Ints

LEAST_OTHERS = 5  # lots of other sources, from which on they say how far lots differ
SAME_DAYS = 2  # lots of the others at least, for days to be held against days


@dataclass(frozen=True)
class Lots:
    """Lots in time order: levels, what each errs by, first and last day as numbers; shape (k,)."""

    level: Floats
    error: Floats
    first: Ints
    last: Ints


@dataclass(frozen=True)
class Size:
    """A mean with its 95 % interval."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Stretch:
    """The stretch that lies farthest out, by its errors."""

    first: int  # places among the source's lots, the last one with them
    last: int
    level: Size
    others: Size  # of the lots it is held against
    others_lots: int
    off: Size  # from them
    chance: float  # of one so far out if all lots are as the others' are, paid for all that were looked at


def farthest(own: Lots, others: Lots) -> Stretch | None:
    """The stretch of `own` farthest from `others`; None with too few of the others, or where all are alike."""
    k, m = len(own.level), len(others.level)
    if not k or m < LEAST_OTHERS:
        return None
    left = float(others.level.var(ddof=1))
    if left <= 0:
        return None
    between = max(left - float(np.mean(others.error**2)), 0.0)
    start, end = np.triu_indices(k)
    many = (end - start + 1).astype(np.float64)
    mean = _over(own.level, start, end) / many
    one = _over(np.maximum(left, own.error**2 + between), start, end) / many  # variance of one of its lots
    there, total = _same_days(own, others, start, end)
    beside = there >= SAME_DAYS
    count = np.where(beside, there, m)
    against = np.where(beside, total / np.maximum(there, 1), others.level.mean())
    reached = np.abs(mean - against) / np.sqrt(one / many + left / count)
    at = int(np.argmax(reached))
    chance = min(float(2 * stats.t.sf(reached[at], m - 1)) * len(start), 1.0)
    a, b = int(start[at]), int(end[at])
    return _told(own, others, (a, b), (float(against[at]), int(count[at])), chance)


def whole(lots: Lots) -> Size:
    """The mean of lots, each as much; an infinite interval with one."""
    k = len(lots.level)
    mean = float(lots.level.mean())
    if k < 2:
        return Size(mean, -np.inf, np.inf)
    half = float(stats.t.isf(0.025, k - 1) * np.sqrt(max(lots.level.var(ddof=1), np.mean(lots.error**2)) / k))
    return Size(mean, mean - half, mean + half)


def _told(own: Lots, others: Lots, ends: tuple[int, int], against: tuple[float, int], chance: float) -> Stretch:
    """Sizes by the pooled spread of the stretch's lots and the others', no less than what their pieces leave open."""
    some = own.level[ends[0] : ends[1] + 1]
    j, m = len(some), len(others.level)
    free = j + m - 2
    spread = (float(((some - some.mean()) ** 2).sum()) + (m - 1) * float(others.level.var(ddof=1))) / free
    mine = max(spread, float(np.mean(own.error[ends[0] : ends[1] + 1] ** 2)))
    theirs = max(spread, float(np.mean(others.error**2)))
    reach = float(stats.t.isf(0.025, free))
    usual, count = against

    def size(mean: float, variance: float) -> Size:
        half = reach * float(np.sqrt(variance))
        return Size(mean, mean - half, mean + half)

    level = float(some.mean())
    off = size(level - usual, mine / j + theirs / count)
    return Stretch(*ends, size(level, mine / j), size(usual, theirs / count), count, off, chance)


def _over(values: Floats, start: Ints, end: Ints) -> Floats:
    """Sums from start to end, both with them."""
    until = np.append(0.0, np.cumsum(values))
    return np.asarray(until[end + 1] - until[start], dtype=np.float64)


def _same_days(own: Lots, others: Lots, start: Ints, end: Ints) -> tuple[Ints, Floats]:
    """How many of the others' lots share days with each stretch, and the sum of their levels."""
    last = np.maximum.accumulate(own.last)[end]  # lots in the order of their first day
    count, total = np.zeros(len(start), dtype=np.int64), np.zeros(len(start))
    for days, bound, sign in ((others.first, last, 1), (others.last, own.first[start] - 1, -1)):
        order = np.argsort(days, kind="stable")
        until = np.append(0.0, np.cumsum(others.level[order]))
        place = np.searchsorted(days[order], bound, side="right")
        count, total = count + sign * place, total + sign * until[place]
    return count, total
