"""Which of many candidates explains why readings moved: the fewest that account for all of it, and how sure that is.

Readings are deviations in sigma. Streams, days and lots, and the standing offsets of people, gauges and all other
levels are random effects, whose variances come from the readings before anything could have begun: a candidate counts
only against the spread between the days, lots or people it is confounded with. A hypothesis is a column: the readings
of one level (one tech, one lot ...) of some or all streams from a day on, a dated change, the air times a slope, or
nothing but the streams themselves ("unexplained"). Its size has a normal prior of one sigma, its day is any working
day alike, its level any level of its factor alike, so that looking at many costs what it should: the marginal
likelihood of each against "nothing moved" is a closed form, and with prior weights they add up to probabilities. The
likeliest is taken, its effect goes into the model, and the rest is looked at again while anything is left to explain.

Source: Laird & Ware 1982, Biometrics 38 (random effects); Searle, Casella & McCulloch 1992, Variance Components,
chapter 3 (moments); Kass & Raftery 1995, J. American Statistical Association 90 (Bayes factors; the unit information
prior is Kass & Wasserman 1995). Formulas from memory, held by tests against dense algebra and statsmodels' mixed
model.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.ndimage import median_filter
from scipy.special import logsumexp

from analysis.methods.candidates import Candidate, Column, Factor, Readings
from analysis.methods.creep import Moved
from analysis.methods.hypotheses import Sieve
from analysis.methods.own_spreads import wide_of
from analysis.methods.problems import UnusableData
from analysis.methods.random_effects import Block, RandomEffects, old_levels
from analysis.methods.scopes import SIZE_PRIOR
from analysis.methods.segments import Flags, Floats, Ints
from analysis.methods.starts import products_since

FAR = 5.0  # sigma: a reading further than this from its neighbours' median counts as this far
NEIGHBOURS = 15  # of a stream, whose median that is
UNEXPLAINED = ""
SHARE_UNEXPLAINED = 0.25  # prior weight, among shifts, of those that no candidate explains
SHARE_NOTHING = 1 / 3  # prior weight of "nothing moved", which a chart that opened may well mean
STREAM_VARIANCE = 1.0  # a stream's own mean: its readings tell it
RESTLESS = 0.1  # prior weight of days that differ more since than they did before, where neighbouring days say so
ENDED = 0.99  # probability from which on a shift is taken to have ended
AS_LIKELY = np.e  # times less likely than the likeliest start, and still about as likely
SHOWN = 2.0  # standard errors by which they must, or it is not looked at


@dataclass(frozen=True)
class Hypothesis:
    """One explanation of a shift."""

    factor: str  # '' : unexplained
    level: int  # number of the level, or of the column; -1: neither
    kin: str  # what it is a hypothesis of: those of one kin differ in streams, day or lag only
    streams: Ints  # streams it touches, rising
    probability: float
    effect: float  # sigma (of a column: for one unit of its value)
    error: float  # its standard error, with that of the day
    start: int  # the likeliest day
    start_low: int  # 95 %
    start_high: int
    touched: int  # readings since the start
    end: int = -1  # the first day without it; -1: it lasts


@dataclass(frozen=True)
class Look:
    """What one look found: hypotheses by falling probability, and that of nothing having moved."""

    hypotheses: list[Hypothesis]
    nothing: float
    nothing_of_all: float | None = None  # where hypotheses of another look stand beside: that nothing moved, in that


@dataclass
class Explainer:
    """Readings of one characteristic with everything they may move with.

    values : (n,) deviations in sigma, one an instrument, in time order. day : (n,) number of the working day. stream :
    (n,) codes from 0. since : the first day on which anything may have begun. span : days on any of which it might
    have, as the price of a start; at least those looked at. calm : variances come from the readings before this day or
    `since`, the later of the two: a start long ago leaves too few, and what moved then is little among so many. away :
    (n,) readings known to have lain off for a while, which say nothing of variances where others are left.

    Raises UnusableData where a value is missing, or nothing lies before or since that day.
    """

    values: Floats
    day: Ints
    stream: Ints
    factors: Sequence[Factor]
    columns: Sequence[Column]
    since: int
    span: int = 0
    calm: int = 0
    away: Flags | None = None
    taken: list[Floats] = field(default_factory=list)  # columns of explanations taken before, times their effect
    _sieve: Sieve | None = None
    _known: list[tuple[Floats, Floats]] = field(default_factory=list)  # columns, and their sums by effect

    def __post_init__(self) -> None:
        if len(self.values) == 0 or not np.isfinite(self.values).all():
            raise UnusableData("readings to explain are missing; wanted at least one, each a number")
        before = self.day < self.since
        if not before.any() or before.all():
            raise UnusableData("nothing lies before, or nothing since, the day on which something may have begun")
        self.values = _near(self.values, self.stream)
        self.streams, self.days = int(self.stream.max()) + 1, int(self.day.max()) + 1
        settled = self.day < max(self.since, self.calm)
        if self.away is not None and (before & ~self.away).any():
            settled &= ~self.away
        self.effects = RandomEffects.of(self._blocks(), self.values, settled, before)
        self.sums = self.effects.sums(self.values)
        self._expect(before)
        own = [one.code for one in self.factors if one.own_spread]
        self.wide = wide_of(own, self.values - self.expected, settled)

    def _blocks(self) -> list[Block]:
        """Streams, days, and all levels of factors, nested ones within each stream too."""
        found = [Block(self.stream, STREAM_VARIANCE), Block(self.day, days=True)]
        for factor in self.factors:
            if factor.once:
                continue
            old = None if factor.own_start else old_levels(factor.code, self.day, self.since)
            found.append(Block(factor.code, told_by=old))
            if factor.nested:
                levels = int(factor.code.max(initial=0)) + 1
                found.append(Block(np.where(factor.code >= 0, self.stream * levels + factor.code, -1), told_by=old))
        return found

    def _expect(self, before: Flags) -> None:
        """What each reading would be if nothing had moved, from the readings before."""
        effects = self.effects
        factor = cho_factor(effects.before + np.diag(effects.precision))
        solved = cho_solve(factor, effects.sums(self.values * before))
        self.expected = effects.fitted(np.where(effects.day < 0, solved, 0.0))

    @property
    def rest(self) -> Floats:
        """Readings less what was expected of them and less what is explained by now (n,)."""
        return np.asarray(self.values - self.expected - sum(self.taken, np.zeros(len(self.values))))

    def standing_out(self, touched: Flags, since: int) -> float:
        """How far readings of some since a day lie out, in standard errors, less what is explained by now."""
        some = touched & (self.day >= since)
        n = int(some.sum())
        wide = n if self.wide is None else max(float(self.wide[some].sum()), n)
        return float(self.rest[some].sum() / np.sqrt(wide + 0.01 * n * n)) if n else 0.0

    def look(self) -> Look:
        """All hypotheses that are worth an exact look, against each other and against nothing having moved."""
        if self._sieve is None:
            self._sieve = self._made()
        return self._weighed(self._sieve.sift(self.rest))

    def _made(self) -> Sieve:
        """All candidates with their prior weights."""
        total = sum(f.weight for f in self.factors) + sum(c.weight for c in self.columns) or 1.0
        moved = float(np.log(1 - SHARE_NOTHING))
        one_of = moved + float(np.log((1 - SHARE_UNEXPLAINED) / total))
        nothing = Factor(UNEXPLAINED, np.zeros(len(self.values), dtype=np.int64))
        factors = [(one, one_of + float(np.log(one.weight))) for one in self.factors]
        columns = [(one, one_of + float(np.log(one.weight))) for one in self.columns]
        return Sieve(self._seen(), [(nothing, moved + float(np.log(SHARE_UNEXPLAINED))), *factors], columns)

    def measured(self, base: Floats, first: int, last: int) -> tuple[Hypothesis, Look]:
        """Start and size of a shift of these very readings, begun between two days, whatever moved them; and the look.

        base : (n,) 1 for a reading that it touches, or the number by which it moves.
        """
        first = min(max(first, 0), self.days - 1)  # a day behind the last reading is that of the last
        days = np.arange(first, min(max(last, first), self.days - 1) + 1)
        price = np.full(len(days), np.log((1 - SHARE_NOTHING) / max(len(days), self.span)))
        streams = np.unique(self.stream[base != 0])
        found = self._weighed([Candidate(UNEXPLAINED, -1, "", streams, base, days, price, 0.0)])
        return found.hypotheses[0], found

    def take(self, one: Hypothesis) -> None:
        """Its effect goes into the model: the next look asks what is left."""
        self.taken.append(self.column(one) * one.effect)

    def moved(self, weeks: Floats, beside: Sequence[Floats]) -> Moved:
        """The readings as `creep` asks of them; weeks : (days,) when each working day is. beside : what else moved."""
        return Moved(self.values, self.day, weeks, self.effects, self.since, beside, self._unrest()[-1][0])

    def column(self, one: Hypothesis) -> Floats:
        """The readings that a hypothesis touches, from its likeliest start to its end, as it counts them (n,)."""
        column = self._base(one) * (self.day >= one.start)
        return np.asarray(column * (self.day < one.end) if one.end >= 0 else column)

    def _base(self, one: Hypothesis) -> Floats:
        base = next((c.value for c in self.columns if c.name == one.factor), None)
        if base is None:
            code = next((f.code for f in self.factors if f.name == one.factor), None)
            base = (code == one.level).astype(np.float64) if code is not None else np.ones(len(self.values))
        return np.asarray(base * self._seen().on(one.streams))

    def ended(self, one: Hypothesis) -> Hypothesis:
        """The same, with the day from which on its readings are back, and its size until then, where they say so. A lot
        ends with its last reading, and the air comes and goes.
        """
        factor = next((f for f in self.factors if f.name == one.factor), None)
        column = self.column(one)
        ends = np.unique(self.day[column != 0])[1:]
        of_air = any(each.name == one.factor for each in self.columns)
        if one.end >= 0 or of_air or (factor is not None and factor.own_start) or len(ends) == 0:
            return one
        days = np.array([one.start])
        found = [Candidate(one.factor, -1, one.kin, one.streams, column, days, np.zeros(1), 0.0)]
        for end in ends:
            held, price = column * (self.day < end), np.full(1, -np.log(len(ends)))
            found.append(Candidate(one.factor, int(end), one.kin, one.streams, held, days, price, 0.0))
        told = self._weighed(found).hypotheses
        lasts = sum(each.probability for each in told if each.level < 0)
        best = next(each for each in told if each.level >= 0)
        if lasts > (1 - ENDED) * sum(each.probability for each in told):
            return one
        return replace(one, end=best.level, effect=best.effect, error=best.error, touched=best.touched)

    def _seen(self) -> Readings:
        span = max(self.span, self.days - self.since)
        return Readings(self.day, self.stream, self.streams, self.days, self.since, span)

    def _weighed(self, found: list[Candidate]) -> Look:
        """The marginal likelihood of each hypothesis at each of its starts, and the probabilities that follow; where
        days seem to differ more than before, with such days and without.
        """
        if not found:
            return Look([], 1.0)
        most = [max(float(np.abs(column).max()), 1e-9) for column in self.taken]
        extra = np.array([column / by for column, by in zip(self.taken, most, strict=True)]).reshape(
            len(most), len(self.values)
        )
        known = np.array([self.values, *extra])
        w, square, (with_values, *with_extra) = products_since(found, self.effects, self.day, known, self.wide)
        wide = 1.0 if self.wide is None else np.maximum(with_extra.pop() / np.maximum(square, 1e-9), 1.0)
        sums = np.stack(
            [self.sums, *(self._sums_of(one) / by for one, by in zip(self.taken, most, strict=True))], axis=1
        )
        inner = known @ known.T
        log_prior = np.concatenate([one.log_prior for one in found])
        keep = 1 / SIZE_PRIOR
        nothing, posterior, mean, variance = [], [], [], []
        ways = self._unrest()
        for unrest, weight in ways:
            root, base = self.effects.root(unrest, self.since)
            whitened = solve_triangular(root, sums, lower=True, check_finite=False)
            rest = inner - whitened.T @ whitened
            base += 0.5 * (float(inner[0, 0]) - float(rest[0, 0])) + float(np.log(weight))
            each = solve_triangular(root, w.T, lower=True, overwrite_b=len(ways) == 1, check_finite=False)
            info = square - np.einsum("ji,ji->j", each.T, each.T)
            cross = np.reshape(with_extra, (len(extra), len(info))) - whitened[:, 1:].T @ each
            push = with_values - whitened[:, 0] @ each
            if len(extra):
                taken = cho_factor(rest[1:, 1:] + keep * np.eye(len(extra)))
                solved = cho_solve(taken, rest[1:, 0])
                base += 0.5 * float(rest[1:, 0] @ solved) - float(np.log(np.diag(taken[0])).sum())
                push = push - solved @ cross
                info = info - np.einsum("ij,ij->j", cross, cho_solve(taken, cross))
            info, push = np.maximum(info, 0.0) / wide, push / wide
            nothing.append(base + np.log(SHARE_NOTHING))
            posterior.append(base + log_prior + 0.5 * push**2 / (info + keep) - 0.5 * np.log1p(info * SIZE_PRIOR))
            mean.append(push / (info + keep))
            variance.append(1 / (info + keep))
        odds = (np.array(posterior), np.array(mean), np.array(variance))
        total = float(logsumexp(np.append(nothing, odds[0])))
        told = _told(found, odds, total, self.day)
        told.sort(key=lambda one: -one.probability)
        return Look(told, float(np.exp(logsumexp(nothing) - total)))

    def _sums_of(self, column: Floats) -> Floats:
        """Its sums by effect (p,), which one look after another asks for."""
        told = next((sums for one, sums in self._known if one is column), None)
        if told is None:
            told = self.effects.sums(column)
            self._known.append((column, told))
        return told

    def _unrest(self) -> list[tuple[float, float]]:
        """By how much the variance between days may be larger since than before, with the prior weight of each:
        neighbouring days say so, which a shift that stays does not touch.
        """
        some = self.day >= self.since
        n = np.bincount(self.day[some] - self.since)
        mean = np.bincount(self.day[some] - self.since, self.rest[some]) / np.maximum(n, 1)
        n, mean = n[n > 0], mean[n > 0]
        apart, chance = np.diff(mean) ** 2, 1 / n[1:] + 1 / n[:-1] + 2 * self.effects.between_days
        if len(apart) < 2 or float((apart / chance).mean()) < 1 + SHOWN * np.sqrt(3 / len(apart)):
            return [(0.0, 1.0)]
        return [(0.0, 1 - RESTLESS), (float((apart - chance).mean()) / 2, RESTLESS)]


def _near(values: Floats, stream: Ints) -> Floats:
    """Readings in time order, none further than FAR from the median of its neighbours in the stream."""
    order = np.argsort(stream, kind="stable")
    middle = np.empty(len(values))
    middle[order] = median_filter(values[order], size=NEIGHBOURS, mode="nearest")
    return np.asarray(middle + np.clip(values - middle, -FAR, FAR))


def _told(found: list[Candidate], odds: tuple[Floats, Floats, Floats], total: float, day: Ints) -> list[Hypothesis]:
    """Of each candidate what its starts say together.

    odds : posterior, mean and variance (ways of days to differ, starts of all).
    """
    many = np.array([len(one.days) for one in found])
    firsts = np.cumsum(many) - many
    posterior, mean, variance = odds

    def summed(part: Floats) -> Floats:
        return np.asarray(np.add.reduceat(part.sum(axis=0), firsts))

    top = np.maximum.reduceat(posterior.max(axis=0), firsts)
    weight = np.exp(posterior - np.repeat(top, many))
    sums = summed(weight)
    chance = np.exp(top - total) * sums
    weight /= np.repeat(sums, many)
    effect = summed(weight * mean)
    error = np.sqrt(summed(weight * (variance + (mean - np.repeat(effect, many)) ** 2)))
    told = []
    for k, (one, held) in enumerate(zip(found, np.split(weight.sum(axis=0), firsts[1:]), strict=True)):
        order = np.argsort(-held, kind="stable")
        inside = one.days[order[: int(np.searchsorted(np.cumsum(held[order]), 0.95) + 1)]]
        likeliest = one.days[held * AS_LIKELY >= held.max()] if one.late else one.days[order[:1]]
        start = int(likeliest.max())
        touched = int(np.count_nonzero(one.base[np.searchsorted(day, start) :]))
        told.append(
            Hypothesis(one.factor, one.level, one.kin, one.streams, float(chance[k]), float(effect[k]), float(error[k]),
                       start, int(inside.min()), int(inside.max()), touched, one.end)
        )  # fmt: skip
    return told


def together(look: Look, *, sure: float, most: int = 4) -> list[Hypothesis]:
    """The fewest candidates of which one is right with probability `sure` or more, hypotheses of one kin counting as
    one; none where that takes more than `most` of them, or the unexplained.
    """
    named: dict[str, Hypothesis] = {}
    for one in look.hypotheses:
        held = named.get(one.kin)
        named[one.kin] = one if held is None else replace(held, probability=held.probability + one.probability)
    chosen: list[Hypothesis] = []
    for one in sorted(named.values(), key=lambda one: -one.probability)[:most]:
        if one.factor == UNEXPLAINED:
            return []
        chosen.append(one)
        if sum(c.probability for c in chosen) >= sure:
            return chosen
    return []
