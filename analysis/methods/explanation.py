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
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve
from scipy.ndimage import median_filter
from scipy.special import logsumexp

from analysis.methods.hypotheses import SIZE_PRIOR, Candidate, Column, Factor, Readings, of_column, of_factor
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Floats, Ints

FAR = 5.0  # sigma: a reading further than this from its neighbours' median counts as this far
NEIGHBOURS = 15  # of a stream, whose median that is
KEPT = 16  # hypotheses that are looked at exactly
EACH = 1  # of them at least so many of each factor
UNEXPLAINED = ""
SHARE_UNEXPLAINED = 0.25  # prior weight, among shifts, of those that no candidate explains
SHARE_NOTHING = 0.8  # prior weight of "nothing moved", which a chart that opened may well mean
STREAM_VARIANCE = 1.0  # a stream's own mean: its readings tell it
FLOOR = 1e-4  # of a variance between levels, in sigma squared
FEW_LEVELS = 0.05  # the variance between levels where there is only one before


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


@dataclass(frozen=True)
class Look:
    """What one look found: hypotheses by falling probability, and that of nothing having moved."""

    hypotheses: list[Hypothesis]
    nothing: float


@dataclass
class Explainer:
    """Readings of one characteristic with everything they may move with.

    values : (n,) deviations in sigma, one an instrument, in time order. day : (n,) number of the working day. stream :
    (n,) codes from 0. since : the first day on which anything may have begun. span : days on any of which it might
    have, as the price of a start; at least those looked at.

    Raises UnusableData where a value is missing, or nothing lies before or since that day.
    """

    values: Floats
    day: Ints
    stream: Ints
    factors: Sequence[Factor]
    columns: Sequence[Column]
    since: int
    span: int = 0
    taken: list[Floats] = field(default_factory=list)  # columns of explanations taken before, times their effect

    def __post_init__(self) -> None:
        if len(self.values) == 0 or not np.isfinite(self.values).all():
            raise UnusableData("readings to explain are missing; wanted at least one, each a number")
        before = self.day < self.since
        if not before.any() or before.all():
            raise UnusableData("nothing lies before, or nothing since, the day on which something may have begun")
        self.values = _near(self.values, self.stream)
        self.streams, self.days = int(self.stream.max()) + 1, int(self.day.max()) + 1
        self._random_effects(before)
        self._expect(before)

    # -- random effects

    def _random_effects(self, before: Flags) -> None:
        """Column of each block of random effects for every reading, and the precision of each effect."""
        blocks: list[tuple[Ints, float | None]] = [(self.stream, STREAM_VARIANCE), (self.day, None)]
        for factor in self.factors:
            blocks.append((factor.code, None))
            if factor.nested:
                levels = int(factor.code.max(initial=0)) + 1
                blocks.append((np.where(factor.code >= 0, self.stream * levels + factor.code, -1), None))
        size = np.bincount(self.stream[before], minlength=self.streams)
        mean = np.bincount(self.stream[before], self.values[before], minlength=self.streams) / np.maximum(size, 1)
        off = self.values - mean[self.stream]
        places, precision, standing, at = [], [], [], 0
        for number, (code, fixed) in enumerate(blocks):
            seen, which = np.unique(code, return_inverse=True)
            unknown = int(seen[0] < 0)
            if len(seen) - unknown < 2 and number > 0:
                continue
            variance = _moment(code[before], off[before]) if fixed is None else fixed
            places.append(np.where(code >= 0, at + which - unknown, -1))
            precision.append(np.full(len(seen) - unknown, 1.0 / variance))
            standing.append(np.full(len(seen) - unknown, number != 1))
            at += len(seen) - unknown
        self.place = np.stack(places, axis=1)  # (n, blocks) -1: none
        self.precision, self.standing = np.concatenate(precision), np.concatenate(standing)
        self.gram = self._products(np.ones(len(self.values), dtype=bool))

    def _products(self, rows: Flags) -> Floats:
        """Products of all random effects over some readings (p, p)."""
        place = self.place[rows]
        at, block = np.nonzero(place >= 0)
        z = sparse.csr_matrix((np.ones(len(at)), (at, place[at, block])), shape=(len(place), len(self.precision)))
        return np.asarray((z.T @ z).todense())

    def _sums(self, rows: Flags | slice, values: Floats) -> Floats:
        """Sum of values by random effect (p,)."""
        place = self.place[rows]
        known = place >= 0
        weights = np.broadcast_to(values[:, None], place.shape)[known]
        return np.asarray(np.bincount(place[known], weights, minlength=len(self.precision)), dtype=np.float64)

    def _fitted(self, effects: Floats) -> Floats:
        return np.asarray(np.append(effects, 0.0)[self.place].sum(axis=1))

    def _expect(self, before: Flags) -> None:
        """What each reading would be if nothing had moved, from the readings before."""
        factor = cho_factor(self._products(before) + np.diag(self.precision))
        solved = cho_solve(factor, self._sums(before, self.values[before]))
        self.expected = self._fitted(np.where(self.standing, solved, 0.0))

    @property
    def rest(self) -> Floats:
        """Readings less what was expected of them and less what is explained by now (n,)."""
        return np.asarray(self.values - self.expected - sum(self.taken, np.zeros(len(self.values))))

    def standing_out(self, touched: Flags, since: int) -> float:
        """How far readings of some since a day lie out, in standard errors, less what is explained by now."""
        some = touched & (self.day >= since)
        n = int(some.sum())
        return float(self.rest[some].sum() / np.sqrt(n + 0.01 * n * n)) if n else 0.0

    # -- one look

    def look(self) -> Look:
        """All hypotheses that are worth an exact look, against each other and against nothing having moved."""
        seen = self._seen()
        total = sum(f.weight for f in self.factors) + sum(c.weight for c in self.columns) or 1.0
        moved = float(np.log(1 - SHARE_NOTHING))
        one_of = moved + float(np.log((1 - SHARE_UNEXPLAINED) / total))
        nothing = Factor(UNEXPLAINED, np.zeros(len(self.values), dtype=np.int64))
        found = of_factor(seen, nothing, moved + float(np.log(SHARE_UNEXPLAINED)))
        for factor in self.factors:
            found += of_factor(seen, factor, one_of + float(np.log(factor.weight)))
        for number, column in enumerate(self.columns):
            found += of_column(seen, number, column, one_of + float(np.log(column.weight)))
        found.sort(key=lambda one: -one.score)
        kept: list[Candidate] = []
        count: dict[str, int] = {}
        for one in found:
            count[one.factor] = count.get(one.factor, 0) + 1
            if len(kept) < KEPT or count[one.factor] <= EACH:
                kept.append(one)
        return self._weighed(kept)

    def measured(self, base: Floats, first: int, last: int) -> tuple[Hypothesis, Look]:
        """Start and size of a shift of these very readings, begun between two days, whatever moved them; and the look.

        base : (n,) 1 for a reading that it touches, or the number by which it moves.
        """
        days = np.arange(max(first, 0), min(max(last, first, 0), self.days - 1) + 1)
        price = np.full(len(days), np.log((1 - SHARE_NOTHING) / max(len(days), self.span)))
        found = self._weighed(
            [Candidate(UNEXPLAINED, -1, "", np.unique(self.stream[base != 0]), base, days, price, 0.0)]
        )
        return found.hypotheses[0], found

    def take(self, one: Hypothesis) -> None:
        """Its effect goes into the model: the next look asks what is left."""
        self.taken.append(self.column(one) * one.effect)

    def column(self, one: Hypothesis) -> Floats:
        """The readings that a hypothesis touches, since its likeliest start, as its column counts them (n,)."""
        base = next((c.value for c in self.columns if c.name == one.factor), None)
        if base is None:
            code = next((f.code for f in self.factors if f.name == one.factor), None)
            base = (code == one.level).astype(np.float64) if code is not None else np.ones(len(self.values))
        return np.asarray(base * self._seen().on(one.streams) * (self.day >= one.start))

    def _seen(self) -> Readings:
        span = max(self.span, self.days - self.since)
        return Readings(self.rest, self.day, self.stream, self.streams, self.days, self.since, span)

    def _weighed(self, found: list[Candidate]) -> Look:
        """The marginal likelihood of each hypothesis at each of its starts, and the probabilities that follow."""
        if not found:
            return Look([], 1.0)
        p, t = len(self.precision), len(self.taken)
        extra = [column / max(float(np.abs(column).max()), 1e-9) for column in self.taken]
        whole = np.diag(np.append(self.precision, np.full(t, 1 / SIZE_PRIOR)))
        whole[:p, :p] += self.gram
        for k, column in enumerate(extra):
            whole[:p, p + k] = whole[p + k, :p] = self._sums(slice(None), column)
            whole[p + k, p:] += [float(column @ other) for other in extra]
        factor = cho_factor(whole)
        right = np.append(self._sums(slice(None), self.values), [float(column @ self.values) for column in extra])
        solved = cho_solve(factor, right)
        residual = self.values - self._fitted(solved[:p]) - sum(c * b for c, b in zip(extra, solved[p:], strict=True))
        parts = [self._since(one, residual, extra) for one in found]
        w, square, push = (np.concatenate([part[k] for part in parts], axis=-1) for k in range(3))
        info = np.maximum(square - np.einsum("ij,ij->j", w, cho_solve(factor, w)), 0.0)
        keep = 1 / SIZE_PRIOR
        posterior = 0.5 * push**2 / (info + keep) - 0.5 * np.log1p(info * SIZE_PRIOR)
        posterior += np.concatenate([one.log_prior for one in found])
        mean, variance = push / (info + keep), 1 / (info + keep)
        total = float(logsumexp(np.append(posterior, np.log(SHARE_NOTHING))))
        told, at = [], 0
        for one in found:
            part = slice(at, at + len(one.days))
            told.append(_told(one, posterior[part], mean[part], variance[part], total, self.day))
            at += len(one.days)
        told.sort(key=lambda one: -one.probability)
        return Look(told, float(np.exp(np.log(SHARE_NOTHING) - total)))

    def _since(self, one: Candidate, residual: Floats, extra: list[Floats]) -> tuple[Floats, Floats, Floats]:
        """Of the column since each of its starts: its products with the random effects, with itself, with the
        residual.
        """
        rows = np.flatnonzero(one.base)
        start = np.searchsorted(one.days, self.day[rows], side="right") - 1  # the last start this reading comes after
        rows, start = rows[start >= 0], start[start >= 0]
        k, value, p = len(one.days), one.base[rows], len(self.precision)
        place = self.place[rows]
        known = place >= 0
        cell = (place * k + start[:, None])[known]
        w = np.bincount(cell, np.broadcast_to(value[:, None], place.shape)[known], minlength=p * k).reshape(p, k)
        more = [np.bincount(start, value * column[rows], minlength=k) for column in extra]
        sums = [np.concatenate([w, np.array(more).reshape(len(more), k)]), np.bincount(start, value**2, minlength=k),
                np.bincount(start, value * residual[rows], minlength=k)]  # fmt: skip
        later = [part[..., ::-1].cumsum(axis=-1)[..., ::-1] for part in sums]
        return later[0], later[1], later[2]


