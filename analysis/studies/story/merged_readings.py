"""Readings of the story carried on from the version before: those of instruments and parts that were not touched as
they are kept, and between them those worked out anew. Where a new one goes is found stream by stream, so that of what
is kept only times are looked at, and of readings at one time who took them.
"""

from collections.abc import Callable, Iterable
from functools import partial

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints, placed
from analysis.studies.story.marks import MARK, SAYS, marks, says
from analysis.studies.story.merged import Merge, Merged
from analysis.studies.story.of_readings import (
    NAMES,
    OF_A_SHEET,
    ONLY_LEFT,
    STREAM,
    TYPED,
    Readings,
    kinds_left,
    only_left,
    sheets_of,
    typed_key,
)
from analysis.studies.story.of_visits import OfVisits
from analysis.studies.story.touched import Touched
from ingest.store.snapshot import Column, Damaged, Given, Kept

NEVER = np.iinfo(np.int64).min  # a reading without a time stands before all


def merged_readings(
    before: Kept, told: Merged, few: OfVisits, touched: Touched, fresh: Readings, logs: pl.DataFrame
) -> Given:
    """The readings, and what is kept beside them to carry them on again: `streams`, `sheets` and the kinds of sheet
    that only say what was `left`.

    told : the visits carried on; few : those of what was touched, and fresh the readings of these; logs : log_id and
    name of each log.
    """
    then = before.numbers("readings", "visit").whole()
    stands = _stands(before, then, told, touched)
    gone = np.flatnonzero(~stands)
    streams = _Streams(before, gone, fresh)
    visit = told.visits.of_fresh[few.number[fresh.row]]
    merge = Merge.of(before, "readings", stands, _behind(before, then, told, streams, fresh, visit))
    lost = pl.DataFrame(_some(before, ("moment", *OF_A_SHEET), gone))
    sheets = before.frame("sheets")
    standing = _added(sheets, sheets_of(lost).with_columns(-pl.col("n", "left")))
    now = _added(standing, sheets_of(fresh.table(("moment", *OF_A_SHEET))))
    kinds = kinds_left(now, logs)

    def column(name: str) -> Column:
        return merge.laid.column(name, fresh.column(name))

    def of_visit() -> Column:
        return merge.renumbered("visit", fresh.column("visit"), told.visits)

    def left() -> Column:
        one = merge.laid.column(ONLY_LEFT, only_left(fresh.table(OF_A_SHEET), kinds))
        was = before.frame("left")
        others = [a.join(b, on=OF_A_SHEET, how="anti") for a, b in ((was, kinds), (kinds, was))]
        if pl.concat(others).join(standing, on=OF_A_SHEET, how="semi").is_empty():
            return one
        return only_left(pl.DataFrame([merge.told(name, fresh.column(name)) for name in OF_A_SHEET]), kinds)

    def mark() -> Column:
        return merge.laid.column(MARK, marks(few.visits.get_column, fresh.column))

    def itself() -> Column:
        return merge.laid.column(SAYS, says(fresh.column))

    made: dict[str, Callable[[], Column]] = {name: partial(column, name) for name in NAMES}
    made |= {"visit": of_visit, ONLY_LEFT: left, MARK: mark, SAYS: itself}
    beside = {"streams": streams.now(), "sheets": now, "left": kinds}
    return {"readings": made} | {
        table: {name: partial(rows.get_column, name) for name in rows.columns} for table, rows in beside.items()
    }


def _stands(before: Kept, then: Ints, told: Merged, touched: Touched) -> Flags:
    """Which kept readings are of what was not touched. then : the kept visit of each, -1 of a part."""
    stands = np.append(told.visits.stands, False)[then]
    alone = np.flatnonzero(then < 0)
    if len(alone):
        parts = before.column("parts", "part").filter(pl.Series(~touched.parts)).unique()
        stands[alone] = before.column("readings", "part").gather(alone).is_in(parts.implode()).to_numpy()
    return stands


