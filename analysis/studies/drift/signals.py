"""Signals: what moved, since when, how much - over every chart that can open.

A chart opens a signal at the first reading after its baseline at which it fires while none is open; later firings
belong to it. It closes when the readings say that the stream is back (see `methods.signal_life`), when limits are put
on file, or by a person.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from analysis.methods.autocorrelation import sigma_factor
from analysis.methods.segments import Flags, Floats, Ints, lengths
from analysis.methods.signal_life import Lives
from analysis.studies.drift.apart import UNJUDGED, judged_apart
from analysis.studies.drift.budget import Budget, so_far
from analysis.studies.drift.independence import correlations, stretches
from analysis.studies.drift.opened import FOUND, OPENINGS, cuts, signals_of
from analysis.studies.drift.pooled import Pooled, pooled, pools
from analysis.studies.drift.reckoned import Reckoned
from analysis.studies.drift.share_signals import share_signals
from analysis.studies.drift.shares import Shares, shares
from analysis.studies.drift.streams import WIDTH_DRAWN, Streams, streams
from analysis.studies.drift.together import Pattern, patterns
from analysis.studies.drift.watching import (
    AVERAGE,
    INDIVIDUALS,
    SHORT_RUN,
    Charts,
    Fired,
    before_own,
    fire_average,
    fire_individuals,
    joined,
    short_runs,
    stream_charts,
)
from analysis.studies.drift.widths import Laws, allow, laws_of, residuals, week_numbers, widths
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot

ODD = 4.0  # sigmas: a single reading beyond is an odd instrument


@dataclass(frozen=True)
class Signals:
    """Every stream, its charts, where they fired, and the signals that came of it."""

    streams: Streams
    coarse: Flags  # (s,) the gauge's step exceeds the stream's sigma
    charts: Charts | None
    fired: Fired | None
    budget: Budget | None
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
    pooled: Pooled | None
    """The charts that pool over models, and the steady points that their limits come from."""
    weekly: Shares | None
    """The weekly shares that were judged."""
    patterns: list[Pattern]
    """T2 of single instruments: marks that open nothing."""
    unjudged: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=UNJUDGED))
    """Streams that could not be judged, which are in none of the others: UNJUDGED."""

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
    judged, unjudged = judged_apart(snapshot, held, lambda some: _judged(snapshot, some))
    Reckoned(snapshot).write()
    return replace(judged, unjudged=unjudged)


def _judged(snapshot: Snapshot, held: Streams) -> Signals:
    """Signals of some streams, in one pass."""
    shop = snapshot.shop
    coarse = coarse_streams(held)
    weekly = shares(snapshot)
    watched = _watched(snapshot, held, coarse, weekly)  # what it takes to know the charts is let go before they fire
    charts, allowance = watched.charts, watched.allowance
    others = share_signals(snapshot, weekly, allowance)
    account = others.select(OPENINGS)
    fired, found = None, pl.DataFrame(schema=FOUND)
    if charts is not None:
        closings = cuts(snapshot, held, charts)
        fired, lived = watched.fired or fire(
            snapshot, held, charts, allowance, laws=watched.laws, cuts=_stops(closings)
        )
        found, opened = signals_of(snapshot, held, charts, fired, lived, closings)
        account = pl.concat([account, opened])
        of_none = pl.col("stream") < 0
        others = pl.concat([found.filter(of_none), others])
        found = found.filter(~of_none)
    numbers = ("stream", "reading", "began_reading", "first_reading", "last_reading", "chart_row")
    texts = [name for name, dtype in FOUND.items() if dtype == pl.String()]
    others = others.with_columns(pl.col(texts).fill_null(""), pl.col(numbers).fill_null(-1))
    others = others.sort("opened_at", "stage", "model", "chart")
    return Signals(
        held,
        coarse,
        charts,
        fired,
        allowance,
        found,
        others,
        account.sort("opened_at"),
        watched.laws,
        watched.over,
        weekly,
        patterns(held, shop, coarse),
    )


@dataclass(frozen=True)
class _Watched:
    """The charts that watch some streams, and what their limits come from."""

    charts: Charts | None
    over: Pooled | None
    allowance: Budget | None
    laws: Laws | None
    fired: tuple[Fired, Lives] | None = None  # where they fired, if that had to be known to make them


def _watched(snapshot: Snapshot, held: Streams, coarse: Flags, weekly: Shares | None) -> _Watched:
    shop = snapshot.shop
    budgeted = shop.judging.budget is not None
    weight, arl = shop.judging.ewma_weight, _arl(held, shop) if budgeted else None
    # factors for readings that are not independent, at about the rate that the budget will allow each reading
    stretch = np.ones(len(held.starts)) if arl is None else stretches(held, weight=weight, arl=arl)
    kinds = _kinds(held, shop, coarse, stretch, arl)
    made = pools(held, coarse=coarse, baseline_readings=shop.judging.baseline_readings) if budgeted else None
    over = pooled(made, weight=weight, arl=arl) if made is not None and arl is not None else None
    charts = joined([*kinds, *([over.charts] if over is not None else [])]) if kinds else None
    allowance = allow(snapshot, held, charts, weekly, over)
    laws = None
    if charts is not None and allowance is not None:
        beyond = _beyond_spread(held, charts, stretch)
        steady = residuals(charts, week_numbers(held, shop), over, beyond)
        base = shop.judging.baseline_readings
        laws = laws_of(steady, allowance, weight, baseline=base, reckoned=Reckoned(snapshot))
    if charts is None or made is None or over is None or arl is None:
        return _Watched(charts, over, allowance, laws)
    charts = None
    own = joined(kinds)
    kinds.clear()
    first = fire(snapshot, held, own, allowance, laws=laws, cuts=_stops(cuts(snapshot, held, own)))
    over = pooled(
        made, weight=weight, arl=arl, told=_told(held, own, first[1])
    )  # what its own signal tells is told once
    made = None
    if over is None:
        return _Watched(own, over, allowance, laws, first)
    second = fire(snapshot, held, over.charts, allowance, laws=laws, cuts=_stops(cuts(snapshot, held, over.charts)))
    both, n = joined([own, over.charts]), len(own.reading)
    shared = replace(over.charts, reading=both.reading[n:], plotted=both.plotted[n:])  # what is long stands once
    return _Watched(both, replace(over, charts=shared), allowance, laws, _both(own, first, second))


def _both(own: Charts, first: tuple[Fired, Lives], second: tuple[Fired, Lives]) -> tuple[Fired, Lives]:
    """Where charts fired and those behind them in one row, as if they had been judged together."""
    (fired, lived), (more, later) = first, second
    by = {"segment": len(own.starts), **dict.fromkeys(("opened", "began", "back", "closed"), len(own.reading))}
    moved = {
        name: np.concatenate(
            [getattr(lived, name), np.where(getattr(later, name) < 0, -1, getattr(later, name) + shift)]
        )
        for name, shift in by.items()
    }
    fires = {name: np.concatenate([getattr(fired, name), getattr(more, name)]) for name in ("fired", "average", "half")}
    rule = np.broadcast_to(np.array(AVERAGE), fires["fired"].shape)
    return Fired(rule=rule, **fires), replace(lived, side=np.concatenate([lived.side, later.side]), **moved)


def _kinds(held: Streams, shop: Shop, coarse: Flags, stretch: Floats, arl: float | None) -> list[Charts]:
    """Charts of single streams, of techs before they have their own, and of young streams; arl : readings between false
    signals under the shop's budget, None without one.
    """
    own = stream_charts(held, shop, coarse=coarse, stretch=stretch, budgeted=arl is not None)
    kinds = [own]
    if len(own.starts):
        young_techs = before_own(held, shop, own)
        kinds += [young_techs] if young_techs is not None else []
    young = short_runs(held, shop, arl=arl)
    kinds += [young] if young is not None else []
    return [kind for kind in kinds if len(kind.starts)]


def _stops(closings: list[tuple[int, int, object]]) -> Ints:
    return np.array([at for at, _, _ in closings], dtype=np.int64)


def _told(held: Streams, charts: Charts, found: Lives) -> Flags:
    """Readings of the streams of all techs that lie after the opening of a signal of their own stream, or of who set
    them there, and before its closing; shape (n,).
    """
    ends = np.append(charts.starts[1:], len(charts.reading))[found.segment]
    last = np.where(found.closed >= 0, found.closed + 1, ends)
    change = np.zeros(len(charts.reading) + 1, dtype=np.int64)
    np.add.at(change, found.opened + 1, 1)
    np.add.at(change, np.maximum(last, found.opened + 1), -1)
    own = np.repeat(charts.rows["stream"].to_numpy() >= 0, lengths(charts.starts, len(charts.reading)))
    told = np.zeros(len(held.values), dtype=bool)
    told[held.readings.twin[charts.reading[(np.cumsum(change)[:-1] > 0) & own]]] = True
    return told


def _arl(held: Streams, shop: Shop) -> float:
    """About how many readings lie between false signals under the shop's budget: by how much limits widen where
    readings resemble each other hangs on it a little. It moves as the budget does, by the week and by the quarter: else
    each log would move the limits of all these series by a hair.
    """
    return float(np.clip(so_far(week_numbers(held, shop)) / (shop.judging.budget or 1.0), 100.0, 1e5))


def _beyond_spread(held: Streams, charts: Charts, stretch: Floats) -> Floats:
    """What sigma of each chart is widened by beyond the spread of its readings, since neighbours resemble each
    other."""
    stream = charts.rows["stream"].to_numpy()
    phi = correlations(held)
    each = stretch / np.where(stretch > 1, sigma_factor(phi), 1.0)
    return np.where(stream >= 0, each[np.maximum(stream, 0)], 1.0)


def coarse_streams(held: Streams) -> Flags:
    """Streams whose gauge's step exceeds the sigma in force; a stream that never moved on a stepped gauge is coarse
    too.
    """
    step_of = held.rows["step"].fill_null(0.0).to_numpy()
    sigma = held.eras.sigma[held.last_era]
    return np.asarray((step_of > sigma * (1 + 1e-9)) & (held.rows["n"].to_numpy() >= 2))


def fire(
    snapshot: Snapshot,
    held: Streams,
    charts: Charts,
    allowance: Budget | None,
    *,
    laws: Laws | None = None,
    cuts: Ints | None = None,
) -> tuple[Fired, Lives]:
    """Where each chart fires, under the budget or by the shop's width and rules, and the signals that come of it.

    laws : of the shop's own readings, by which the widths hold. cuts : readings of the charts before which a person
    closed a signal.
    """
    shop = snapshot.shop
    if allowance is None:
        return fire_individuals(
            charts, width=shop.judging.width or WIDTH_DRAWN, rules=tuple(shop.judging.rules), cuts=cuts
        )
    weight = shop.judging.ewma_weight
    at = allowance.at(week_numbers(held, shop)[charts.reading])
    wide = widths(charts, at, allowance, weight, laws, reckoned=Reckoned(snapshot))
    return fire_average(charts, weight=weight, width=wide, cuts=cuts)


__all__ = ["AVERAGE", "FOUND", "INDIVIDUALS", "SHORT_RUN", "Signals", "coarse_streams", "signals"]
