"""Charts judged on from where they stood (`settled`): of streams whose readings of then are what they were, only what
is new is looked at, and nothing that is told is another than by all readings.
"""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints, Rows, lengths, spans
from analysis.methods.signal_life import Stands
from analysis.studies.drift.budget import Part
from analysis.studies.drift.here import Here
from analysis.studies.drift.judged import Pass, Past, arl_of, judged
from analysis.studies.drift.looked import judges_a_stream
from analysis.studies.drift.reckoned import Reckoned
from analysis.studies.drift.settled import Settled, keep_opened, kept, listed, opened_since, with_rows
from analysis.studies.drift.shares import Shares
from analysis.studies.drift.standing import CHART, Whole, before, lives_of, opened_on, pooled_by, told_by
from analysis.studies.drift.streams import STREAM, Streams
from analysis.studies.drift.thinned import Thinned, baselines, thinned
from analysis.studies.drift.watching import POOLED, Charts
from analysis.studies.drift.widths import LeftOut, week_numbers
from analysis.studies.drift.widths_then import Law, law, moved_by
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot

PASSES = 4  # over what is new; where still more charts turn out to hang on all readings these are judged
NEAR = 1e-6  # of a limit: an average so near to it may lie on its other side
MOST = 0.6  # of all readings that are looked at; with more of them all are


@dataclass(frozen=True)
class GoneOn:
    """One pass over what is new, and what stays of what was kept."""

    found: Pass
    thin: Thinned
    early: Flags  # (n,) of all readings: those before the moment
    signals: pl.DataFrame  # that were told before it, of charts that went on: FOUND
    account: pl.DataFrame  # their openings
    goes_on: Flags  # (c,) charts of `found` that went on
    points: dict[str, Ints]  # of the pooled ones among them: rows of all readings, by what they pool


def going_on(snapshot: Snapshot, held: Streams, *, coarse: Flags, weekly: Shares | None) -> GoneOn | None:
    """Where charts that were kept can go on; None where all readings have to be judged."""
    state = kept(snapshot, held)
    if state is None or arl_of(held, snapshot.shop) != state.head["arl"][0]:
        return None
    early = before(held, state.since)
    here = Here.of(snapshot, held, state, early)
    opened = was = opened_since(snapshot, held)
    other = Whole()
    for _ in range(PASSES):
        one = _One.of(held, here, state, early, here.whole | opened | other)
        if one.kept.mean() > MOST:
            return None
        thin = thinned(held, one.kept)
        then = early[thin.at]
        found = judged(
            snapshot,
            thin.streams,
            coarse=coarse,
            weekly=weekly,
            past=one.past(snapshot.shop, thin, then, state),
            until=then,
        )
        more = one.opened(found)
        others = one.other(snapshot.shop, found, then, state, Reckoned(snapshot))
        if more == others == Whole():
            if opened != was:
                keep_opened(snapshot, held, opened)
            return one.told(found, thin, early, state)
        opened, other = opened | more, other | others
    return None


