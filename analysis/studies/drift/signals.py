"""Signals: what moved, since when, how much - over every chart that can open.

A chart opens a signal at the first reading after its baseline at which it fires while none is open; later firings
belong to it. It closes when the readings say that the stream is back (see `methods.signal_life`), when limits are put
on file, or by a person.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cache, cached_property
from typing import TypeAlias

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.drift import looked
from analysis.studies.drift.apart import UNJUDGED, judged_apart
from analysis.studies.drift.budget import Budget
from analysis.studies.drift.going_on import GoneOn, going_on
from analysis.studies.drift.judged import Pass, judged
from analysis.studies.drift.opened import FOUND, OPENINGS, ORDER, signals_of
from analysis.studies.drift.pooled import Pooled
from analysis.studies.drift.reckoned import Reckoned
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.settled import PLACED, keep, moment_of, serves, settle
from analysis.studies.drift.share_signals import share_signals
from analysis.studies.drift.shares import Shares, shares
from analysis.studies.drift.standing import Whole, before, opened_on
from analysis.studies.drift.streams import Streams, streams
from analysis.studies.drift.together import Pattern, patterns
from analysis.studies.drift.watching import AVERAGE, INDIVIDUALS, POOLED, SHORT_RUN, Charts, Fired
from analysis.studies.drift.widths import Laws, week_numbers
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot

ODD = 4.0  # sigmas: a single reading beyond is an odd instrument
YEAR = timedelta(weeks=52)  # over which it is told how often charts looked
Drawn: TypeAlias = tuple[Charts | None, Fired | None, Pooled | None]


@dataclass(frozen=True)
class Signals:
    """Every stream, its charts, where they fired, and the signals that came of it."""

    shop: Shop
    streams: Streams
    coarse: Flags  # (s,) the gauge's step exceeds the stream's sigma
    sigma: Floats  # (e,) of what is averaged, of each era
    drawn: Callable[[], Drawn] = field(repr=False)  # all charts with all that they hold, and where they fired
    budget: Budget | None
    looked: pl.DataFrame  # readings judged in the last year, by kind of chart and week: looked.LOOKED
    ends: int  # readings on all charts
    found: pl.DataFrame
    """A row a signal, by opened_at: the columns of FOUND. `reading` is its opening row in streams.readings,
    `began_reading` the likeliest first reading after the change, `first_reading` to `last_reading` the readings it
    was looked for in; `stream` the stream whose readings moved.
    """
    others: pl.DataFrame
    """Signals of the charts that hold no one stream, `pooled` and `share`: the columns of FOUND, `stream` -1, `reading`
    and `began_reading` readings of one instrument each (share: -1), value and sizes of pooled ones in sigmas.
    """
    openings: pl.DataFrame
    """A row an opening of any chart, as the budget counts them: OPENINGS, by opened_at."""
    laws: Laws | None
    """What the shop's own readings ask of the widths over normal ones; None without a budget."""
    weekly: Shares | None
    """The weekly shares that were judged."""
    unjudged: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=UNJUDGED))
    """Streams that could not be judged, which are in none of the others: UNJUDGED."""

    @cached_property
    def patterns(self) -> list[Pattern]:
        """T2 of single instruments: marks that open nothing; worked out where somebody asks."""
        return patterns(self.streams, self.shop, self.coarse)

    @property
    def charts(self) -> Charts | None:
        """All charts with all that they plot; worked out where somebody asks."""
        return self.drawn()[0]

    @property
    def fired(self) -> Fired | None:
        """Where they fired; worked out where somebody asks."""
        return self.drawn()[1]

    @property
    def pooled(self) -> Pooled | None:
        """The charts that pool over models, and the steady points that their limits come from."""
        return self.drawn()[2]

    @property
    def open(self) -> pl.DataFrame:
        """Signals not closed as of the snapshot."""
        return self.found.filter(pl.col("closed_at").is_null())


