"""What each stage's weeks are held against, whatever week a change may have begun in: a base that ends before it, and
is frozen.

Weeks are those with judged instruments. The first base of a stage grows by four weeks at a time to a year; then each
year of weeks is held against the year before it. So a change is held for a year against weeks that lie before its
start, however long it stays, and a base has every season in it and models and inspectors that are still there. Why
not longer: of work two years old few models are left. Why not shorter: of 25 instruments a week of which 6 % come back
half a year holds 39 send-backs, by which a rise by half could never be told.

A base begins anew with the first week after a person closed a signal of its stage: what was closed is settled, and the
stage is held against what came after. It does not for a dated change: that more comes back since one is what is asked.

What a base lets expect of the work of one model is part of what it lets expect of all: the stage's share times the
factor of that model, and of who judged it. It is kept of models that the base knows enough of (`OfModels`).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import polars as pl

from analysis.methods.expected_counts import Pieces, SameMix, at_the_same_mix
from analysis.methods.segments import Floats, Ints, dense, fresh, spans
from analysis.methods.since_when import LONGEST, Ahead, widening

GROWS_BY = 4  # weeks
YEAR = 52
REACH = LONGEST + YEAR  # weeks after the last start for which it is known what a base lets expect
KNOWN = 30  # instruments of a model in a base, from which on it is looked at by itself
FEWEST = 5  # of a model's that came back: fewer in some weeks are never a rise by themselves
FACTORS = [
    "model",
    "inspector",
]  # most lots of a month are new in it, and of the others the base holds a few first ones


@dataclass(frozen=True)
class OfModels:
    """Models that a base knows enough of and of which FEWEST came back after it, and what it lets expect of each."""

    every: Ints  # numbers of all models in the weeks after the base
    model: Ints  # (m,) the number of each
    column: Ints  # (m,) of `Ahead.unsure`, that holds its factor
    seen: Floats  # (m,) how many came back in the base
    back: Floats  # (r, m) of the weeks after the base: how many came back
    size: Floats  # (r, m) of how many
    expected: Floats  # (r, m)
    testers: Floats  # (r, m) one standard error of `expected` by the factors of who judged it
    base_back: Floats  # (b, m) of the weeks of the base
    base_fitted: Floats  # (b, m)
    widening: Floats  # (m,) variance of its weeks over that of chance, at least that of the whole stage


@dataclass(frozen=True)
class Base:
    """Weeks that a stage is held against; rows are those of the table of weeks."""

    first: int
    end: int  # the first row after it, and the first that may be a start held against it
    until: int  # the first start that the next base holds
    reach: int  # the last row (exclusive) of which it is known what it lets expect
    ahead: Ahead  # of rows end to reach
    back: Floats  # (b,) of rows first to end, how many came back
    fitted: Floats  # (b,) how many the base lets expect of them
    testers: int  # the first column of `Ahead.unsure` that holds a tester
    models: OfModels
    looked: tuple[Ints, Ints]  # rows that may be a start, and models that are looked at by themselves in them


def bases(mix: pl.DataFrame, pieces: Ints, rows: int) -> list[Base]:
    """The bases of every stage, in the order of the rows they begin to hold.

    mix : row (of the table of weeks), model, inspector, instruments, came_back; sorted by row, each row in it.
    pieces : rows where a stage begins, or begins anew.
    rows : how many weeks there are.
    """
    wanted = [base for first, end in pairwise([*pieces.tolist(), rows]) for base in _spans_of(first, end)]
    if not wanted:
        return []
    first, end, _, reach = np.array(wanted, dtype=np.int64).T
    offset = np.searchsorted(mix["row"].to_numpy(), np.arange(rows + 1))
    n, k = (mix[name].to_numpy().astype(np.float64) for name in ("instruments", "came_back"))
    levels = np.column_stack([mix[name].rank("dense").to_numpy().astype(np.int64) - 1 for name in FACTORS])
    before, after = spans(offset[first], offset[end]), spans(offset[end], offset[reach])
    each = np.arange(len(first))
    of_before, of_after = np.repeat(each, offset[end] - offset[first]), np.repeat(each, offset[reach] - offset[end])
    later = Pieces(of_after, levels[after], n[after])
    found = at_the_same_mix(Pieces(of_before, levels[before], n[before]), k[before], later, len(first))
    counted, size = (np.bincount(of_before, part[before], minlength=len(first)) for part in (k, n))
    row = mix["row"].to_numpy().astype(np.int64)
    cuts = np.searchsorted(of_after, np.arange(len(first) + 1))
    weeks = np.searchsorted(of_before, np.arange(len(first) + 1))
    made = []
    for number, (where, cut) in enumerate(zip(wanted, pairwise(cuts.tolist()), strict=True)):  # a handful a stage
        some, mine = slice(*cut), slice(weeks[number], weeks[number + 1])
        ahead, let = _ahead(found, later, some, row[after[some]] - where[1], counted[number], size[number])
        past = _Cells(row[before[mine]] - where[0], levels[before[mine], 0], n[before[mine]], k[before[mine]])
        then = _Cells(row[after[some]] - where[1], later.levels[some, 0], later.n[some], k[after[some]])
        back_of, size_of, fitted = (past.each_week(part) for part in (past.k, past.n, found.fitted[mine]))
        ahead = replace(ahead, widening=float(widening(back_of, size_of, fitted)))
        of = _of_models(past, found.fitted[mine], then, let, found.seen[some], ahead)
        looked = _looked(past, then, where[2] - where[1])
        made.append(Base(*where, ahead, back_of, fitted, 1 + len(of.every), of, (looked[0] + where[1], looked[1])))
    return made


@dataclass(frozen=True)
class _Cells:
    """Work by week (from 0 on), model and who judged it."""

    row: Ints
    model: Ints
    n: Floats
    k: Floats

    def each_week(self, values: Floats) -> Floats:
        """Of each row."""
        return np.asarray(np.bincount(self.row, values), dtype=np.float64)

    def sums(self, models: Ints, *values: Floats) -> list[Floats]:
        """Of each row and of these models, sorted: shape (r, m), of each of the values (n,)."""
        rows, place = int(self.row[-1]) + 1, np.minimum(np.searchsorted(models, self.model), len(models) - 1)
        mine = np.flatnonzero(models[place] == self.model)
        cell = self.row[mine] * len(models) + place[mine]
        found = (np.bincount(cell, each[mine], minlength=rows * len(models)) for each in values)
        return [np.asarray(each, dtype=np.float64).reshape(rows, len(models)) for each in found]


def _known(past: _Cells) -> Ints:
    """Models of which a base has enough instruments, and enough of others beside them."""
    n = np.bincount(past.model, past.n)
    return np.flatnonzero((n >= KNOWN) & (n.sum() - n >= KNOWN))


def _looked(past: _Cells, then: _Cells, starts: int) -> tuple[Ints, Ints]:
    """Rows among the first so many after a base, and models that are known and have instruments in them."""
    known = np.zeros(int(max(then.model.max(), past.model.max())) + 1, dtype=bool)
    known[_known(past)] = True
    some = np.flatnonzero((then.row < starts) & known[then.model])
    row, model = then.row[some], then.model[some]
    once = fresh(row * len(known) + model)  # they stand sorted
    return row[once], model[once]


def _of_models(past: _Cells, fitted: Floats, then: _Cells, each: Floats, seen: Floats, ahead: Ahead) -> OfModels:
    """What a base lets expect of each model that is known, of which enough came back after it."""
    known = _known(past)
    enough = np.bincount(then.model, then.k, minlength=int(known.max(initial=0)) + 1)[known] >= FEWEST
    every, model = np.flatnonzero(np.bincount(then.model)), known[enough]
    if not len(model):
        none = np.zeros(0)
        empty, before = np.zeros((len(ahead.expected), 0)), np.zeros((int(past.row[-1]) + 1, 0))
        return OfModels(every, model, model, none, empty, empty, empty, empty, before, before, none)
    base_back, base_size, base_fitted = past.sums(model, past.k, past.n, fitted)
    back, size, expected, testers = then.sums(model, then.k, then.n, each, each**2 / (seen[:, 1] + 1))
    return OfModels(
        every,
        model,
        1 + np.searchsorted(every, model),
        base_back.sum(axis=0),
        back,
        size,
        expected,
        np.sqrt(testers),
        base_back,
        base_fitted,
        np.maximum(widening(base_back, base_size, base_fitted), ahead.widening),
    )


def _spans_of(first: int, end: int) -> Iterator[tuple[int, int, int, int]]:
    """First, end, until and reach of the bases of a piece of a stage's weeks."""
    at = first + GROWS_BY
    while at < end:
        young = at - first < YEAR
        until = min(at + (GROWS_BY if young else YEAR), end)
        yield max(first, at - YEAR), at, until, min(until - 1 + REACH, end)
        at = until


def _ahead(found: SameMix, later: Pieces, some: slice, row: Ints, counted: float, size: float) -> tuple[Ahead, Floats]:
    """What one base lets expect of the rows after it, and what it is not sure of: the share itself, of which half a
    send-back more is taken than was counted, and the factor of each model and inspector. And what of each piece.
    """
    group = int(later.group[some.start])
    week = row
    rows = int(week[-1]) + 1
    share = (counted + 0.5) / (size + 1)
    each = found.ahead[some] * share * size / counted if counted else later.n[some] * share
    expected = np.bincount(week, each, minlength=rows)
    unsure = [(expected / np.sqrt(counted + 0.5))[:, None]]
    common = 0.0
    for f in range(len(FACTORS)):
        level = dense(later.levels[some, f]).code
        kinds = int(level.max()) + 1
        moves = each / np.sqrt(found.seen[some, f] + 1)
        unsure.append(np.bincount(week * kinds + level, moves, minlength=rows * kinds).reshape(rows, kinds))
        common -= 1 / (counted + float(found.kinds[group, f]))
    return Ahead(np.asarray(expected, dtype=np.float64), np.hstack(unsure), common), each
