"""Readings of the story carried on from the version before: those of untouched instruments stand as they are kept,
those of touched ones are worked out anew and laid between them.

An instrument, or a part without one, is untouched where all its visits are what they were, in their order, and none of
its readings came or went. Untouched readings keep their order among each other, for what orders them is their own.
"""

from collections.abc import Callable
from functools import partial

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints, lengths
from analysis.studies.story.of_readings import NAMES, OF_A_SHEET, OF_VISIT, ONLY_LEFT, Readings, only_left, typed_key
from analysis.studies.story.of_visits import OfVisits
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Damaged, Kept
from ingest.terms import tables
from ingest.terms.tables import Coded

ROW = ("log_id", "line", "stage")
ALIKE = (*ROW, "serial", "day", "bench_order", *OF_VISIT)  # all of a visit that goes into its instrument's readings
MOST = 0.5  # of all visits: where more were touched, all is worked out anew
STREAM = ("characteristic", "position", "setup", "stage")
Made = dict[str, Callable[[], pl.Series | Coded]]


def merged(
    before: Kept,
    made: OfVisits,
    moved: pl.DataFrame,
    rows_of: Callable[[list[str]], pl.DataFrame],
    shop: Shop,
    logs: pl.DataFrame,
) -> Made | None:
    """Columns of the story's readings; None where so much was touched that they are better worked out anew.

    before : as kept; made : all visits now; moved : log_id, line, stage of visits of which a reading came or went since
    then; rows_of : the table `readings` of some logs; logs : log_id and name of each.
    """
    moved = moved.with_columns(pl.col("log_id", "stage").cast(pl.Categorical))
    told, number = made.told, made.number
    now = told.select("part", *ALIKE)
    parts = now.filter(pl.Series(~made.own))
    now_of, touched = _aligned(before, "visits", "serial", now.filter(pl.Series(made.own)), moved)
    _, parts_touched = _aligned(before, "parts", "part", parts, moved)
    some = np.empty(len(told), dtype=bool)
    some[made.own], some[~made.own] = touched, parts_touched
    if some.sum() > MOST * len(some):
        return None
    few = told.filter(pl.Series(some))
    raw = rows_of(few["log_id"].unique().cast(pl.String).to_list())
    fresh = Readings(lambda name: _coded(raw, name), few, number[some], shop)
    then = before.column("readings", "visit").fill_null(-1).to_numpy()
    visit = np.where(then >= 0, np.append(now_of, -1)[then], -1)
    stands = visit >= 0
    alone = np.flatnonzero(then < 0)
    untouched = parts.filter(~pl.Series(parts_touched))["part"].unique()
    stands[alone] = before.column("readings", "part").gather(alone).is_in(untouched.implode()).to_numpy()
    kept = np.flatnonzero(stands)
    visit = np.concatenate([visit[kept], number[some][fresh.row]])
    take = _order(before, kept, fresh, np.where(visit >= 0, _ints(told["who"])[made.own][visit], -1))
    place = np.concatenate([kept, len(then) + np.arange(len(fresh.row))])[take]

    def column(name: str) -> pl.Series | Coded:
        return _laid(before.written("readings", name), fresh.column(name), place)

    def left() -> pl.Series:
        columns = [column(name) for name in ("moment", *OF_A_SHEET)]
        return only_left(pl.DataFrame([one.column() for one in columns if isinstance(one, Coded)]), logs)

    found: Made = {name: partial(column, name) for name in NAMES}
    found["visit"] = lambda: pl.Series(visit[take]).replace(-1, None)
    return found | {ONLY_LEFT: left}


def _coded(rows: pl.DataFrame, name: str) -> pl.Series:
    return rows[name] if name == "serial" else tables.coded(rows[name])


