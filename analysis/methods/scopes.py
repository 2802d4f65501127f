"""On which streams a cause may have moved readings: all of them, a single one, or the some that go best together.

Source: the gain is a log Bayes factor of a normal shift (Kass & Raftery 1995, J. American Statistical Association 90).
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import gammaln

from analysis.methods.segments import Flags, Floats

LEAST = 5  # readings since a start, from which on it may be a hypothesis
SIZE_PRIOR = 1.0  # variance of a shift, in sigma squared
ALL_STREAMS, ONE_STREAM = 0.4, 0.3  # prior weight of a cause on every stream, and on a single one; the rest: some
BASELINE = 0.01  # variance of each stream's baseline where hypotheses are only sorted out: one of a hundred readings
NEVER = -50.0
CHOICES = 5


@dataclass(frozen=True, eq=False)
class Gain:
    """How much likelier (log) a shift is than none, of sums of value times reading: what hangs on the sizes alone."""

    factor: Floats  # of the square of such a sum
    less: Floats

    @classmethod
    def of(cls, size: Floats, linear: Floats) -> "Gain":
        """From the sums of value squared, and of value."""
        share = size / np.maximum(size + BASELINE * linear**2, LEAST / 2)  # fewer than five of them count as none
        info = share * size
        some = size >= LEAST
        return cls(
            np.where(some, 0.5 * share**2 / (info + 1 / SIZE_PRIOR), 0.0),
            np.where(some, 0.5 * np.log1p(info * SIZE_PRIOR), -NEVER),
        )

    def at(self, total: Floats) -> Floats:
        """Of the sums of value times reading."""
        return np.asarray(self.factor * total**2 - self.less)


def gain(total: Floats, size: Floats, linear: Floats) -> Floats:
    """How much likelier (log) a shift is than none, from the sum of value times reading, of value squared, of value."""
    return Gain.of(size, linear).at(total)


@dataclass(frozen=True, eq=False)
class Scopes:
    """Of each of many levels five choices of streams: all, the two best alone, the some that go best together, and the
    fewer that do where baselines err alike.
    """

    streams: Flags  # (levels, 5, streams)
    gain: Floats  # (levels, 5, starts)
    price: Floats  # (levels, 5) log prior of the choice; -inf where there is no such choice


def scopes_of(sums: Floats, squares: Floats, totals: Floats, alone: Floats | None = None) -> Scopes:
    """Streams on which each level may have moved: all of them, each of the two best alone, and the some that go best
    together, once with a baseline each, whose errors do not add up, and once as if all erred alike: those are fewer.
    Which of them it is, the exact look tells.

    sums, squares, totals : (levels, streams, starts), of value times reading, of value squared, of value. alone : their
    gains, where they are known already.
    """
    levels, streams, starts = sums.shape
    each = np.arange(levels)
    there = squares.max(axis=2, initial=0.0) > 0  # (levels, streams)
    size = there.sum(axis=1)
    alone = gain(sums, squares, totals) if alone is None else alone
    key = np.where(there, -alone.max(axis=2, initial=NEVER), np.inf)
    order = np.argsort(key, axis=1, kind="stable")
    at = np.maximum(alone, 0.0).sum(axis=1).argmax(axis=1)
    now = tuple(part[each, :, at] for part in (sums, squares, totals))
    chosen = np.zeros((levels, CHOICES, streams), dtype=bool)
    worth = np.full((levels, CHOICES, starts), NEVER)
    price = np.full((levels, CHOICES), -np.inf)
    chosen[:, 0], worth[:, 0] = there, gain(sums.sum(axis=1), squares.sum(axis=1), _length(totals, axis=1))
    for k in range(min(2, streams)):
        chosen[each, 1 + k, order[:, k]], worth[:, 1 + k] = True, alone[each, order[:, k]]
    which = np.flatnonzero(size > 2)
    for place, alike in ((3, False), (4, True)):
        some, price_of_some = _some(now, there, alike=alike)
        total, size_of, of = ((part[which] * some[which, :, None]) for part in (sums, squares, totals))
        chosen[:, place] = some
        worth[which, place] = gain(total.sum(axis=1), size_of.sum(axis=1), _length(of, axis=1))
        price[which, place] = price_of_some[which]
    price[(chosen[:, 3] == chosen[:, 4]).all(axis=1), 4] = -np.inf
    price[size > 0, 0] = 0.0
    price[size > 1, 0] = np.log(ALL_STREAMS)
    price[size > 1, 1:3] = np.log(ONE_STREAM / np.maximum(size, 1))[size > 1, None]
    return Scopes(chosen, worth, price)


def _length(totals: Floats, *, axis: int) -> Floats:
    """What the errors of baselines come to over several streams that have one each."""
    return np.asarray(np.sqrt((totals**2).sum(axis=axis)))


def _some(now: tuple[Floats, ...], there: Flags, *, alike: bool) -> tuple[Flags, Floats]:
    """Of each level's streams, of all but one and all but all those that go best together at one start, in order of
    what each says, with the log prior of the choice; of a level of under three streams nothing that counts.

    now : (levels, streams) each, sums at that start: of value times reading, of value squared, of value. alike : the
    baselines of all streams err as one.
    """
    levels, streams = there.shape
    each = np.arange(levels)
    price = _price_of_some(streams)[there.sum(axis=1)]
    orders, tops, worths = [], [], []
    for side in (1.0, -1.0):
        key = np.where(there, -side * now[0] / np.sqrt(np.maximum(now[1], 1.0)), np.inf)
        order = np.argsort(key, axis=1, kind="stable")
        total, size, linear = (np.take_along_axis(part, order, axis=1) for part in now)
        length = np.abs(np.cumsum(linear, axis=1)) if alike else np.sqrt(np.cumsum(linear**2, axis=1))
        worth = gain(np.cumsum(total, axis=1), np.cumsum(size, axis=1), length) + price
        tops.append(worth.argmax(axis=1))
        worths.append(worth[each, tops[-1]])
        orders.append(order)
    better = np.where(worths[1] > worths[0], 1, 0)
    top = np.where(better, tops[1], tops[0])
    order = np.where(better[:, None], orders[1], orders[0])
    chosen = np.zeros((levels, streams), dtype=bool)
    np.put_along_axis(chosen, order, np.arange(streams) <= top[:, None], axis=1)
    return chosen, np.asarray(price[each, top])


@cache
def _price_of_some(streams: int) -> Floats:
    """Log prior of the choice of so many of m streams (m, number - 1): any number alike, any of that number; never for
    fewer than two and for all of them.
    """
    found = np.full((streams + 1, streams), -np.inf)
    for m in range(3, streams + 1):
        k = np.arange(2, m)
        choices = gammaln(m + 1) - gammaln(k + 1) - gammaln(m - k + 1)
        found[m, k - 1] = np.log((1 - ALL_STREAMS - ONE_STREAM) / (m - 2)) - choices
    return found