def signals(snapshot: Snapshot) -> Signals | None:
    """All signals of the shop at this version, ever; None where there is no reading. A stream that breaks the pass is
    set apart, and stops no other.
    """
    held = snapshot.once(streams)
    if held is None:
        return None
    found, unjudged = judged_apart(snapshot, held, lambda some: _judged(snapshot, some, all_of=some is held))
    Reckoned(snapshot).write()
    return replace(found, unjudged=unjudged)


def _judged(snapshot: Snapshot, held: Streams, *, all_of: bool) -> Signals:
    """Signals of some streams, in one pass. all_of : they are all streams of the shop."""
    coarse = coarse_streams(held)
    weekly = shares(snapshot)
    on = going_on(snapshot, held, coarse=coarse, weekly=weekly) if all_of else None
    if on is not None:
        told, account = _told(snapshot, on.found)
        rows = {name: pl.Series(_where(on.thin.at, told[name].to_numpy())) for name in PLACED}
        told = pl.concat([told.drop("chart_row").with_columns(**rows), on.signals.select(list(FOUND))])
        account = pl.concat([account.drop("chart_row"), on.account.select(*OPENINGS, "adjusted")])
        again = cache(lambda: _drawn(_all(snapshot, held, coarse, weekly)))
        late = _looked_on(snapshot, held, on)
        return _signals(snapshot, held, (coarse, weekly), on.found, (told, account), drawn=again, judged_late=late)
    since = moment_of(snapshot.shop, snapshot.as_of)
    early = before(held, since) if all_of and serves(snapshot, held) else None
    found = judged(snapshot, held, coarse=coarse, weekly=weekly, until=early)
    told, account = _told(snapshot, found)
    if early is not None:
        state = settle(snapshot, held, since, found, (told, account))
        if state is not None:
            keep(snapshot, held, state, _opened_lately(held, found, early))
    told, account = told.drop("chart_row"), account.drop("chart_row")
    drawn = _drawn(found)
    late = _looked(snapshot, held, found)
    return _signals(snapshot, held, (coarse, weekly), found, (told, account), drawn=lambda: drawn, judged_late=late)


def _opened_lately(held: Streams, found: Pass, early: Flags) -> Whole:
    """What signals have opened on since a moment, of charts that had readings before it; early (n,)."""
    charts, lived = found.charts, found.lived
    if charts is None or lived is None:
        return Whole()
    lately = replace(lived, segment=lived.segment[~early[charts.reading[lived.opened]]])
    return opened_on(charts, early[charts.reading[charts.starts]], lately)


def _all(snapshot: Snapshot, held: Streams, coarse: Flags, weekly: Shares | None) -> Pass:
    return judged(snapshot, held, coarse=coarse, weekly=weekly)


def _drawn(found: Pass) -> Drawn:
    return found.charts, found.fired, found.over


def _where(at: Ints, rows: Ints) -> Ints:
    """Rows of some streams as rows of all; -1 stays."""
    return np.where(rows >= 0, at[np.maximum(rows, 0)], rows)


def _told(snapshot: Snapshot, found: Pass) -> tuple[pl.DataFrame, pl.DataFrame]:
    """`opened.signals_of` a pass."""
    if found.charts is None or found.fired is None or found.lived is None:
        empty = pl.DataFrame(schema=FOUND | {"chart_row": pl.Int64()})
        return empty, empty.select(*OPENINGS, "adjusted", "chart_row")
    return signals_of(snapshot, found.held, found.charts, found.fired, found.lived, found.closings)


