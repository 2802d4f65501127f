"""Which hypotheses about a shift are worth an exact look: the levels, streams and days whose readings lie out most.

Cheap and for all at once: sums of what was not expected, by level, stream and day, from each day to the end. What a
level moved is judged on all streams where it occurs, on its best single ones, and on the some that go best together
(`scopes`). How many readings there are, and how large they are of a column, is the same whatever is left to explain, so
that one sieve serves several looks.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.methods.candidates import Candidate, Column, Factor, Readings
from analysis.methods.scopes import LEAST, NEVER, Gain, Scopes, scopes_of
from analysis.methods.segments import Floats, Ints
from analysis.methods.windows import ends_of

NEAR = 8.0  # a start this much less likely (log) than the best of its hypothesis is not looked at exactly
STARTS = 80  # so many starts of a hypothesis are looked at exactly: of more each stands for its neighbours too
LEVELS = 8  # of a factor, and columns of a kin, that are looked at stream by stream
KEPT = 16  # hypotheses that are looked at exactly
EACH = 2  # of them at least so many of each factor, or of the air
WHILES = 4  # hypotheses beside them that something moved for a while
ASKED = 2  # levels of a factor of which that is asked


class Sieve:
    """Of all levels of factors, and all columns, those that are worth an exact look.

    factors, columns : each with its log prior.
    """

    def __init__(
        self, seen: Readings, factors: Sequence[tuple[Factor, float]], columns: Sequence[tuple[Column, float]]
    ) -> None:
        self._levels, self._columns = _Levels(seen, factors), _Columns(seen, columns)

    def sift(self, rest: Floats, *, most: int = KEPT, each: int = EACH) -> list[Candidate]:
        """The likeliest by readings less what was expected of them and less what is explained by now (n,); and so many
        of each group at least.
        """
        levels, columns = self._levels.sift(rest), self._columns.sift(rest)
        found = []
        for kind, batch in [*((0, one) for one in levels), *((1, one) for one in columns)]:
            found += [((score, kind, place, scope), group, batch, k) for score, place, scope, group, k in batch.every()]
        found.sort(key=lambda one: one[0])
        kept: list[Candidate] = []
        count: dict[str, int] = {}
        for (_, _, _, scope), group, batch, k in found:
            count[group] = count.get(group, 0) + 1
            if len(kept) < most or count[group] <= each:
                kept.append(batch.candidate(k, scope))
        whiles = sorted((one for batch in levels for one in batch.whiles()), key=lambda one: -one.score)
        return kept + [one.of.candidate_of(one) for one in whiles[:WHILES]]


@dataclass(frozen=True, eq=False)
class _Batch:
    """Levels or columns of as many starts each, looked at stream by stream."""

    of: "_Levels | _Columns"
    numbers: list[int]
    places: list[int]  # where each stands among those as likely
    groups: list[str]
    scopes: Scopes
    log_prior: Floats  # (items, starts)
    sums: Floats | None = None  # (items, streams, starts) of what was not expected; None: no end is looked for
    counts: Floats | None = None

    def every(self) -> Iterator[tuple[float, int, int, str, int]]:
        """Of each choice of streams that there is: less the score of its best start, place, choice, group, number."""
        score = (self.scopes.gain + self.log_prior[:, None, :]).max(axis=2) + self.scopes.price
        for k, scores in enumerate(score.tolist()):
            for scope, one in enumerate(scores):
                if one > -np.inf:
                    yield -one, self.places[k], scope, self.groups[k], k

    def whiles(self) -> Iterator["_While"]:
        """Of the first few of each group what moved for a while and came back."""
        if self.sums is None or self.counts is None:
            return
        few = [k for k, place in enumerate(self.places) if place % LEVELS < ASKED]
        lasting = np.where(np.isfinite(self.scopes.price), self.scopes.gain.max(axis=2), -np.inf)[few]
        for at, scope, one in ends_of(self.sums[few], self.counts[few], self.scopes.streams[few], lasting):
            k = few[at]
            price = self.log_prior[k] + self.scopes.price[k, scope]
            score = one.gain + price
            near, log_prior = near_starts(score, price)
            yield _While(self, k, scope, one.end, near, log_prior, float(score.max()))

    def candidate_of(self, one: "_While") -> Candidate:
        """One of those that moved for a while."""
        streams = np.flatnonzero(self.scopes.streams[one.item, one.scope])
        made = self.of.candidate(self.numbers[one.item], streams, one.near, one.price, one.score)
        end = self.of.seen.since + one.end
        price = one.price - np.log(self.log_prior.shape[1] - 1)
        return replace(made, base=made.base * (self.of.seen.day < end), log_prior=price, end=end)

    def candidate(self, k: int, scope: int) -> Candidate:
        """One of them, with the starts that are nearly as likely as the likeliest."""
        price = self.log_prior[k] + self.scopes.price[k, scope]
        score = self.scopes.gain[k, scope] + price
        near, log_prior = near_starts(score, price)
        streams = np.flatnonzero(self.scopes.streams[k, scope])
        return self.of.candidate(self.numbers[k], streams, near, log_prior, float(score.max()))


@dataclass(frozen=True, eq=False)
class _While:
    """An item of a batch that moved for a while, as far as it is known before the exact look."""

    of: _Batch
    item: int
    scope: int
    end: int  # the first day without it, counted as the starts are
    near: Ints
    price: Floats
    score: float


class _Levels:
    """All levels of all factors that have enough readings, one after another."""

    def __init__(self, seen: Readings, factors: Sequence[tuple[Factor, float]]) -> None:
        self.seen = seen
        late = np.flatnonzero(seen.day >= seen.since)
        factor, level, first, rows, of_row, log_prior = [], [], [], [], [], []
        at = 0
        for place, (one, prior) in enumerate(factors):
            code = one.code[late]
            levels = int(one.code.max(initial=-1)) + 1
            active = np.flatnonzero(np.bincount(code + 1, minlength=levels + 1)[1:] >= LEAST)
            if len(active) == 0:
                continue
            number = np.full(levels + 1, -1)  # the last for those not known
            number[active] = at + np.arange(len(active))
            some = number[code] >= 0
            rows.append(late[some])
            of_row.append(number[code[some]])
            began = np.full(levels + 1, seen.days)
            began[one.code[::-1]] = seen.day[::-1]  # of the first of its readings, which is written last
            level.append(active)
            first.append(began[active])
            factor.append(np.full(len(active), place))
            log_prior.append(np.full(len(active), prior - np.log(len(active))))
            at += len(active)
        none = [np.zeros(0, dtype=np.int64)]
        self.factors = [one for one, _ in factors]
        self.factor, self.level, self.first, self.rows, item = (
            np.concatenate(part or none) for part in (factor, level, first, rows, of_row)
        )
        self.log_prior = np.concatenate(log_prior or [np.zeros(0)])
        self.own = np.array([one.own_start for one in self.factors], dtype=bool)[self.factor]
        # of each pair of level and stream that has readings
        pair = item * seen.streams + seen.stream[self.rows]
        there = np.bincount(pair, minlength=at * seen.streams) > 0
        number, pairs = np.cumsum(there) - 1, np.flatnonzero(there)
        self.item, self.stream = pairs // seen.streams, pairs % seen.streams
        self.firsts = np.searchsorted(self.item, np.arange(at))
        self.cell = number[pair] * seen.starts + seen.day[self.rows] - seen.since
        self.counts = self._to_the_end(None)
        self.gain = Gain.of(self.counts, self.counts)

    def _to_the_end(self, weights: Floats | None) -> Floats:
        """Sums over the readings of each pair, from each day on (pairs, days)."""
        shape = (len(self.item), self.seen.starts)
        return to_the_end(np.bincount(self.cell, weights, minlength=shape[0] * shape[1]).reshape(shape))

    def sift(self, rest: Floats) -> list[_Batch]:
        """The levels of each factor that lie out most."""
        if len(self.item) == 0:
            return []
        sums = self._to_the_end(rest[self.rows])
        alone = self.gain.at(sums)
        promise = np.add.reduceat(np.maximum(alone, 0.0), self.firsts, axis=0).max(axis=1)
        chosen, rank = first_of_each(self.factor, -promise, LEVELS)
        made = []
        for own in (False, True):
            mine = self.own[chosen] == own
            if mine.any():
                made.append(self._batch(chosen[mine], rank[mine], (sums, self.counts, alone), own=own))
        return made

    def _batch(self, chosen: Ints, rank: Ints, parts: tuple[Floats, ...], *, own: bool) -> _Batch:
        """own : each of them has begun with its first reading."""
        seen = self.seen
        place = np.full(len(self.level), -1)
        place[chosen] = np.arange(len(chosen))
        pairs = np.flatnonzero(place[self.item] >= 0)
        item, stream = place[self.item[pairs]], self.stream[pairs]
        starts = np.maximum(self.first[chosen] - seen.since, 0)
        dense = []
        for part, empty in zip(parts, (0.0, 0.0, NEVER), strict=True):
            held = part[pairs, starts[item]][:, None] if own else part[pairs]
            whole = np.full((len(chosen), seen.streams, held.shape[1]), empty)
            whole[item, stream] = held
            dense.append(whole)
        sums, counts, alone = dense
        log_prior = self.log_prior[chosen][:, None] + (np.zeros((1, 1)) if own else self._prices(self.first[chosen]))
        names = [self.factors[k].name for k in self.factor[chosen]]
        places = (self.factor[chosen] * LEVELS + rank).tolist()
        held = (None, None) if own else (sums, counts)
        return _Batch(self, chosen.tolist(), places, names, scopes_of(sums, counts, counts, alone), log_prior, *held)

    def _prices(self, first: Ints) -> Floats:
        """Log prior of each day on which levels may have begun: any day alike; half of it the first day of a level
        that came new (levels, days).
        """
        seen = self.seen
        price = np.full((len(first), seen.starts), -float(np.log(max(seen.starts, seen.span))))
        new = np.flatnonzero(first >= seen.since)
        price[new] += np.log(0.5)
        at = (new, first[new] - seen.since)
        price[at] = np.logaddexp(price[at], np.log(0.5))
        return price

    def candidate(self, number: int, streams: Ints, near: Ints, price: Floats, score: float) -> Candidate:
        """Of a level on some streams, begun on some days."""
        factor, level = self.factors[self.factor[number]], int(self.level[number])
        days = self.first[number : number + 1] if factor.own_start else near + self.seen.since
        base = ((factor.code == level) & self.seen.on(streams)).astype(np.float64)
        return Candidate(factor.name, level, f"{factor.name}:{level}", streams, base, days, price, score)


class _Columns:
    """All columns that touch enough readings."""

    def __init__(self, seen: Readings, columns: Sequence[tuple[Column, float]]) -> None:
        self.seen = seen
        late = seen.day >= seen.since
        every = {id(one.value): one.value for one, _ in columns}  # many columns are one value, scanned and not
        touching = {key: int(np.count_nonzero(value[late])) >= LEAST for key, value in every.items()}
        made = [(number, one, prior) for number, (one, prior) in enumerate(columns) if touching[id(one.value)]]
        self.numbers, self.columns = [number for number, _, _ in made], [one for _, one, _ in made]
        self.log_prior = np.array([prior for _, _, prior in made])
        self.scanned = np.array([one.scanned for one in self.columns], dtype=bool)
        kins = {name: k for k, name in enumerate(dict.fromkeys(kin_of(one) for one in self.columns))}
        self.kin = np.array([kins[kin_of(one)] for one in self.columns], dtype=np.int64)
        values = {key: value for key, value in every.items() if touching[key]}
        which = {key: k for k, key in enumerate(values)}
        self.of = np.array([which[id(one.value)] for one in self.columns], dtype=np.int64)
        # a place of its own for all readings before, so that the first of its sums is over all readings there are
        cell = seen.stream * (seen.starts + 1) + np.maximum(seen.day - seen.since + 1, 0)
        self.order = np.argsort(cell, kind="stable")
        self.cells, self.firsts = np.unique(cell[self.order], return_index=True)
        self.values = np.array([value[self.order] for value in values.values()]).reshape(len(values), len(cell))
        self.squares, self.totals = self._to_the_end(self.values**2), self._to_the_end(self.values)
        self.gain = Gain.of(self.squares, self.totals)

    def _to_the_end(self, each: Floats) -> Floats:
        """Sums of each over all readings, and from each day on (values, streams, 1 + days)."""
        sums = np.zeros((len(each), self.seen.streams * (self.seen.starts + 1)))
        if len(each):
            sums[:, self.cells] = np.add.reduceat(each, self.firsts, axis=1)
        return to_the_end(sums.reshape(len(each), self.seen.streams, self.seen.starts + 1))

    def sift(self, rest: Floats) -> list[_Batch]:
        """The columns of each kin that promise most."""
        if not self.columns:
            return []
        sums = self._to_the_end(self.values * rest[self.order])
        alone = self.gain.at(sums)
        worth = np.maximum(alone, 0.0).sum(axis=1)
        start = -float(np.log(max(self.seen.starts, self.seen.span)))
        price = self.log_prior + np.where(self.scanned, start, 0.0)
        promise = np.where(self.scanned, worth[self.of, 1:].max(axis=1), worth[self.of, 0]) + price
        chosen, rank = first_of_each(self.kin, -promise, LEVELS)
        made = []
        for scanned in (False, True):
            mine = np.flatnonzero(self.scanned[chosen] == scanned)
            if len(mine) == 0:
                continue
            some, days = chosen[mine], slice(1, None) if scanned else slice(0, 1)
            parts = (part[self.of[some], :, days] for part in (sums, self.squares, self.totals, alone))
            scopes = scopes_of(*parts)
            names = [kin_of(self.columns[k]).partition(":")[0] for k in some]
            places = (self.kin[some] * LEVELS + rank[mine]).tolist()
            log_prior = np.broadcast_to(price[some][:, None], (len(some), scopes.gain.shape[2]))
            made.append(_Batch(self, some.tolist(), places, names, scopes, log_prior))
        return made

    def candidate(self, number: int, streams: Ints, near: Ints, price: Floats, score: float) -> Candidate:
        """Of a column on some streams: begun on some days, or always there."""
        one, seen = self.columns[number], self.seen
        days = near + seen.since if one.scanned else seen.day[one.value != 0].min(keepdims=True)
        base = one.value * seen.on(streams)
        return Candidate(one.name, self.numbers[number], kin_of(one), streams, base, days, price, score, one.scanned)


def near_starts(score: Floats, price: Floats) -> tuple[Ints, Floats]:
    """Starts about as likely as the likeliest, rising, and the log prior of each; of very many the likeliest of each
    few neighbours, with the prior that makes it as likely as they are together. score, price : (starts,).
    """
    near = np.flatnonzero(score >= score.max() - NEAR)
    if len(near) <= STARTS:
        return near, price[near]
    firsts = np.arange(STARTS) * len(near) // STARTS
    best = np.maximum.reduceat(score[near], firsts)
    group = np.repeat(np.arange(STARTS), np.diff(firsts, append=len(near)))
    together = np.log(np.add.reduceat(np.exp(score[near] - best[group]), firsts))
    at = np.flatnonzero(score[near] == best[group])
    at = at[np.unique(group[at], return_index=True)[1]]  # of some as likely the first
    return near[at], price[near[at]] + together


def kin_of(column: Column) -> str:
    """What it is a hypothesis of."""
    return column.kin or column.name


def first_of_each(group: Ints, key: Floats, most: int) -> tuple[Ints, Ints]:
    """Of each group the first so many by a key, group after group; and the rank of each."""
    order = np.lexsort((key, group))
    rank = np.arange(len(order)) - np.searchsorted(group[order], group[order])
    return order[rank < most], rank[rank < most]


def to_the_end(sums: npt.NDArray[Any]) -> Floats:
    """Sums from each place of the last axis on."""
    return np.asarray(sums[..., ::-1].cumsum(axis=-1)[..., ::-1], dtype=np.float64)
