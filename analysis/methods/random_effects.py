"""Random effects of readings that have many groupings at once: variances by moments, products, and the root that
likelihoods come from.

Source: Searle, Casella & McCulloch 1992, Variance Components, chapter 3 (moments); Laird & Ware 1982, Biometrics 38.
Held by tests against dense algebra and statsmodels' mixed model (tests/analysis/methods/test_explanation.py).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from scipy.linalg import cholesky

from analysis.methods.segments import Flags, Floats, Ints

FLOOR = 1e-4  # of a variance between levels, in sigma squared
FEW_LEVELS = 0.05  # the variance between levels where there is only one to learn it from
SEVERAL = 8  # levels one after another from which on neighbours can tell it too
WEEK = 5  # working days by which days that are held against each other lie apart
MOVED = 2.0  # times as far apart as neighbours are: then something moved for a while, which says nothing of the rest
MIDDLE = 0.4549364  # the median of the square of a standard normal value


@dataclass(frozen=True)
class Block:
    """One grouping: the level of every reading (n,), -1 where not known; the first of several is the streams'."""

    code: Ints
    variance: float | None = None  # None: by moments
    days: bool = False
    told_by: Flags | None = None  # (n,) readings that say how far levels differ; None: all that are settled


@dataclass
class RandomEffects:
    """All levels of all blocks, a number each."""

    place: Ints  # (blocks, n) the effect of each reading in each block; one past the last: none
    firsts: list[int]  # (blocks,) the first effect of each
    precision: Floats  # (p,)
    day: Ints  # (p,) the day, of effects of days; else -1
    between_days: float  # the variance between them
    each: Ints = field(init=False)  # (n, blocks) the same as `place`, a row a reading
    before: Floats = field(init=False)  # (p, p) products of all effects over the readings before a day
    gram: Floats = field(init=False)  # (p, p) and over all of them
    roots: dict[float, Floats] = field(default_factory=dict)

    @classmethod
    def of(cls, blocks: Sequence[Block], values: Floats, settled: Flags, before: Flags) -> "RandomEffects":
        """Variances from the readings that are settled (n,), each less its stream's mean."""
        stream = blocks[0].code
        rows, off = _off(stream, values, settled)
        places, firsts, precision, days, at, between_days = [], [], [], [], 0, FLOOR
        for number, block in enumerate(blocks):
            seen = np.flatnonzero(np.bincount(block.code + 1)[1:])
            levels = len(seen)
            if levels < 2 and number > 0:
                continue
            told = (rows, off) if block.told_by is None else _off(stream, values, settled & block.told_by)
            variance = block.variance or spread(block.code[told[0]], told[1], apart=WEEK if block.days else 1)
            which = np.full(int(block.code.max()) + 2, -1)  # the last for those not known
            which[seen] = at + np.arange(levels)
            places.append(which[block.code])
            firsts.append(at)
            precision.append(np.full(levels, 1.0 / variance))
            days.append(seen if block.days else np.full(levels, -1))
            between_days = variance if block.days else between_days
            at += levels
        place = np.stack(places)
        place[place < 0] = at
        made = cls(place, firsts, np.concatenate(precision), np.concatenate(days), between_days)
        made.each = np.ascontiguousarray(place.T)
        made.before, after = made._products(before)
        made.gram = made.before + after
        return made

    def _products(self, before: Flags) -> Floats:
        """Products of all effects over the readings before a day, and over the others (2, p, p): how often each two
        meet.
        """
        p = len(self.precision)
        found = np.zeros((2, p, p))
        other = self.place + np.where(before, 0, p + 1)  # the second effect of a pair, of the others behind the first
        for block, (first, end) in enumerate(pairwise((*self.firsts, p))):
            own = (np.minimum(self.place[block], end) - first) * (2 * p + 2)  # the last for those not known
            met = np.bincount((other[block:] + own).ravel(), minlength=(end - first + 1) * (2 * p + 2))
            met = met.reshape(end - first + 1, 2, p + 1)[:-1, :, first:-1].swapaxes(0, 1)
            found[:, first:end, first:] = met
            found[:, first:, first:end] = met.swapaxes(1, 2)
        return found

    def sums(self, values: Floats) -> Floats:
        """Sum of values of all readings by effect (p,)."""
        ends = (*self.firsts[1:], len(self.precision))
        found = np.empty(len(self.precision))
        for place, first, end in zip(self.place, self.firsts, ends, strict=True):
            found[first:end] = np.bincount(place, values, minlength=end)[first:end]
        return found

    def fitted(self, effects: Floats) -> Floats:
        """What each reading would be by these effects (n,)."""
        return np.asarray(np.append(effects, 0.0)[self.place].sum(axis=0))

    def root(self, unrest: float, since: int) -> tuple[Floats, float]:
        """Lower root of the effects' precision given the readings, where days from one on differ by so much more
        variance; and the part of the log likelihood that hangs on it alone.
        """
        precision = self.precision.copy()
        later = self.day >= since
        precision[later] = 1 / (1 / precision[later] + unrest)
        key = round(unrest, 12)
        if key not in self.roots:
            self.roots[key] = cholesky(self.gram + np.diag(precision), lower=True, check_finite=False)
        root = self.roots[key]
        return root, 0.5 * float(np.log(precision).sum()) - float(np.log(np.diag(root)).sum())