def _near(values: Floats, stream: Ints) -> Floats:
    """Readings in time order, none further than FAR from the median of its neighbours in the stream."""
    order = np.argsort(stream, kind="stable")
    middle = np.empty(len(values))
    middle[order] = median_filter(values[order], size=NEIGHBOURS, mode="nearest")
    return np.asarray(middle + np.clip(values - middle, -FAR, FAR))


def _moment(code: Ints, off: Floats) -> float:
    """Variance between levels by moments, readings of one level about 0 having variance 1; never none at all."""
    some = code >= 0
    size = np.bincount(code[some])
    sums = np.bincount(code[some], off[some])
    kept = size > 0
    n, levels = float(size.sum()), int(kept.sum())
    if levels < 2:
        return FEW_LEVELS
    between = float((sums[kept] ** 2 / size[kept]).sum())
    return max((between - levels) / n, 0.0) + FLOOR


def _told(one: Candidate, posterior: Floats, mean: Floats, variance: Floats, total: float, day: Ints) -> Hypothesis:
    top = float(posterior.max())
    weight = np.exp(posterior - top)
    chance = float(np.exp(top - total) * weight.sum())
    weight /= weight.sum()
    effect = float(weight @ mean)
    error = float(np.sqrt(weight @ (variance + (mean - effect) ** 2)))
    order = np.argsort(-weight, kind="stable")
    inside = one.days[order[: int(np.searchsorted(np.cumsum(weight[order]), 0.95) + 1)]]
    start = int(one.days[order[0]])
    touched = int(((one.base != 0) & (day >= start)).sum())
    return Hypothesis(one.factor, one.level, one.kin, one.streams, chance, effect, error, start, int(inside.min()),
                      int(inside.max()), touched)  # fmt: skip


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
