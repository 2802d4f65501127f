"""How many independent readings carry as much as these: n where nothing speaks against it, fewer where lots or days
differ, where neighbouring readings resemble each other, or where the readings have heavier tails than a normal curve.

What differs is tested and measured over all streams of a pool (a characteristic at a stage), since one stream of a
few lots tells next to nothing of how lots differ; a stream's own estimate counts against the pool's by its degrees of
freedom. With shares a of the variance between lots, d between days, and a lag-1 correlation of what is left, the
covariance of a stream's readings is known up to sigma; from it follow the variance of their mean, how much too small
s comes out, and Satterthwaite's degrees of freedom of s. How much lots differ is itself known from few lots: Student's
t in place of the normal quantile pays for that.

Source: Satterthwaite 1946, Biometrics Bulletin 2 (degrees of freedom of a sum of squares); Searle, Casella &
McCulloch 1992, Variance Components, chapter 3 (split by analysis of variance); the variance of s under kurtosis:
Cramer 1946, Mathematical Methods of Statistics, section 27.4; a gamma curve's excess kurtosis is 1.5 times its squared
skewness: Johnson, Kotz & Balakrishnan 1994, Continuous Univariate Distributions 1, chapter 17 (all from memory;
coverage is shown by simulation).
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.methods.autocorrelation import effective_size
from analysis.methods.batches import Batches, Pairs
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Floats, Ints, checked, lengths, means, segment_ids, spans

LEVEL = 0.03  # lots that do not differ are called so 97 times in 100: fewer would leave bounds of few lots too narrow
LEAST, FEWEST = 3.0, 6  # fewer independent readings, or fewer readings at all, carry no bounds
OWN_LOTS, OWN_READINGS = 40.0, 100.0  # what the pool's estimate weighs against a stream's own: lots, readings
USUAL = 1 / 3  # variance between lots over that within: lots that differ usually take a quarter of the whole
PRIOR_LOTS = 16.0  # believed as firmly as so many lots would say it
SURE_LOTS = 8.0  # and counted, where it comes to how surely it is known, as so many
PLAIN = 1.0  # the index that stands in where a row has no limits
NEAR = 2.576  # two-sided 1 %
AT_ONCE = 1 << 17  # readings that are worked on together: their columns stay in the processor's cache
FEW, HINT = 300, 1.0  # a pool of fewer readings seldom shows its tails surely: one standard error of them is minded


@dataclass(frozen=True)
class Carried:
    """What the readings of each stream carry, shape (s,). Nothing tested positive in its pool: as n independent
    normal readings."""

    n: Floats  # readings
    mean_variance: Floats  # variance of the mean in sigma^2
    sd_variance: Floats  # variance of s over its square, and the square of how much too small s comes out
    short: Floats  # E[s^2] / sigma^2, at most 1
    skew: Floats  # pooled skewness where it is minded, else 0: mean and s then err together
    lots: Floats  # share of the variance between lots
    days: Floats  # share between days
    phi: Floats  # lag-1 correlation of the rest
    wider: Floats  # where lots differ: by how much few lots widen a variance, (t / z)^2; else 1
    uneven: Flags  # heavier tails, or more lopsided readings, than a normal curve's are minded
    heavy: Flags  # they are sure, at 1 %

    @property
    def dependent(self) -> Flags:
        """Lots or days differ, or neighbouring readings resemble each other."""
        return np.asarray((self.lots > 0) | (self.days > 0) | (self.phi > 0))

    def number(self, index: npt.ArrayLike, side: npt.ArrayLike = 0.0) -> Floats:
        """Independent normal readings whose Ppk would be as uncertain; at most n, nan where n is under 2.

        index : Ppk of each stream (nan: none) ; side : 1 where the upper limit is the nearer one, -1 the lower, 0
        unknown.
        """
        ppk = np.where(np.isnan(np.asarray(index, dtype=np.float64)), PLAIN, np.asarray(index, dtype=np.float64))
        plain = ~(self.dependent | self.uneven)
        together = np.maximum(np.asarray(side, dtype=np.float64) * self.skew, 0.0) * np.abs(ppk) / (3 * self.n)
        v = self.wider * (self.mean_variance / (9 * self.short) + ppk**2 * self.sd_variance + together)
        linear = 18 * v - 2 - 9 * ppk**2  # 18 v u^2 + linear u = 9 ppk^2, u = n - 1
        with np.errstate(divide="ignore", invalid="ignore"):
            u = (-linear + np.sqrt(linear**2 + 4 * 18 * v * 9 * ppk**2)) / (36 * v)
        return np.where(self.n < 2, np.nan, np.where(plain, self.n, np.minimum(self.n, u + 1)))


def bounded(number: Floats, n: npt.ArrayLike) -> Flags:
    """Do so many independent ones of n readings carry bounds?"""
    return np.asarray((number >= LEAST) & (np.asarray(n) >= FEWEST))


def carried(
    values: npt.ArrayLike,
    starts: npt.ArrayLike,
    *,
    pool: npt.ArrayLike,
    lot: npt.ArrayLike,
    day: npt.ArrayLike,
    asked: npt.ArrayLike | None = None,
) -> Carried:
    """What the readings of many streams carry.

    Parameters
    ----------
    values : float, shape (n,)
        Stream after stream, oldest first, none missing.
    starts : int, shape (s,)
    pool : int from 0 on, shape (s,)
        Streams of one pool are tested together.
    lot, day : int, shape (n,)
        Which lot each reading's part came with (-1: not known) and on which day it was taken.
    asked : bool, shape (s,)
        Streams that the tests of their pool rest on (default: all); the others take the pool's answer.

    Raises
    ------
    UnusableData
        A missing reading; a pool, lot or day without a number for each.
    """
    x, begins = checked(values, starts)
    pools, lots, days = np.asarray(pool, dtype=np.int64), np.asarray(lot), np.asarray(day)
    if pools.shape != begins.shape or lots.shape != x.shape or days.shape != x.shape:
        raise UnusableData(
            f"{len(x)} readings of {len(begins)} streams; wanted a lot and a day each, a pool each stream"
        )
    used = np.ones(len(begins), dtype=bool) if asked is None else np.asarray(asked, dtype=bool)
    size = lengths(begins, len(x))
    found = {
        field.name: np.zeros(len(begins), dtype=bool if field.name in ("uneven", "heavy") else float)
        for field in fields(Carried)
    }
    for which in _together(pools, size):  # of no pool a number hangs on another
        at = spans(begins[which], begins[which] + size[which])
        own = np.cumsum(size[which]) - size[which]
        streams = _Streams(own, size[which], segment_ids(own, len(at)), pools[which], used[which])
        some = _of_pools(x[at], streams, *(code[at].astype(np.int64) for code in (lots, days)))
        for name, each in found.items():
            each[which] = getattr(some, name)
    return Carried(**found)


def _together(pools: Ints, size: Ints) -> Iterator[Ints]:
    """Streams of whole pools, some AT_ONCE readings together, as they stand."""
    of_pool = np.bincount(pools, size)
    batch = (np.cumsum(of_pool) // AT_ONCE)[pools]
    for one in np.unique(batch):
        yield np.flatnonzero(batch == one)


def _of_pools(x: Floats, streams: "_Streams", lots: Ints, days: Ints) -> Carried:
    of_lot, of_day = Batches.known(streams.which, lots), Batches.of(streams.which, days)
    both = of_lot.within(of_day)
    told = _Pooled(x, streams, of_lot, of_day)
    lag = told.neighbours()
    return _carried(streams, (of_lot, of_day, both), lag, told.between(lag, both), told.shape())


@dataclass(frozen=True)
class _Streams:
    """Where the streams stand and what they share."""

    begins: Ints  # (s,)
    size: Ints  # (s,)
    which: Ints  # (n,) stream of each reading
    pools: Ints  # (s,)
    used: Flags  # (s,) the tests of their pool rest on them


@dataclass(frozen=True)
class _Lag:
    phi: Floats  # (s,) lag-1 correlation beyond days
    days: Floats  # (s,) share of the within-lot variance between days


@dataclass(frozen=True)
class _Shape:
    """Tails and lean of each stream's pool, shape (s,); 0 where they are not minded."""

    heavy: Floats  # excess kurtosis; of few readings that lean at least what a gamma curve of that skewness has
    lean: Floats  # skewness
    sure: Flags  # either, at 1 %