def _signals(
    snapshot: Snapshot,
    held: Streams,
    looked_at: tuple[Flags, Shares | None],
    found: Pass,
    told: tuple[pl.DataFrame, pl.DataFrame],
    *,
    drawn: Callable[[], Drawn],
    judged_late: tuple[pl.DataFrame, int],
) -> Signals:
    """What a pass found, with the weekly shares."""
    (coarse, weekly), (signals, account) = looked_at, told
    others = share_signals(snapshot, weekly, found.allowance)
    account = pl.concat([others.select(*OPENINGS, "adjusted"), account])
    of_none = pl.col("stream") < 0
    others = pl.concat([signals.filter(of_none), others])
    numbers = ("stream", *PLACED)
    texts = [name for name, dtype in FOUND.items() if dtype == pl.String()]
    others = others.with_columns(pl.col(texts).fill_null(""), pl.col(numbers).fill_null(-1))
    return Signals(
        snapshot.shop,
        held,
        coarse,
        deviations(found.held)[1],
        drawn,
        found.allowance,
        *judged_late,
        signals.filter(~of_none).sort(ORDER, maintain_order=True),
        others.sort("opened_at", "stage", "model", "chart", *ORDER, maintain_order=True),
        account.sort(ORDER, maintain_order=True).select(OPENINGS),
        found.laws,
        weekly,
    )


def _late(held: Streams, since: datetime) -> Flags:
    """Readings taken after a moment (n,)."""
    return np.asarray((held.readings.taken_at > since).fill_null(False).to_numpy())


def _looked(snapshot: Snapshot, held: Streams, found: Pass) -> tuple[pl.DataFrame, int]:
    """Signals.looked and ends of a pass over all readings."""
    charts = found.charts
    if charts is None:
        return pl.DataFrame(schema=looked.LOOKED), 0
    late, weeks = _late(held, snapshot.as_of - YEAR), week_numbers(held, snapshot.shop)
    eras, own = looked.own_eras(held, charts), looked.judges_a_stream(charts)
    chart = str(charts.rows["chart"][0])
    parts = [looked.of_streams(held, eras, weeks, late, chart), looked.of_charts(charts, ~own, weeks, late)]
    return looked.summed(parts), len(charts.reading)


def _looked_on(snapshot: Snapshot, held: Streams, on: GoneOn) -> tuple[pl.DataFrame, int]:
    """The same of charts that went on."""
    charts, some = on.found.charts, on.thin.streams
    assert charts is not None  # they went on
    late, weeks = _late(held, snapshot.as_of - YEAR), week_numbers(held, snapshot.shop)
    eras, own = looked.own_eras(some, charts), looked.judges_a_stream(charts)
    pooled = ~own & on.goes_on
    counted = late[on.thin.at]
    new = counted & ~on.early[on.thin.at]
    thin_weeks = weeks[on.thin.at]
    parts = [
        looked.of_streams(held, eras, weeks, late, AVERAGE),
        looked.of_charts(charts, ~own & ~pooled, thin_weeks, counted),
        looked.of_charts(charts, pooled, thin_weeks, new),
        *(looked.of_rows(POOLED, over, weeks[rows[late[rows]]]) for over, rows in on.points.items()),
    ]
    ends = np.append(held.eras.starts[1:], len(held.values)) - held.eras.starts
    size = np.diff(charts.starts, append=len(charts.reading))
    on_pooled = np.add.reduceat(~on.early[on.thin.at][charts.reading], charts.starts, dtype=np.int64)
    total = ends[eras].sum() + size[~own & ~pooled].sum() + on_pooled[pooled].sum()
    total += sum(len(rows) for rows in on.points.values())
    return looked.summed(parts), int(total)


def coarse_streams(held: Streams) -> Flags:
    """Streams whose gauge's step exceeds the sigma in force; a stream that never moved on a stepped gauge is coarse
    too.
    """
    step_of = held.rows["step"].fill_null(0.0).to_numpy()
    sigma = held.eras.sigma[held.last_era]
    return np.asarray((step_of > sigma * (1 + 1e-9)) & (held.rows["n"].to_numpy() >= 2))


__all__ = ["AVERAGE", "FOUND", "INDIVIDUALS", "SHORT_RUN", "Signals", "coarse_streams", "signals"]