@dataclass(frozen=True)
class _One:
    """What one pass looks at, and what it goes on with."""

    held: Streams
    here: Here
    walked: Flags  # (s,) streams whose charts go on
    pools: frozenset[str]  # characteristics whose readings of before make no points
    anew: pl.DataFrame  # CHART: pooled charts among them that are walked from their first point on
    kept: Flags  # (n,) readings that are looked at
    named: dict[bool, Ints]  # rows that pooled charts hang on, by `told`
    points: pl.DataFrame  # Settled.points of `pools`: number of the chart, row of all readings, value, anew

    @classmethod
    def of(cls, held: Streams, here: Here, state: Settled, early: Flags, whole: Whole) -> "_One":
        names = held.rows.select(STREAM)
        of_list = _among(names, listed(STREAM, whole.streams))
        of_whole = names["characteristic"].is_in(sorted(whole.characteristics)).to_numpy()
        walked = np.isfinite(here.average) & ~of_list & ~of_whole
        size = lengths(held.starts, len(held.values))
        rows = state.rows.with_columns(now=pl.Series(here.number).gather(state.rows["stream"])).filter(
            pl.col("now") >= 0
        )
        rows = rows.filter(~pl.Series(of_whole)[rows["now"]])
        named = {
            told: held.starts[part["now"].to_numpy()] + part["place"].to_numpy()
            for told in (False, True)
            for part in [rows.filter(told=told)]
        }
        looked = baselines(held) | ~early | np.repeat(~walked, size)
        for some in named.values():
            looked[some] = True
        pools = frozenset(set(held.rows["characteristic"]) - whole.characteristics)
        anew = listed(CHART, whole.charts).filter(pl.col("characteristic").is_in(sorted(pools)))
        points = _points_of(held, here, state, pools, anew)
        looked[points.filter("anew")["row"].to_numpy()] = True
        return cls(held, here, walked, pools, anew, looked, named, points)

    def past(self, shop: Shop, thin: Thinned, early: Flags, state: Settled) -> Past:
        """What is known of the readings that are left out; early (n,): of the streams that are looked at."""
        some = thin.streams
        going = some.rows["characteristic"].is_in(sorted(self.pools)).to_numpy()
        out = {}
        for told, rows in self.named.items():
            out[told] = early & going[some.readings.stream]
            out[told][np.searchsorted(thin.at, rows)] = False
        models, here = state.models.filter(self.kin), self.here
        return Past(
            arl=float(state.head["arl"][0]),
            left_out=LeftOut(
                Part(here.stream, here.week, np.zeros(0, dtype=np.int64), here.count),
                partial(self._points, week_numbers(some, shop), early, state),
            ),
            names=state.names.filter(self.kin),
            models=models.filter(~pl.col("told")).drop("told"),
            models_told=models.filter("told").drop("told"),
            out=out[False],
            out_told=out[True],
            stands=partial(self._stands, early, state),
            walked_whole=partial(self._walked_whole, thin, early, state),
        )

    @property
    def kin(self) -> pl.Expr:
        """Rows of characteristics whose pooled charts go on."""
        return pl.col("characteristic").is_in(sorted(self.pools))

    def _points(
        self, weeks: Ints | Rows, early: Flags, state: Settled, charts: Charts, over: Ints
    ) -> tuple[Flags, Part]:
        """LeftOut.points; weeks, early (n,): of the streams that are looked at."""
        ends = charts.starts + lengths(charts.starts, len(charts.reading))
        reading = charts.reading[spans(charts.starts[over], ends[over])]
        rows = charts.rows[over].select(CHART).with_columns(number=pl.int_range(pl.len(), dtype=pl.Int64))
        goes = rows.select(self.kin).to_series().to_numpy()
        counted = ~(early[reading] & np.repeat(goes, (ends - charts.starts)[over]))
        first = state.first.with_columns(chart=pl.int_range(pl.len(), dtype=pl.Int64)).filter(self.kin)
        first = first.join(rows, on=CHART, how="inner")
        counts = state.counts.join(first.select("chart", "number"), on="chart")
        ready = weeks[charts.reading[charts.starts[over]]].astype(np.int64)
        ready[first["number"].to_numpy()] = first["week"].to_numpy()
        number, week, count = (counts[name].to_numpy().astype(np.int64) for name in ("number", "week", "n"))
        return counted, Part(number, week, ready, count)

    def goes_on(self, charts: Charts) -> Flags:
        """Which charts go on from where they stood (c,)."""
        stream = charts.rows["stream"].to_numpy()
        own = judges_a_stream(charts) & self.walked[np.maximum(stream, 0)]
        pooled = charts.rows.select((pl.col("chart") == POOLED) & self.kin).to_series().to_numpy()
        return np.asarray(own | (pooled & ~_among(charts.rows.select(CHART), self.anew)))

    def _walked_whole(self, thin: Thinned, early: Flags, state: Settled, charts: Charts) -> Charts:
        """Past.walked_whole; early (n,): of the streams that are looked at."""
        if self.anew.is_empty():
            return charts
        number = pl.int_range(pl.len(), dtype=pl.Int64)
        names = state.pooled.select(*CHART, chart=number).join(
            charts.rows.select(*CHART, now=number), on=CHART, how="inner"
        )
        old = self.points.filter("anew").join(names.select("chart", "now"), on="chart", maintain_order="left")
        new = np.repeat(_among(charts.rows.select(CHART), self.anew), lengths(charts.starts, len(charts.reading)))
        left = np.flatnonzero(~(new & early[charts.reading]))
        chart = np.concatenate([old["now"].to_numpy(), np.searchsorted(charts.starts, left, side="right") - 1])
        order = np.argsort(chart, kind="stable")
        reading = np.concatenate([np.searchsorted(thin.at, old["row"].to_numpy()), charts.reading[left]])[order]
        starts = np.flatnonzero(np.diff(chart[order], prepend=-1))
        return replace(
            charts,
            starts=starts,
            reading=reading,
            plotted=np.concatenate([old["value"].to_numpy(), charts.plotted[left]])[order],
            window=reading[starts],
        )

    def _stands(self, early: Flags, state: Settled, charts: Charts) -> Stands:
        """Where they stand; early (n,): of the streams that are looked at."""
        some = np.flatnonzero(self.goes_on(charts))
        at = charts.starts + np.add.reduceat(early[charts.reading], charts.starts, dtype=np.int64)
        stream = charts.rows["stream"].to_numpy()[some]
        average = self.here.average[np.maximum(stream, 0)]
        so_far = self.here.judged[np.maximum(stream, 0)]
        pooled = np.flatnonzero(stream < 0)
        if len(pooled):
            told = (
                charts.rows[some[pooled]]
                .select(CHART)
                .join(state.pooled.select(*CHART, "average", "judged"), on=CHART, how="left", maintain_order="left")
            )
            average[pooled] = told["average"].fill_null(0.0).to_numpy()
            so_far[pooled] = told["judged"].fill_null(0).to_numpy()
        return Stands(at[some], some, average, so_far)

    def other(self, shop: Shop, found: Pass, early: Flags, state: Settled, reckoned: Reckoned) -> Whole:
        """What does not go on, since charts of its characteristic do not judge by what they judged by then, or would
        have told something else by limits that were then a hair wider or narrower.
        """
        charts, over, first = found.charts, found.over, found.first
        now = _law_now(found, state, shop.judging.ewma_weight, reckoned)
        if charts is None or over is None or first is None or now is None:
            return Whole(characteristics=self.pools)
        other: set[str] = set()
        own, pooled = told_by(charts, early), pooled_by(over)
        pairs = [
            (own, state.charts.select(own.columns)),
            (pooled, state.pooled.select(pooled.columns)),
            (first.charts.select(CHART), state.first.select(CHART)),
        ]
        for one, then in pairs:
            for a, b in ((one, then), (then, one)):
                other |= set(a.join(b, on=a.columns, how="anti", nulls_equal=True)["characteristic"])
        lives = lives_of(charts, early[charts.reading], found.lived) if found.lived is not None else state.lives[:0]
        walked = _names(self.held, self.walked)
        then = state.lives.filter(pl.lit(pl.Series(~_among(state.lives.select(STREAM), walked))) | pl.col("against"))
        for a, b in ((lives, then), (then, lives)):
            other |= set(a.join(b, on=a.columns, how="anti")["characteristic"])
        gone = frozenset(other) & self.pools
        own_moved, pooled_moved = (
            rows.filter(pl.Series(~_same_by(state.law, now, rows)))
            for rows in (state.charts, state.pooled.with_columns(against=pl.lit(False)))
        )
        streams = own_moved.filter(pl.lit(pl.Series(_among(own_moved.select(STREAM), walked))) & ~pl.col("against"))
        anew = set(pooled_moved.select(CHART).iter_rows()) - set(self.anew.iter_rows())
        return Whole(
            frozenset(streams.select(STREAM).iter_rows()),
            frozenset(one for one in anew if one[1] in self.pools - gone),
            gone,
        )

    def opened(self, found: Pass) -> Whole:
        """What a signal has opened on that goes on."""
        charts, lived = found.charts, found.lived
        if charts is None or lived is None:
            return Whole()
        return opened_on(charts, self.goes_on(charts), lived)

    def told(self, found: Pass, thin: Thinned, early: Flags, state: Settled) -> GoneOn:
        """The pass, and what stays of what was kept."""
        charts = found.charts
        assert charts is not None  # it went on
        walked = np.append(self.walked, False)[self.here.number]

        def stays(rows: pl.DataFrame) -> pl.DataFrame:
            stream = rows["stream"].to_numpy()
            own = walked[np.maximum(stream, 0)] & (stream >= 0)
            pooled = (
                (stream < 0) & rows.select(self.kin).to_series().to_numpy() & ~_among(rows.select(CHART), self.anew)
            )
            return rows.filter(pl.Series(own | pooled))

        overs = state.pooled["over"].gather(self.points["chart"])
        left = self.points.select("row", "anew", over=overs).filter(~pl.col("anew"))
        return GoneOn(
            found,
            thin,
            early,
            with_rows(self.held, stays(state.found), self.here.number),
            stays(state.account),
            self.goes_on(charts),
            {str(over): part["row"].to_numpy() for (over,), part in left.group_by("over", maintain_order=True)},
        )


