"""The streams of what was kept of charts, as they are numbered now, and which of them are not what they were."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.drift.settled import Settled
from analysis.studies.drift.standing import CHART, Whole, full, said
from analysis.studies.drift.streams import STREAM, Streams
from analysis.studies.drift.watching import POOLED, SHORT_RUN
from analysis.studies.drift.widths import week_numbers
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True)
class Here:
    """The streams of what was kept, as they are numbered now, and what does not go on."""

    number: Ints  # (streams of then) the number of each now
    average: Floats  # (s,) where the chart of a stream stands, NaN where it does not go on
    judged: Ints  # (s,)
    whole: Whole
    stream: Ints  # of `weeks`
    week: Ints
    count: Ints

    @classmethod
    def of(cls, snapshot: Snapshot, held: Streams, state: Settled, early: Flags) -> "Here":
        """early (n,): readings before the moment."""
        now = said(snapshot, held, early).with_columns(
            full=pl.Series(full(held, snapshot.shop.judging.baseline_readings)),
            now=pl.int_range(pl.len(), dtype=pl.Int64),
        )
        then = state.streams.with_columns(then=pl.int_range(pl.len(), dtype=pl.Int64))
        both = now.join(then, on=STREAM, how="full", coalesce=True, suffix="_then", maintain_order="left")
        alike = (
            (pl.col("n").fill_null(0) == pl.col("n_then").fill_null(0))
            & (pl.col("says").fill_null(0) == pl.col("says_then").fill_null(0))
            & (pl.col("full").fill_null(False) == pl.col("full_then").fill_null(False))
        )
        other = set(both.filter(~alike)["characteristic"])
        number = both.filter(pl.col("then").is_not_null()).sort("then")["now"].fill_null(-1).to_numpy()
        average = np.full(len(held.starts), np.nan)
        judged_ = np.zeros(len(held.starts), dtype=np.int64)
        mine = number[state.own["stream"].to_numpy()]
        there = mine >= 0
        average[mine[there]] = state.own["average"].to_numpy()[there]
        judged_[mine[there]] = state.own["judged"].to_numpy()[there]
        average[np.bincount(held.eras.stream, minlength=len(held.starts)) > 1] = np.nan
        streams, closed = _closed(snapshot)
        still = state.pooled.filter(pl.col("open") | pl.col("characteristic").is_in(sorted(closed)))
        weeks = week_numbers(held, snapshot.shop)
        low = int(weeks.min())
        wide = int(weeks.max()) - low + 1
        cells = np.bincount(held.readings.stream.astype(np.int64) * wide + (weeks - low))
        some = np.flatnonzero(cells)
        stream, week = np.divmod(some, wide)
        whole = Whole(streams, frozenset(still.select(CHART).iter_rows()), frozenset(other | _across(held, early)))
        return cls(number, average, judged_, whole, stream, week + low, cells[some])


def _closed(snapshot: Snapshot) -> tuple[frozenset[tuple[str, ...]], set[str]]:
    """Streams on whose charts a person closed a signal, ever, and characteristics on whose pooled ones."""
    lines = snapshot.lines("close", "reopen").filter(pl.col("kind") == "close")
    own = lines.filter(~pl.col("chart").is_in([POOLED, SHORT_RUN]))
    return frozenset(own.select(STREAM).iter_rows()), set(lines.filter(pl.col("chart") == POOLED)["characteristic"])


def _across(held: Streams, early: Flags) -> set[str]:
    """Characteristics of which a visit has readings before the moment and since."""
    visit = held.readings.source["visit"].gather(held.readings.row).fill_null(-1).to_numpy()
    new = np.flatnonzero(~early & (visit >= 0))
    since = np.zeros(int(visit.max(initial=-1)) + 1, dtype=np.bool_)
    since[visit[new]] = True
    both = np.flatnonzero(early & since[visit] & (visit >= 0))
    return set(held.rows["characteristic"].gather(np.unique(held.readings.stream[both])))