class _Pooled:
    """Sums over the streams of each pool, on the scale of each stream's spread within lots."""

    def __init__(self, x: Floats, streams: _Streams, of_lot: Batches, of_day: Batches) -> None:
        begins, size, stream, pools, used = streams.begins, streams.size, streams.which, streams.pools, streams.used
        s = len(begins)
        self.stream, self.of_lot, self.of_day, self.pools, self.size = stream, of_lot, of_day, pools, size
        self.off = x - means(x, begins)[stream]
        middle = (np.bincount(of_lot.which, self.off) / of_lot.n)[of_lot.which]
        self.freedom = size - np.bincount(of_lot.stream, minlength=s)
        squares = np.bincount(stream, (self.off - middle) ** 2, s)
        whole = np.bincount(stream, self.off**2, s)
        # where nearly every reading has a lot of its own the stream's whole spread stands in for that within lots
        self.in_lots = self.freedom >= size / 4
        self.inside = np.where(self.in_lots[stream], self.off - middle, self.off)
        within = np.where(self.in_lots, squares / np.maximum(self.freedom, 1), whole / np.maximum(size - 1, 1))
        self.sure = used & (size >= 8) & (within > 1e-18 * np.maximum(np.bincount(stream, x**2, s), 1e-300))
        self.scale = np.sqrt(np.where(self.sure, within, 1.0))
        self.middle, self.groups = middle, int(pools.max(initial=0)) + 1

    def neighbours(self) -> _Lag:
        """Do neighbouring readings resemble each other within lots, and is it the day they share?"""
        same = (self.stream[1:] == self.stream[:-1]) & self.sure[self.stream[1:]]
        at = np.flatnonzero(same) + 1  # readings behind one of their own stream
        of, lot, day = self.stream[at], self.of_lot.which, self.of_day.which
        ahead, r = (self.inside[some] / self.scale[of] for some in (at - 1, at))
        loose = ~self.in_lots[of]  # lots not known: the stream's own mean was taken out
        shared = (lot[at] == lot[at - 1]) | loose
        size = np.where(loose, self.size[of], self.of_lot.n[lot[at]])
        # a lot's own mean was taken out of its readings: two of one lot differ by chance, by 1 / its size
        product = r * ahead + np.where(shared, 1 / size, 0.0)
        keep = np.where(shared, 1 - 3 / np.maximum(size, 4), 1.0)
        today = day[at] == day[at - 1]
        z_all, r_all, _ = self._pool(product, keep, of)
        z_over, r_over, n_over = self._pool(product[~today], keep[~today], of[~today])
        _, r_in, n_in = self._pool(product[today], keep[today], of[today])
        with np.errstate(divide="ignore", invalid="ignore"):
            apart = (r_in - r_over) / np.sqrt(1 / n_in + 1 / n_over)
        by_day = (z_all > NEAR) & (n_over >= 20) & (apart > NEAR)
        rest = np.where(
            by_day, np.where(z_over > NEAR, np.maximum(r_over, 0.0), 0.0), np.where(z_all > NEAR, r_all, 0.0)
        )
        rest = np.clip(rest, 0.0, 0.95)
        shared_day = np.clip(np.where(by_day, (r_in - rest) / np.maximum(1 - rest, 0.05), 0.0), 0.0, 0.95)
        own = np.bincount(of, product, len(self.size)) / np.maximum(np.bincount(of, keep, len(self.size)), 1e-300)
        weight = np.where(self.sure, self.size / (self.size + OWN_READINGS), 0.0)
        mixed = np.clip(weight * own + (1 - weight) * rest[self.pools], 0.0, 0.95)
        return _Lag(
            np.where((rest > 0)[self.pools] & ~by_day[self.pools], mixed, rest[self.pools]), shared_day[self.pools]
        )

    def _pool(self, product: Floats, keep: Floats, of: Ints) -> tuple[Floats, Floats, Ints]:
        """Of neighbours of some streams, by pool: how surely and how far they resemble each other, and how many."""
        group = self.pools[of]
        total, base = (np.bincount(group, each, self.groups) for each in (product, keep))
        many = np.bincount(group, minlength=self.groups)
        return total / np.sqrt(np.maximum(many, 1)), total / np.maximum(base, 1e-300), many

    def between(self, lag: _Lag, both: Pairs) -> tuple[Floats, Floats]:
        """Share of the variance between lots for each stream, 0 where the pool's lots do not differ; and (t / z)^2."""
        s = len(self.size)
        batch = self.of_lot
        mine = self.sure & (self.freedom > 0)
        mean = np.bincount(batch.which, self.middle / self.scale[self.stream]) / batch.n
        found = np.bincount(batch.stream, batch.n * mean**2, s)
        same_day = np.bincount(both.batch, both.n**2, len(batch.n)) / batch.n - 1
        chance = (1 - lag.days[batch.stream]) * _runs(batch.n, lag.phi[batch.stream]) + lag.days[batch.stream] * (
            1 + same_day
        )
        expected = np.bincount(batch.stream, chance * (1 - batch.n / self.size[batch.stream]), s)
        room = self.size - batch.squares(s) / self.size
        lots = np.bincount(batch.stream, minlength=s) - 1.0
        group = self.pools

        def pooled(each: npt.ArrayLike) -> Floats:
            return np.bincount(group, np.where(mine, each, 0.0), self.groups).astype(np.float64)

        k, free = pooled(lots), pooled(self.freedom.astype(np.float64))
        ratio = pooled(found) / np.maximum(pooled(expected), 1e-300)
        usable = (k > 0) & (free > 0)
        p = np.where(usable, special.fdtrc(np.maximum(k, 1), np.maximum(free, 1), np.where(usable, ratio, 0.0)), 1.0)
        whole = np.where(p < LEVEL, np.maximum(pooled(found - expected) / np.maximum(pooled(room), 1e-300), 0.0), 0.0)
        own = np.divide(found - expected, room, out=np.zeros(s), where=mine & (room > 0.5))
        weight = np.where(mine & (lots > 0), lots / (lots + OWN_LOTS), 0.0)
        whole = np.where(whole > 0, (k * whole + PRIOR_LOTS * USUAL) / (k + PRIOR_LOTS), 0.0)
        each = np.where(whole[group] > 0, np.maximum(weight * own + (1 - weight) * whole[group], 0.0), 0.0)
        wider = np.where(each > 0, (special.stdtrit(k + SURE_LOTS, 0.975) / special.ndtri(0.975))[group] ** 2, 1.0)
        return np.asarray(each / (1 + each), dtype=np.float64), np.asarray(wider, dtype=np.float64)

    def shape(self) -> _Shape:
        """How each pool's readings differ from a normal curve's."""
        s = len(self.size)
        n = self.size.astype(np.float64)
        square = np.bincount(self.stream, self.off**2, s)
        sd = np.sqrt(np.where(self.sure, square / np.maximum(n, 1), 1.0))
        z = self.off / sd[self.stream]
        squares = z * z
        third, fourth = (np.bincount(self.stream, squares * each, s) / n for each in (z, squares))
        with np.errstate(divide="ignore", invalid="ignore"):
            skew = np.where(n > 2, third * np.sqrt(n * (n - 1)) / (n - 2), 0.0)
            excess = np.where(
                n > 3, (n - 1) / ((n - 2) * (n - 3)) * ((n + 1) * (fourth - 3) + 6), 0.0
            )  # unbiased for normal readings
        weight = np.where(self.sure, n, 0.0)
        total = np.bincount(self.pools, weight, self.groups)
        heavy, lean = (
            np.bincount(self.pools, weight * each, self.groups) / np.maximum(total, 1) for each in (excess, skew)
        )
        of_tail, of_lean = (np.sqrt(each / np.maximum(total, 1)) for each in (24, 6))
        sure = (heavy > NEAR * of_tail) | (np.abs(lean) > NEAR * of_lean)
        minded = np.where(total < FEW, HINT, NEAR)
        lean = np.where(np.abs(lean) > minded * of_lean, lean, 0.0)
        heavy = np.where(heavy > minded * of_tail, heavy, 0.0)
        heavy = np.where(total < FEW, np.maximum(heavy, 1.5 * lean**2), heavy)
        return _Shape(heavy[self.pools], lean[self.pools], sure[self.pools])