def old_levels(code: Ints, day: Ints, since: int) -> Flags | None:
    """Readings of levels that were there before a day (n,), which come in time order; None where all were.

    What came new may be what moved: it is not to say how far such levels differ anyhow, or the more there is of it the
    less sure its size would be.
    """
    known = code >= 0
    first = np.zeros(int(code.max(initial=-1)) + 2, dtype=np.int64)
    first[code[::-1]] = day[::-1]  # of the first of its readings, which is written last
    new = known & (first[code] >= since)
    return ~new if new.any() else None


def _off(stream: Ints, values: Floats, some: Flags) -> tuple[Ints, Floats]:
    """Which readings these are, and how far each lies off their mean in its stream."""
    rows = np.flatnonzero(some)
    size = np.bincount(stream[rows], minlength=int(stream.max()) + 1)
    mean = np.bincount(stream[rows], values[rows], minlength=len(size)) / np.maximum(size, 1)
    return rows, (values - mean[stream])[rows]


def spread(code: Ints, off: Floats, *, apart: int = 1) -> float:
    """Variance between levels, readings of one level about 0 having variance 1, in the order in which levels come: by
    moments; where levels lie much further apart over all than from one to the next, as neighbours tell it. What moved
    for a while and came back, or stays, moves all levels of its time, and is no spread between them.

    code : (n,) -1 where not known, rows in time order. apart : how many levels on a neighbour stands.
    """
    by_moments = moment(code, off)
    first = np.zeros(int(code.max(initial=-1)) + 2, dtype=np.int64)  # the last for those not known
    first[code[::-1]] = np.arange(len(code))[::-1]
    size, sums = np.bincount(code + 1)[1:], np.bincount(code + 1, off)[1:]
    seen = np.flatnonzero(size)
    if len(seen) < SEVERAL + apart:
        return by_moments
    order = seen[np.argsort(first[seen])]
    n = size[order]
    mean = sums[order] / n
    square = (mean[apart:] - mean[:-apart]) ** 2
    chance = 1 / n[apart:] + 1 / n[:-apart]
    near = _by_neighbours(square, chance)
    typical = float(np.median(chance))
    return near if 2 * by_moments + typical > MOVED * (2 * near + typical) else by_moments


def _by_neighbours(square: Floats, chance: Floats) -> float:
    """The variance between levels by which half of the squared differences of neighbours are as large as half of them
    should be: a few that lie far apart do not count for more. chance : (n,) what readings alone make of each.
    """
    return max(FLOOR, float(np.median(square / MIDDLE - chance)) / 2)


def moment(code: Ints, off: Floats) -> float:
    """Variance between levels by moments, readings of one level about 0 having variance 1; never none at all."""
    size = np.bincount(code + 1)[1:]  # the first is of those not known
    sums = np.bincount(code + 1, off)[1:]
    kept = size > 0
    n, levels = float(size.sum()), int(kept.sum())
    if levels < 2:
        return FEW_LEVELS
    between = float((sums[kept] ** 2 / size[kept]).sum())
    return max((between - levels) / n, 0.0) + FLOOR
