"""How charts stand before a moment: what they judge by, how near they came to their limits, what has opened, and what
the readings of then say. Two shops of which all this is the same tell the same of that time (`settled.py`).
"""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints, Rows, lengths
from analysis.methods.signal_life import Lives
from analysis.studies.drift.pooled import Pooled
from analysis.studies.drift.streams import STREAM, Streams
from analysis.studies.drift.watching import AGAINST_ALL, POOLED, Charts, Fired
from analysis.studies.drift.widths import pools as pools_of
from analysis.studies.story.marks import MARKS, SAYS
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

CHART = ("over", "characteristic", "stage", "tech", "gauge")  # names a pooled chart


@dataclass(frozen=True)
class Whole:
    """What is walked from its first reading on."""

    streams: frozenset[tuple[str, ...]] = frozenset()  # STREAM
    charts: frozenset[tuple[str, ...]] = frozenset()  # pooled ones, by the points that are kept: CHART
    characteristics: frozenset[str] = frozenset()  # all of their charts, by all readings

    def __or__(self, other: "Whole") -> "Whole":
        return Whole(
            self.streams | other.streams, self.charts | other.charts, self.characteristics | other.characteristics
        )


def before(held: Streams, since: datetime) -> Flags:
    """Which readings were taken before a moment (n,); one without a time stands before all."""
    return np.asarray((held.readings.taken_at < since).fill_null(True).to_numpy())


def said(snapshot: Snapshot, held: Streams, early: Flags) -> pl.DataFrame:
    """STREAM, n and says of each stream: its readings before a moment (`early`, (n,)), and one number for what they
    say.
    """
    each = snapshot.once(story).rest[MARKS][SAYS].to_numpy()[held.readings.row]
    each[~early] = 0
    return held.rows.select(STREAM).with_columns(
        n=pl.Series(np.add.reduceat(early, held.starts, dtype=np.int64)),
        says=pl.Series(np.add.reduceat(each, held.starts)),
    )


def full(held: Streams, baseline_readings: int) -> Flags:
    """Streams of all techs whose baseline is complete (s,): those that pooled charts hang on."""
    filed = np.zeros(len(held.starts), dtype=np.bool_)
    np.logical_or.at(filed, held.eras.stream, held.eras.on_file)
    everyone = (held.rows["tech"] == "").to_numpy()
    return np.asarray(everyone & (filed | (held.own.n >= baseline_readings)))


def told_by(charts: Charts, early: Flags) -> pl.DataFrame:
    """What charts of streams that judged readings before a moment (`early`, (n,) of the streams) judge by."""
    some = of_streams(charts, early)
    return (
        charts.rows[some]
        .select(STREAM)
        .with_columns(
            against=charts.adjusted.gather(some) == AGAINST_ALL,
            **{
                name: pl.Series(getattr(charts, name)[some])
                for name in ("centre", "sigma", "baseline", "begin", "on_file")
            },
            adjusted=charts.adjusted.gather(some),
        )
    )


def of_streams(charts: Charts, early: Flags) -> Ints:
    """Charts of streams that judged readings before a moment; early (n,): of the streams."""
    judged = np.add.reduceat(early[charts.reading], charts.starts, dtype=np.int64) > charts.begin
    return np.flatnonzero(judged & (charts.rows["stream"].to_numpy() >= 0))


def margins(charts: Charts, early: Flags, weeks: Ints | Rows, fired: Fired, lived: Lives) -> pl.DataFrame:
    """How near the average of each chart came to its limits before a moment, as a share of them: pool · since, the week
    of its first judged reading · inside, the largest while no signal was open, 0 where none was judged · outside, the
    smallest that opened one, infinite where none did. early, weeks (n,): of the charts' readings.
    """
    size = lengths(charts.starts, len(charts.reading))
    share = np.abs(fired.average - np.repeat(charts.centre, size))
    np.divide(share, fired.half, out=share, where=fired.half > 0)
    share[fired.half <= 0] = 0.0
    outside = np.full(len(charts.starts), np.inf)
    opened = lived.opened[early[lived.opened]]
    np.minimum.at(outside, lived.segment[early[lived.opened]], share[opened])
    ends = charts.starts + size
    last = np.where(lived.closed >= 0, lived.closed + 1, ends[lived.segment])
    change = np.zeros(len(share) + 1, dtype=np.int64)
    np.add.at(change, lived.opened, 1)
    np.add.at(change, last, -1)
    share[(np.cumsum(change)[:-1] > 0) | ~early] = 0.0
    inside = np.maximum.reduceat(share, charts.starts)
    since = weeks[charts.starts + np.minimum(charts.begin, size - 1)]
    return pl.DataFrame({"pool": pools_of(charts), "since": since, "inside": inside, "outside": outside})


def lives_of(charts: Charts, early: Flags, lived: Lives) -> pl.DataFrame:
    """Signals of charts of streams that opened before a moment: STREAM, against, opened and closed (places on the
    chart; -1: not before it). early (n,): of the charts' readings.
    """
    stream = charts.rows["stream"].to_numpy()[lived.segment]
    some = np.flatnonzero((stream >= 0) & early[lived.opened])
    chart, closed = lived.segment[some], lived.closed[some]
    closed = np.where((closed >= 0) & early[np.maximum(closed, 0)], closed - charts.starts[chart], -1)
    return (
        charts.rows[chart]
        .select(STREAM)
        .with_columns(
            against=charts.adjusted.gather(chart) == AGAINST_ALL,
            opened=pl.Series(lived.opened[some] - charts.starts[chart]),
            closed=pl.Series(closed),
        )
    )


def pooled_by(over: Pooled) -> pl.DataFrame:
    """What pooled charts judge by: CHART, sigma, baseline, adjusted, beyond."""
    charts = over.charts
    return charts.rows.select(CHART).with_columns(
        sigma=pl.Series(charts.sigma),
        baseline=pl.Series(charts.baseline),
        adjusted=charts.adjusted,
        beyond=pl.Series(over.beyond),
    )


@dataclass(frozen=True)
class Standing:
    """Where charts stood before a moment."""

    readings: Ints  # (c,) on each before it
    judged: Ints  # (c,) in the average since it began anew
    open: Flags  # (c,) a signal was open

    @classmethod
    def of(cls, charts: Charts, early: Flags, lived: Lives) -> "Standing":
        """early (n,): of the charts' readings."""
        count = np.add.reduceat(early, charts.starts, dtype=np.int64)
        end = charts.starts + count
        began = charts.starts + charts.begin
        opened = lived.opened < end[lived.segment]
        ended = opened & (lived.closed >= 0) & (lived.closed < end[lived.segment])
        np.maximum.at(began, lived.segment[ended], lived.closed[ended] + 1)
        still = np.zeros(len(end), dtype=np.bool_)
        still[lived.segment[opened & ~ended]] = True
        return cls(count, np.maximum(end - began, 0), still)


def opened_on(charts: Charts, some: Flags, lived: Lives) -> Whole:
    """On which of some charts (c,) a signal has opened."""
    rows = charts.rows[np.unique(lived.segment[some[lived.segment]])]
    own, pooled = (rows.filter(which) for which in (pl.col("stream") >= 0, pl.col("chart") == POOLED))
    return Whole(frozenset(own.select(STREAM).iter_rows()), frozenset(pooled.select(CHART).iter_rows()))
