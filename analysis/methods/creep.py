"""Does what moved go on moving, little by little, as what wears or dries does? And where does it stand by now?

Shapes of a shift are held against one another, over the readings that it touches: one step; two steps; an even slope
from where they lay, or from a step, up to now or until it came to rest. Streams, days, lots and people are random
effects, so that a slope counts only against the spread between the days, lots and people that it may be made of. Any
day is as likely as another to be that of a start or of rest, which is the price of looking for it. A slope is told
where one is twenty times likelier than steps; where it stands by now is an average over all slopes, each by how likely
it is, and since when it creeps their middle. Where it is known what the readings follow, as the air, its own days say
too when a slope began and ended. Rest is told where it is twenty times likelier than that it goes on.

Source: generalized least squares with random effects: Laird & Ware 1982, Biometrics 38; averages over shapes: Hoeting,
Madigan, Raftery & Volinsky 1999, Statistical Science 14 (from memory). Held by tests against dense algebra.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from analysis.methods.random_effects import RandomEffects
from analysis.methods.segments import Flags, Floats, Ints

LIKELIER = float(np.log(20))  # by so much (log) a slope must be likelier than one step, or two
SECOND = 2.0  # log: the price of a second size
LEAST_DAYS = 10  # with readings
MOST_DAYS = 40  # on which a slope may begin or come to rest, that are looked at
CERTAIN = 0.05  # as likely at most it goes on still, where it is said to have come to rest
MIDDLE, TAIL = 0.5, 0.025  # of the days of its start, or rest, each by how likely it is
MOST_ALIKE = 0.9  # that days of what drives them may resemble the next
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
    start: int  # the working day of its start: the middle of those likely, and the first and last, 95 %
    start_low: int
    start_high: int
    rests: int  # the working day on which it came to rest, the middle one too; -1: it goes on, or may
    days: Ints  # (d,) working days with readings of it
    path: Floats  # (d,) what it comes to on each


def creep(of: Moved, touched: Flags, driver: Floats | None = None) -> Creep | None:
    """How a shift of some readings (n,) moves on; None where one step, or two, tell of them as well, or they are too
    few to say. driver : (n,) what they follow, in any unit, nan: not known; then it says too when they began to move,
    and came to rest.
    """
    days = np.unique(of.day[touched & (of.day >= of.since)])
    if len(days) < LEAST_DAYS:
        return None
    inner, push = of.by_day(touched, days)
    slopes = _Slopes.of(of.weeks[days])
    told = slopes.weighed(inner, push)
    if told.best - _stepped(inner, push) < LIKELIER:
        return None
    likely = told.score
    if driver is not None:
        likely = likely + slopes.followed(*_means(of.day, driver, touched, days))
    chance = np.exp(likely - likely.max())
    chance /= chance.sum()
    on = slopes.end == len(days) - 1
    goes_on = float(chance[on].sum())
    rests = goes_on < CERTAIN
    some = on if goes_on >= 0.5 else ~on if rests else on | True  # in between nobody can say: each as likely as it is
    weight = np.where(some, chance, 0.0)
    weight /= weight.sum()
    now, now_error = _averaged(weight, told.now, told.now_variance)
    a_week, a_week_error = (0.0, 0.0) if rests else _averaged(weight, told.a_week * on, told.a_week_variance * on)
    by_start, by_end = (np.bincount(each, weight, minlength=len(days)) for each in (slopes.start, slopes.end))
    start, low, high = (int(days[_where(by_start, share)]) for share in (MIDDLE, TAIL, 1 - TAIL))
    return Creep(
        now, now_error, a_week, a_week_error, start, low, high,
        int(days[_where(by_end, MIDDLE)]) if rests else -1,
        days, weight @ told.path(slopes),
    )  # fmt: skip


def _where(weight: npt.NDArray[Any], share: float) -> int:
    """The first place at which a share of all weight is reached."""
    return int(np.searchsorted(np.cumsum(weight), share * weight.sum()))


def _means(day: Ints, driver: Floats, touched: Flags, days: Ints) -> tuple[Flags, Floats]:
    """On which of some days (d,) what drives the readings is known, and its mean there."""
    mine = touched & np.isin(day, days) & ~np.isnan(driver)
    at = np.searchsorted(days, day[mine])
    n = np.bincount(at, minlength=len(days))
    return n > 0, np.asarray(np.bincount(at, driver[mine], minlength=len(days)) / np.maximum(n, 1))


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

    def followed(self, known: Flags, mean: Floats) -> Floats:
        """(s,) log likelihood of what drives the readings, of its means on the days known: its level before, how far it
        moved, and how far its days differ and resemble the next from what is left of the likeliest.
        """
        some, d = np.flatnonzero(known), int(known.sum())
        if d < LEAST_DAYS:
            return np.zeros(len(self.start))
        off = mean[some] - mean[some].mean()
        columns = np.stack([self.step[:, some], self.slope[:, some]], axis=1)
        columns -= columns.mean(axis=2, keepdims=True)
        columns[: len(columns) // 2, 0] = 0.0  # without a step
        square = columns @ columns.transpose(0, 2, 1)
        square += RIDGE * (1 + np.trace(square, axis1=1, axis2=2))[:, None, None] * np.eye(2)
        push = columns @ off
        size = np.linalg.solve(square, push[:, :, None])[:, :, 0]
        fit = np.einsum("ij,ij->i", size, push)
        left = off - size[fit.argmax()] @ columns[fit.argmax()]
        apart = max(float(left @ left), RIDGE * float(off @ off))
        if apart == 0:
            return np.zeros(len(self.start))
        alike = float(np.clip(left[1:] @ left[:-1] / apart, 0.0, MOST_ALIKE))
        return np.asarray(fit * (d - 4) / (2 * apart) * (1 - alike) / (1 + alike))

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
            score=score,
            jump=np.concatenate([none, size_a]),
            a_week=np.concatenate([lone, size_b]),
            a_week_variance=np.concatenate([1 / bb, both[0]]),
            now=np.concatenate([lone * last, size_a + size_b * last]),
            now_variance=np.concatenate([last**2 / bb, both[2] + 2 * last * both[1] + last**2 * both[0]]),
        )


@dataclass(frozen=True, eq=False)
class _Weighed:
    best: float  # log likelihood of the likeliest over nothing, its price paid
    score: Floats  # (s,) that of each
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
