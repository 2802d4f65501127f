"""Does what moved go on moving, little by little, as what wears or dries does? And where does it stand by now?

Shapes of a shift are held against one another, over the readings that it touches: one step; two steps; an even slope
from where they lay, or from a step, up to now or until it came to rest. Streams, days, lots and people are random
effects, so that a slope counts only against the spread between the days, lots and people that it may be made of. Any
day is as likely as another to be that of a start or of rest, which is the price of looking for it. A slope is told
where one is twenty times likelier than steps; where it stands by now, and since when it creeps, are averages over all
slopes, each by how likely it is.

Source: generalized least squares with random effects: Laird & Ware 1982, Biometrics 38; averages over shapes: Hoeting,
Madigan, Raftery & Volinsky 1999, Statistical Science 14 (from memory). Held by tests against dense algebra.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from analysis.methods.random_effects import RandomEffects
from analysis.methods.segments import Flags, Floats, Ints

LIKELIER = float(np.log(20))  # by so much (log) a slope must be likelier than one step, or two
SECOND = 2.0  # log: the price of a second size
LEAST_DAYS = 10  # with readings
MOST_DAYS = 40  # on which a slope may begin or come to rest, that are looked at
NEAR = 1.92  # log: days nearly as likely as the likeliest, 95 %
RIDGE = 1e-9  # of a column: what says nothing has no size


@dataclass(frozen=True, eq=False)
class Moved:
    """Readings with all that they may differ by anyhow.

    values : (n,) deviations in sigma, in time order. day : (n,) number of the working day. weeks : (days,) when each
    working day is, in weeks. effects : random effects of the readings. since : the first day on which anything may have
    begun. beside : (n,) each, what else moved them, whose sizes are found with it. unrest : by how much the variance
    between days is larger since then than before.
    """

    values: Floats
    day: Ints
    weeks: Floats
    effects: RandomEffects
    since: int
    beside: Sequence[Floats] = ()
    unrest: float = 0.0

    def by_day(self, touched: Flags, days: Ints) -> tuple[Floats, Floats]:
        """Of the readings touched on each of some days (d,), what else moved known: their products with one another
        (d, d) and with the values (d,), over the inverse of the readings' variance.
        """
        root, _ = self.effects.root(self.unrest, self.since)
        at, p = np.searchsorted(days, self.day), len(self.effects.precision)
        mine = touched & np.isin(self.day, days)
        met = np.zeros((p + 1) * len(days))
        for place in self.effects.place:
            met += np.bincount(place[mine] * len(days) + at[mine], minlength=len(met))
        most = [max(float(np.abs(one).max()), 1e-9) for one in self.beside]
        known = np.array([self.values, *(one / by for one, by in zip(self.beside, most, strict=True))])
        sums = [self.effects.sums(one) for one in known]
        right = np.concatenate([np.array(sums).T, met.reshape(p + 1, -1)[:-1]], axis=1)
        white = solve_triangular(root, right, lower=True, check_finite=False)
        inner, k = -(white.T @ white), len(known)
        inner[:k, :k] += known @ known.T
        each = np.array([np.bincount(at[mine], one[mine], minlength=len(days)) for one in known])
        inner[:k, k:] += each
        inner[k:, :k] += each.T
        inner[k:, k:] += np.diag(np.bincount(at[mine], minlength=len(days)))
        if k > 1:
            held = inner[1:k, 1:k] + RIDGE * np.diag(np.diag(inner)[1:k].clip(RIDGE))
            inner = inner - inner[:, 1:k] @ cho_solve(cho_factor(held), inner[1:k])
        return inner[k:, k:], inner[0, k:]


@dataclass(frozen=True)
class Creep:
    """A shift that moves on, or moved on until it came to rest."""

    now: float  # where its readings stand on the last day, in the unit of the values
    now_error: float
    a_week: float  # how much further each week; 0 once it rests
    a_week_error: float
    start: int  # the likeliest working day of its start, and the first and last likely ones
    start_low: int
    start_high: int
    rests: int  # the working day on which it came to rest; -1: it goes on
    days: Ints  # (d,) working days with readings of it
    path: Floats  # (d,) what it comes to on each


def creep(of: Moved, touched: Flags) -> Creep | None:
    """How a shift of some readings (n,) moves on; None where one step, or two, tell of them as well, or they are too
    few to say.
    """
    days = np.unique(of.day[touched & (of.day >= of.since)])
    if len(days) < LEAST_DAYS:
        return None
    inner, push = of.by_day(touched, days)
    slopes = _Slopes.of(of.weeks[days])
    told = slopes.weighed(inner, push)
    if told.best - _stepped(inner, push) < LIKELIER:
        return None
    goes_on = bool(told.weight[slopes.end == len(days) - 1].sum() >= 0.5)
    some = (slopes.end == len(days) - 1) == goes_on
    weight = np.where(some, told.weight, 0.0)
    weight /= weight.sum()
    now, now_error = _averaged(weight, told.now, told.now_variance)
    a_week, a_week_error = _averaged(weight, told.a_week, told.a_week_variance) if goes_on else (0.0, 0.0)
    by_start = np.bincount(slopes.start, weight, minlength=len(days))
    likely = np.flatnonzero(by_start >= by_start.max() * np.exp(-NEAR))
    by_end = np.bincount(slopes.end, weight, minlength=len(days))
    return Creep(
        now, now_error, a_week, a_week_error,
        int(days[by_start.argmax()]), int(days[likely[0]]), int(days[likely[-1]]),
        -1 if goes_on else int(days[by_end.argmax()]),
        days, weight @ told.path(slopes),
    )  # fmt: skip


def _averaged(weight: Floats, mean: Floats, variance: Floats) -> tuple[float, float]:
    middle = float(weight @ mean)
    return middle, float(np.sqrt(weight @ (variance + (mean - middle) ** 2)))


@dataclass(frozen=True, eq=False)
class _Slopes:
    """Even slopes from one day to another, in order; each with a step on its first day and without."""

    start: Ints  # (s,) places of days
    end: Ints
    step: Floats  # (s, d)
    slope: Floats  # (s, d) weeks since its start

    @classmethod
    def of(cls, weeks: Floats) -> "_Slopes":
        d = len(weeks)
        places = np.unique(np.linspace(0, d - 1, min(d, MOST_DAYS)).astype(int))
        start, end = (each.ravel() for each in np.meshgrid(places, places, indexing="ij"))
        long = end - start >= min(LEAST_DAYS, d // 2)
        start, end = start[long], end[long]
        before = np.maximum(start - 1, 0)[:, None]  # where it still lay as usual, on the day before
        first = np.where(start[:, None] > 0, weeks[before], weeks[0])
        step = (np.arange(d) >= start[:, None]).astype(np.float64)
        slope = step * (np.minimum(weeks, weeks[end][:, None]) - first)
        return cls(np.tile(start, 2), np.tile(end, 2), np.tile(step, (2, 1)), np.tile(slope, (2, 1)))

    def weighed(self, inner: Floats, push: Floats) -> "_Weighed":
        """Without a step each is one size, with it two."""
        n, d = len(self.start) // 2, len(push)
        step, slope = self.step[:n], self.slope[:n]
        with_step, with_slope = step @ inner, slope @ inner
        aa = np.einsum("ij,ij->i", with_step, step)
        ab = np.einsum("ij,ij->i", with_step, slope)
        bb = np.einsum("ij,ij->i", with_slope, slope).clip(RIDGE)
        a, b = step @ push, slope @ push
        det = (aa * bb - ab**2).clip(RIDGE * aa * bb + RIDGE)
        size_b = (aa * b - ab * a) / det
        size_a = (bb * a - ab * b) / det
        one, two = b**2 / (2 * bb), (a * size_a + b * size_b) / 2
        rests = self.end[:n] < d - 1
        price = np.log(d) * (1 + rests)  # of the day of its start, and of that of rest
        score = np.concatenate([one - price, two - price - SECOND])
        last = slope[:, -1]
        none, lone = np.zeros(n), b / bb
        both = aa / det, -ab / det, bb / det  # variances of slope, of both, of step
        return _Weighed(
            best=float(score.max()),
            weight=np.exp(score - score.max()) / np.exp(score - score.max()).sum(),
            jump=np.concatenate([none, size_a]),
            a_week=np.concatenate([lone, size_b]),
            a_week_variance=np.concatenate([1 / bb, both[0]]),
            now=np.concatenate([lone * last, size_a + size_b * last]),
            now_variance=np.concatenate([last**2 / bb, both[2] + 2 * last * both[1] + last**2 * both[0]]),
        )


@dataclass(frozen=True, eq=False)
class _Weighed:
    best: float  # log likelihood of the likeliest over nothing, its price paid
    weight: Floats  # (s,) how likely each is among them
    jump: Floats
    a_week: Floats
    a_week_variance: Floats
    now: Floats
    now_variance: Floats

    def path(self, slopes: _Slopes) -> Floats:
        """(s, d)"""
        return np.asarray(self.jump[:, None] * slopes.step + self.a_week[:, None] * slopes.slope)


def _stepped(inner: Floats, push: Floats) -> float:
    """Of one step and of two the likelier, its price paid: the log likelihood over nothing."""
    d = len(push)
    sums = np.cumsum(np.cumsum(inner[::-1, ::-1], axis=0), axis=1)[::-1, ::-1]  # of steps on any two days
    since = np.cumsum(push[::-1])[::-1]
    own = np.diag(sums).clip(RIDGE)
    one = since**2 / (2 * own)
    i, j = np.triu_indices(d, 1)
    det = own[i] * own[j] - sums[i, j] ** 2
    two = (own[j] * since[i] ** 2 - 2 * sums[i, j] * since[i] * since[j] + own[i] * since[j] ** 2) / (
        2 * det.clip(RIDGE * own[i] * own[j] + RIDGE)
    )
    return max(float(one.max() - np.log(d)), float(two.max(initial=0.0) - 2 * np.log(d) - SECOND))