def _aligned(before: Kept, table: str, by: str, now: pl.DataFrame, moved: pl.DataFrame) -> tuple[Ints, Flags]:
    """Of each row of a kept table its row now, -1 where its instrument was touched or is gone; and which rows of now
    are of one that was touched. Rows stand instrument after instrument, those of each in time order.
    """
    names = before.column(table, by)
    then_starts, now_starts = _starts(names), _starts(now[by])
    then_size, now_size = lengths(then_starts, len(names)), lengths(now_starts, len(now))
    known = pl.DataFrame({by: names.gather(then_starts), "at": np.arange(len(then_starts))})
    at = now[by].gather(now_starts).to_frame().join(known, on=by, how="left", maintain_order="left")["at"]
    place = at.fill_null(-1).to_numpy()
    alike = (place >= 0) & (np.append(then_size, -1)[place] == now_size)
    rows = np.flatnonzero(np.repeat(alike, now_size))
    theirs = rows + np.repeat(np.append(then_starts, 0)[place] - now_starts, now_size)[rows]
    same = np.ones(len(rows), dtype=bool)
    for name in ALIKE:
        same &= now[name].gather(rows).eq_missing(before.column(table, name).gather(theirs)).to_numpy()
    touched = np.repeat(~alike, now_size)
    touched[rows] |= ~same
    hit = now.select(*ROW).with_row_index("_at").join(moved, on=list(ROW), how="semi")["_at"]
    touched[hit.to_numpy()] = True
    whole = np.logical_or.reduceat(touched, now_starts) if len(now_starts) else touched
    touched = np.repeat(whole, now_size)
    now_of = np.full(len(names), -1, dtype=np.int64)
    stands = ~touched[rows]
    now_of[theirs[stands]] = rows[stands]
    return now_of, touched


def _starts(names: pl.Series) -> Ints:
    """Where each name begins, of equal ones that stand together."""
    return np.flatnonzero((names != names.shift(1)).fill_null(True).to_numpy())


def _order(before: Kept, kept: Ints, fresh: Readings, who: Ints) -> Ints:
    """The order of the story over kept readings and, behind them, fresh ones, each of which stand in it already.

    who : (n,) number of the instrument of each, -1 of a part.
    """

    def both(name: str) -> pl.Series:
        return pl.concat([before.column("readings", name).gather(kept), fresh.column(name)])

    n = len(kept)
    taken = both("taken_at").cast(pl.Int64)
    least = taken.min()
    time = _ints(taken.fill_null((least if isinstance(least, int) else 0) - 1))
    coarse = tables.one_key(*(tables.rank(both(name)) for name in STREAM), time)
    mine, theirs = coarse[n:], coarse[:n]
    if (np.diff(theirs) < 0).any():
        raise Damaged("kept readings do not stand in the order of the story")
    low, high = (np.searchsorted(theirs, mine, side=side) for side in ("left", "right"))
    behind = low.copy()  # of each fresh one, how many kept ones stand before it
    tied = high > low
    if tied.any():
        near = np.flatnonzero(np.isin(theirs, mine[tied]))
        rows = np.concatenate([near, n + np.flatnonzero(tied)])
        typed = typed_key(pl.DataFrame([both(name).gather(rows) for name in ("line", "log_id", "moment")]))
        order = np.lexsort((typed, who[rows], coarse[rows]))
        ours = rows[order] >= n
        before_it = np.cumsum(~ours)[ours]
        found = rows[order][ours] - n
        behind[found] = low[found] + before_it - np.searchsorted(theirs[near], mine[found], side="left")
    take = np.empty(len(coarse), dtype=np.int64)
    at = behind + np.arange(len(mine))
    take[at] = n + np.arange(len(mine))
    free = np.ones(len(coarse), dtype=bool)
    free[at] = False
    take[free] = np.arange(n)
    return take


def _laid(old: pl.Series | Coded, new: pl.Series, place: Ints) -> pl.Series | Coded:
    """A kept column and behind it a fresh one, the rows in the order given."""
    if isinstance(old, pl.Series):
        return pl.concat([old, new.alias(old.name)]).gather(place)
    other = Coded.of(new)
    words = pl.concat([old.words, other.words]).unique().sort()
    code = np.concatenate([_numbers(one, words) for one in (old, other)])[place]
    used = np.bincount(code + 1, minlength=len(words) + 1)[1:] > 0
    renumbered = np.append(np.cumsum(used) - 1, -1)[code]
    some = words.filter(pl.Series(used))
    numbers = tables.narrow(pl.Series(old.numbers.name, renumbered).replace(-1, None), len(some))
    return Coded(some, numbers, old.texts)


def _numbers(one: Coded, words: pl.Series) -> Ints:
    """The numbers of a column by a longer list of words, -1 where there is none."""
    at = np.append(words.search_sorted(one.words).to_numpy(), -1) if len(one.words) else np.array([-1])
    return np.asarray(at[one.numbers.cast(pl.Int64).fill_null(-1).to_numpy()], dtype=np.int64)


def _ints(column: pl.Series) -> Ints:
    return np.asarray(column.to_numpy(), dtype=np.int64)