def _among(rows: pl.DataFrame, some: pl.DataFrame) -> Flags:
    """Which rows are among some, by all columns of these."""
    asked = some.unique().with_columns(_among=True)
    found = rows.join(asked, on=some.columns, how="left", maintain_order="left")["_among"]
    return np.asarray(found.fill_null(False).to_numpy())


def _points_of(held: Streams, here: Here, state: Settled, pools: frozenset[str], anew: pl.DataFrame) -> pl.DataFrame:
    """_One.points."""
    kin = state.pooled["characteristic"].is_in(sorted(pools)).to_numpy()
    of = np.repeat(np.arange(len(kin)), state.pooled["n"].to_numpy())
    some = np.flatnonzero(kin[of])
    stream, place, value = (state.points[name].to_numpy()[some] for name in ("stream", "place", "value"))
    return pl.DataFrame(
        {
            "chart": of[some],
            "row": held.starts[here.number[stream]] + place,
            "value": value,
            "anew": _among(state.pooled.select(CHART), anew)[of[some]],
        }
    )


def _names(held: Streams, some: Flags) -> pl.DataFrame:
    """STREAM of some streams (s,)."""
    return held.rows.select(STREAM).filter(pl.Series(some))


def _same_by(then: Law, now: Law, rows: pl.DataFrame) -> Flags:
    """Which charts tell the same by widths of other rates and laws; false where that is not known."""
    low, high = moved_by(then, now, rows)
    inside, outside = rows["inside"].to_numpy(), rows["outside"].to_numpy()
    return np.asarray((inside / low < 1 - NEAR) & (outside / high > 1 + NEAR))


def _law_now(found: Pass, state: Settled, weight: float, reckoned: Reckoned) -> Law | None:
    """What widths up to the moment come from now; None where the weeks are others."""
    charts, allowance, laws = found.charts, found.allowance, found.laws
    if charts is None or allowance is None or laws is None or allowance.first_week != state.head["first_week"][0]:
        return None
    return law(charts, allowance, laws, state.head["weeks"][0], weight, reckoned=reckoned)
