"""What each stage's weeks are held against, whatever week a change may have begun in: a base that ends before it, and
is frozen.

Weeks are those with judged instruments. The first base of a stage grows by four weeks at a time to a year; then each
year of weeks is held against the year before it. So a change is held for a year against weeks that lie before its
start, however long it stays, and a base has every season in it and models and inspectors that are still there. Why
not longer: of work two years old few models are left. Why not shorter: of 25 instruments a week of which 6 % come back
half a year holds 39 send-backs, by which a rise by half could never be told.

A base begins anew with the first week after a person closed a signal of its stage: what was closed is settled, and the
stage is held against what came after. It does not for a dated change: that more comes back since one is what is asked.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import polars as pl

from analysis.methods.expected_counts import Pieces, SameMix, at_the_same_mix
from analysis.methods.segments import Ints, spans
from analysis.methods.since_when import LONGEST, Ahead, widening

GROWS_BY = 4  # weeks
YEAR = 52
REACH = LONGEST + YEAR  # weeks after the last start for which it is known what a base lets expect
FACTORS = [
    "model",
    "inspector",
]  # most lots of a month are new in it, and of the others the base holds a few first ones


@dataclass(frozen=True)
class Base:
    """Weeks that a stage is held against; rows are those of the table of weeks."""

    first: int
    end: int  # the first row after it, and the first that may be a start held against it
    until: int  # the first start that the next base holds
    reach: int  # the last row (exclusive) of which it is known what it lets expect
    ahead: Ahead  # of rows end to reach


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
    row = mix["row"].to_numpy()[after]
    cuts = np.searchsorted(of_after, np.arange(len(first) + 1))
    weeks = np.searchsorted(of_before, np.arange(len(first) + 1))
    made = []
    for number, (where, cut) in enumerate(zip(wanted, pairwise(cuts.tolist()), strict=True)):  # a handful a stage
        ahead = _ahead(found, later, slice(*cut), row - where[1], counted[number], size[number])
        mine = slice(weeks[number], weeks[number + 1])
        place = mix["row"].to_numpy()[before[mine]] - where[0]
        back, size_of, fitted = (
            np.bincount(place, part).astype(np.float64)
            for part in (k[before[mine]], n[before[mine]], found.fitted[mine])
        )
        made.append(Base(*where, replace(ahead, widening=widening(back, size_of, fitted))))
    return made


def _spans_of(first: int, end: int) -> Iterator[tuple[int, int, int, int]]:
    """First, end, until and reach of the bases of a piece of a stage's weeks."""
    at = first + GROWS_BY
    while at < end:
        young = at - first < YEAR
        until = min(at + (GROWS_BY if young else YEAR), end)
        yield max(first, at - YEAR), at, until, min(until - 1 + REACH, end)
        at = until


def _ahead(found: SameMix, later: Pieces, some: slice, row: Ints, counted: float, size: float) -> Ahead:
    """What one base lets expect of the rows after it, and what it is not sure of: the share itself, of which half a
    send-back more is taken than was counted, and the factor of each model and inspector.
    """
    group = int(later.group[some.start])
    week = row[some]
    rows = int(week[-1]) + 1
    share = (counted + 0.5) / (size + 1)
    each = found.ahead[some] * share * size / counted if counted else later.n[some] * share
    expected = np.bincount(week, each, minlength=rows)
    unsure = [(expected / np.sqrt(counted + 0.5))[:, None]]
    common = 0.0
    for f in range(len(FACTORS)):
        _, level = np.unique(later.levels[some, f], return_inverse=True)
        kinds = int(level.max()) + 1
        moves = each / np.sqrt(found.seen[some, f] + 1)
        unsure.append(np.bincount(week * kinds + level, moves, minlength=rows * kinds).reshape(rows, kinds))
        common -= 1 / (counted + float(found.kinds[group, f]))
    return Ahead(np.asarray(expected, dtype=np.float64), np.hstack(unsure), common)