class _Streams:
    """The streams of kept and fresh readings together, in their order."""

    def __init__(self, before: Kept, gone: Ints, fresh: Readings) -> None:
        """gone : rows of kept readings that do not stand."""
        kept = before.frame("streams")
        if kept["n"].sum() != before.height("readings"):
            raise Damaged("streams and readings were not kept together")
        mine = fresh.table(STREAM).with_columns(pl.col(STREAM).cast(pl.String))
        every = pl.concat([kept.select(STREAM), mine.unique()]).unique().sort(STREAM).with_row_index("at")
        sizes = every.join(kept, on=STREAM, how="left", maintain_order="left")["n"].fill_null(0).to_numpy()
        self._every = every
        self.starts: Ints = np.append(0, np.cumsum(sizes)).astype(np.int64)
        self.gone = gone
        self.of_fresh = np.asarray(
            mine.join(every, on=STREAM, how="left", maintain_order="left")["at"].to_numpy(), dtype=np.int64
        )

    def of(self, rows: Ints) -> Ints:
        """The stream of some kept readings."""
        return np.asarray(np.searchsorted(self.starts[:-1], rows, side="right") - 1, dtype=np.int64)

    def now(self) -> pl.DataFrame:
        """STREAM and `n` of those that have a reading now."""
        n = np.diff(self.starts)
        n = n - np.bincount(self.of(self.gone), minlength=len(n)) + np.bincount(self.of_fresh, minlength=len(n))
        return self._every.select(STREAM).with_columns(n=pl.Series(n, dtype=pl.Int64)).filter(pl.col("n") > 0)


def _behind(before: Kept, then: Ints, told: Merged, streams: _Streams, fresh: Readings, visit: Ints) -> Ints:
    """Of each fresh reading how many kept ones that stand come before it. visit : of each fresh one its visit now, -1
    of a part.
    """
    times = before.numbers("readings", "taken_at").whole(NEVER)
    mine = _times(fresh.column("taken_at"))
    of = streams.of_fresh
    low, high = (placed(times, streams.starts[of], streams.starts[of + 1], mine, behind=b) for b in (False, True))
    behind = low - np.searchsorted(streams.gone, low)
    tied = np.flatnonzero(high > low)
    if not len(tied):
        return behind
    near = np.unique(np.concatenate([np.arange(low[at], high[at]) for at in tied]))
    near = np.setdiff1d(near, streams.gone, assume_unique=True)
    typed = [pl.concat([one, fresh.column(one.name).gather(tied)]) for one in _some(before, TYPED, near)]
    visits = np.concatenate([told.visits.of_kept[then[near]], visit[tied]])
    who = np.where(visits < 0, -1, np.searchsorted(told.starts, visits, side="right") - 1)
    time = np.concatenate([times[near], mine[tied]])
    order = np.lexsort((typed_key(pl.DataFrame(typed)), who, time, np.concatenate([streams.of(near), of[tied]])))
    ours = order >= len(near)
    found = tied[order[ours] - len(near)]
    behind[found] += np.cumsum(~ours)[ours] - np.searchsorted(near, low[found])
    return behind


def _some(before: Kept, names: Iterable[str], rows: Ints) -> list[pl.Series]:
    """Some rows of kept readings."""
    asked = pl.Series(rows)
    return [before.column("readings", name, asked) for name in names]


def _times(taken: pl.Series) -> Ints:
    return np.asarray(taken.cast(pl.Int64).fill_null(NEVER).to_numpy(), dtype=np.int64)


def _added(sheets: pl.DataFrame, more: pl.DataFrame) -> pl.DataFrame:
    """Counts of readings (of_readings.sheets_of) together; of none there is no row."""
    both = pl.concat([sheets, more]).group_by(OF_A_SHEET).agg(pl.col("n", "left").sum())
    return both.filter(pl.col("n") != 0).sort(OF_A_SHEET)