def _runs(n: Floats, phi: Floats) -> Floats:
    """Variance of the mean of n neighbouring readings times n, in their variance."""
    return np.where(phi > 0, n / np.maximum(effective_size(n, phi), 1e-300), 1.0)


def _carried(
    streams: _Streams, batches: tuple[Batches, Batches, Pairs], lag: _Lag, between: tuple[Floats, Floats], shape: _Shape
) -> Carried:
    """From the shares of the variance to what the readings carry; batches : lots, days and both."""
    of_lot, of_day, both = batches
    n, s = streams.size.astype(np.float64), len(streams.size)
    a, wider = between
    d = (1 - a) * lag.days
    e, phi = 1 - a - d, lag.phi
    run = _runs(n, phi)
    lot_squares, day_squares = of_lot.squares(s), of_day.squares(s)
    mean_variance = (a * lot_squares + d * day_squares) / n**2 + e * run / n
    short = np.where(n >= 2, np.clip((1 - mean_variance) * n / np.maximum(n - 1, 1), 0.02, 1.0), 1.0)
    each = (
        a[of_lot.stream][of_lot.which] * of_lot.n[of_lot.which]
        + d[of_day.stream][of_day.which] * of_day.n[of_day.which]
        + (e * run)[of_lot.stream][of_lot.which]
    )
    rows = np.add.reduceat(each**2, streams.begins)
    shared = np.bincount(of_lot.stream[both.batch], both.n**2, s)
    squared = (1 + phi**2) / (1 - phi**2)  # sum of the squared correlations with the neighbours, both ways
    plain = (1 + phi) / (1 - phi)
    trace = (
        a**2 * lot_squares + d**2 * day_squares + e**2 * n * squared + 2 * a * d * shared + 2 * (a + d) * e * n * plain
    )
    spread = np.maximum(trace - 2 * rows / n + (n * mean_variance) ** 2, 1e-300)
    freedom = np.where(n >= 2, np.maximum(n - 1, 1) ** 2 * short**2 / spread, np.nan)
    sd_variance = 1 / (2 * freedom) + shape.heavy / (4 * n) + (1 - np.sqrt(short)) ** 2
    uneven = np.asarray((shape.heavy > 0) | (shape.lean != 0))
    return Carried(n, mean_variance, sd_variance, short, shape.lean, a, d, phi, wider, uneven, shape.sure)
