"""Which hypotheses about a shift are worth an exact look: the levels, streams and days whose readings lie out most.

Cheap and for all at once: sums of what was not expected, by level, stream and day, from each day to the end. What a
level moved is judged on all streams where it occurs, on its best single ones, and on the some that go best together.

Source: the gain is a log Bayes factor of a normal shift (Kass & Raftery 1995, J. American Statistical Association 90).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

from analysis.methods.segments import Flags, Floats, Ints

LEAST = 5  # readings of a level since the start, from which on it may be a hypothesis
SIZE_PRIOR = 1.0  # variance of a shift, in sigma squared
NEAR = 8.0  # a start this much less likely (log) than the best of its hypothesis is not looked at exactly
ALL_STREAMS, ONE_STREAM = 0.4, 0.3  # prior weight of a cause on every stream, and on a single one; the rest: some
BASELINE = 0.01  # variance of a baseline's mean where hypotheses are only sorted out: one of a hundred readings
LEVELS = 8  # of a factor, and columns of a kin, that are looked at stream by stream
NEVER = -50.0


@dataclass(frozen=True)
class Factor:
    """Something that may have moved: the level of every reading.

    own_start : its levels come and go (a lot): a shift of one has begun with its first reading.
    nested : its levels have standing offsets of their own in each stream (people, gauges).
    weight : prior weight beside the other factors.
    """

    name: str
    code: Ints  # (n,) -1 where not known
    own_start: bool = False
    nested: bool = False
    weight: float = 1.0


@dataclass(frozen=True)
class Column:
    """Something with a number for every reading, by which readings may move: the air some hours before, or 1 where a
    dated change holds.

    value : (n,), 0 where it does not touch the reading. scanned : it may have begun to matter on any day, else it did
    throughout. kin : columns of one kin are one candidate (the air some hours before, and more hours before).
    """

    name: str
    value: Floats
    scanned: bool = False
    weight: float = 1.0
    kin: str = ""


@dataclass(frozen=True)
class Candidate:
    """A hypothesis with the starts that are looked at exactly."""

    factor: str
    level: int
    kin: str
    streams: Ints
    base: Floats  # (n,) the column before its start
    days: Ints
    log_prior: Floats  # (days,)
    score: float  # log, as far as it is known before the exact look
    late: bool = False  # of starts about as likely the last one is told: a column may touch nothing for weeks

    @property
    def group(self) -> str:
        """What those share that differ in level, streams or lag only."""
        return self.kin.partition(":")[0]


@dataclass(frozen=True)
class Readings:
    """What screening sees: readings less what was expected of them, where and when they were taken."""

    rest: Floats  # (n,)
    day: Ints  # (n,)
    stream: Ints  # (n,)
    streams: int
    days: int
    since: int
    span: int  # working days on any of which it might have begun, as the price of a start

    def on(self, streams: Ints) -> Flags:
        """Readings of some streams (n,)."""
        chosen = np.zeros(self.streams, dtype=bool)
        chosen[streams] = True
        return chosen[self.stream]


def of_factor(seen: Readings, factor: Factor, log_prior: float) -> list[Candidate]:
    """Hypotheses that levels of a factor moved; log_prior : of the factor."""
    levels = int(factor.code.max(initial=-1)) + 1
    use = (seen.day >= seen.since) & (factor.code >= 0)
    active = np.flatnonzero(np.bincount(factor.code[use], minlength=levels) >= LEAST)
    if len(active) == 0:
        return []
    number = np.full(levels, -1)
    number[active] = np.arange(len(active))
    mine = np.where(factor.code >= 0, number[np.maximum(factor.code, 0)], -1)
    use &= mine >= 0
    shape = (len(active), seen.streams, seen.days - seen.since)
    cell = (mine[use] * shape[1] + seen.stream[use]) * shape[2] + seen.day[use] - seen.since
    size = int(np.prod(shape))
    sums = _to_the_end(np.bincount(cell, seen.rest[use], minlength=size).reshape(shape))
    counts = _to_the_end(np.bincount(cell, minlength=size).reshape(shape).astype(np.float64))
    first_day = np.full(len(active), seen.days)
    np.minimum.at(first_day, mine[mine >= 0], seen.day[mine >= 0])
    log_level = log_prior - float(np.log(len(active)))
    promising = np.maximum(gain(sums, counts, counts), 0).sum(axis=1).max(axis=1)
    some = np.argsort(-promising, kind="stable")[:LEVELS]
    chosen = [(int(k), *_starts(seen, factor, int(first_day[k]), shape[2])) for k in some]
    parts = [np.stack([part[k][:, starts] for k, starts, _ in chosen]) for part in (sums, counts)]
    found: list[Candidate] = []
    for (k, starts, price), told in zip(chosen, scopes_of(parts[0], parts[1], parts[1]), strict=True):
        level = int(active[k])
        held = factor.code == level
        for streams, value, scope in told:
            score = value + price + scope
            near = score >= score.max() - NEAR
            days = np.array([int(first_day[k])]) if factor.own_start else starts[near] + seen.since
            found.append(
                Candidate(factor.name, level, f"{factor.name}:{level}", streams, (held &
                seen.on(streams)).astype(float),
                          days, price[near] + scope + log_level, float(score.max()) + log_level)
            )  # fmt: skip
    return found


def of_columns(seen: Readings, columns: Sequence[Column], log_prior: float) -> list[Candidate]:
    """Hypotheses that readings move with a column, always or since some day; of each kin only those of the most
    promising columns. log_prior : of a column of weight 1.
    """
    kins: dict[str, list[_Sums]] = {}
    for number, column in enumerate(columns):
        made = _sums(seen, number, column)
        if made is not None:
            kins.setdefault(column.kin or column.name, []).append(made)
    found: list[Candidate] = []
    for every in kins.values():
        every.sort(key=lambda one: -one.promise)
        looked = every[:LEVELS]
        for one, told in zip(looked, _scopes_of_columns(looked), strict=True):
            found += _of_column(seen, one, told, log_prior + float(np.log(one.column.weight)))
    return found


def _scopes_of_columns(every: list["_Sums"]) -> list[list["Scope"]]:
    """Of each column; those with as many starts all at once."""
    told: list[list[Scope]] = [[] for _ in every]
    for many in {len(one.days) for one in every}:
        mine = [k for k, one in enumerate(every) if len(one.days) == many]
        parts = [np.stack([every[k].parts[j] for k in mine]) for j in range(3)]
        for k, found in zip(mine, scopes_of(parts[0], parts[1], parts[2]), strict=True):
            told[k] = found
    return told


@dataclass(frozen=True, eq=False)
class _Sums:
    """What readings say of one column, from each day to the end."""

    number: int
    column: Column
    days: Ints
    start: float  # log prior of one of them
    parts: tuple[Floats, Floats, Floats]  # (streams, days) of value times reading, of value squared, of value
    promise: float  # no choice of streams gains more


def _sums(seen: Readings, number: int, column: Column) -> _Sums | None:
    touched = np.flatnonzero(column.value)
    if (seen.day[touched] >= seen.since).sum() < LEAST:
        return None
    days = np.arange(seen.since, seen.days) if column.scanned else np.array([int(seen.day[touched].min())])
    rows = touched[seen.day[touched] >= days[0]]
    place = np.minimum(seen.day[rows] - days[0], len(days) - 1)
    cell, size, value = seen.stream[rows] * len(days) + place, seen.streams * len(days), column.value[rows]
    shape = (seen.streams, len(days))
    sums, squares, totals = (
        _to_the_end(np.bincount(cell, part, minlength=size).reshape(shape))
        for part in (value * seen.rest[rows], value**2, value)
    )
    start = -float(np.log(max(len(days), seen.span))) if column.scanned else 0.0
    gains = np.maximum(gain(sums, squares, totals), 0.0).sum(axis=0).max()
    promise = float(gains) + start + float(np.log(column.weight))
    return _Sums(number, column, days, start, (sums, squares, totals), promise)


def _of_column(seen: Readings, one: _Sums, told: list["Scope"], log_prior: float) -> list[Candidate]:
    column, found = one.column, []
    for streams, worth, scope in told:
        score = worth + scope + one.start
        near = score >= score.max() - NEAR
        price = np.full(int(near.sum()), log_prior + scope + one.start)
        found.append(
            Candidate(column.name, one.number, column.kin or column.name, streams, column.value * seen.on(streams),
                      one.days[near], price, float(score.max()) + log_prior, column.scanned)
        )  # fmt: skip
    return found


def _starts(seen: Readings, factor: Factor, first_day: int, days: int) -> tuple[Ints, Floats]:
    """Days on which a level may have begun, counted from `since`, and the log prior of each: any day alike; half of it
    the first day of a level that came new.
    """
    if factor.own_start:
        return np.array([max(first_day - seen.since, 0)]), np.zeros(1)
    price = np.full(days, -float(np.log(max(days, seen.span))))
    new = first_day - seen.since
    if new >= 0:
        price += np.log(0.5)
        price[new] = np.logaddexp(price[new], np.log(0.5))
    return np.arange(days), price


def _to_the_end(sums: npt.NDArray[Any]) -> Floats:
    return np.asarray(sums[..., ::-1].cumsum(axis=-1)[..., ::-1], dtype=np.float64)


def gain(total: Floats, size: Floats, linear: Floats) -> Floats:
    """How much likelier (log) a shift is than none, from the sum of value times reading, of value squared, of value."""
    share = size / np.maximum(size + BASELINE * linear**2, LEAST / 2)  # fewer than five of them count as none
    info, push = share * size, share * total
    value = 0.5 * push**2 / (info + 1 / SIZE_PRIOR) - 0.5 * np.log1p(info * SIZE_PRIOR)
    return np.where(size >= LEAST, value, NEVER)


Scope = tuple[Ints, Floats, float]  # streams, the gain at each start, and the log prior of the choice


def scopes_of(sums: Floats, squares: Floats, totals: Floats) -> list[list[Scope]]:
    """Streams on which each level may have moved: all of them, each of the two best alone, and the some that go best
    together.

    sums, squares, totals : (levels, streams, starts), of value times reading, of value squared, of value. A list a
    level; empty where it has no reading.
    """
    there = squares.max(axis=2, initial=0.0) > 0  # (levels, streams)
    size = there.sum(axis=1)
    every = gain(sums.sum(axis=1), squares.sum(axis=1), totals.sum(axis=1))
    alone = gain(sums, squares, totals)
    order = np.argsort(np.where(there, -alone.max(axis=2, initial=NEVER), np.inf), axis=1, kind="stable")
    some = _some((sums, squares, totals), np.maximum(alone, 0.0).sum(axis=1).argmax(axis=1), there)
    told: list[list[Scope]] = []
    for level, m in enumerate(size.tolist()):
        found: list[Scope] = []
        if m:
            found.append((np.flatnonzero(there[level]), every[level], float(np.log(ALL_STREAMS)) if m > 1 else 0.0))
        if m > 1:
            price = float(np.log(ONE_STREAM / m))
            found += [(np.array([k]), alone[level, k], price) for k in order[level, :2].tolist()]
        if m > 2:
            chosen, price = some[level]
            parts = (part[level, chosen].sum(axis=0) for part in (sums, squares, totals))
            found.append((chosen, gain(*parts), price))
        told.append(found)
    return told


def _some(parts: tuple[Floats, ...], at: Ints, there: Flags) -> list[tuple[Ints, float]]:
    """Of each level's streams, of all but one and all but all those that go best together at one start, in order of
    what each says; of a level of under three streams nothing that counts.
    """
    levels, streams = there.shape
    each = np.arange(levels)
    now = [part[each, :, at] for part in parts]  # (levels, streams)
    price = _price_of_some(streams)[there.sum(axis=1)]
    best: list[tuple[Floats, Ints, Ints]] = []
    for side in (1.0, -1.0):
        key = np.where(there, -side * now[0] / np.sqrt(np.maximum(now[1], 1.0)), np.inf)
        order = np.argsort(key, axis=1, kind="stable")
        worth = gain(*(np.cumsum(np.take_along_axis(part, order, axis=1), axis=1) for part in now)) + price
        top = worth.argmax(axis=1)
        best.append((worth[each, top], order, top))
    found = []
    for level in range(levels):
        _, order, top = max(best, key=lambda one: one[0][level])
        k = int(top[level])
        found.append((np.sort(order[level, : k + 1]), float(price[level, k])))
    return found


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
