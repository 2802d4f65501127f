"""All charts over some streams in one pass: what watches them, by which limits, where they fired, how it went on."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from analysis.methods.autocorrelation import sigma_factor
from analysis.methods.segments import Flags, Floats, Ints, Rows, lengths
from analysis.methods.signal_life import Lives, Stands
from analysis.studies.drift.budget import Budget, so_far
from analysis.studies.drift.independence import correlations, stretches
from analysis.studies.drift.opened import cuts
from analysis.studies.drift.pool_names import Hangs
from analysis.studies.drift.pooled import Pooled, pooled, pools
from analysis.studies.drift.reckoned import Reckoned
from analysis.studies.drift.shares import Shares
from analysis.studies.drift.streams import WIDTH_DRAWN, Streams
from analysis.studies.drift.watching import (
    AVERAGE,
    Charts,
    Fired,
    before_own,
    fire_average,
    fire_individuals,
    joined,
    short_runs,
    stream_charts,
)
from analysis.studies.drift.widths import Laws, LeftOut, allow, laws_of, residuals, week_numbers, widths
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True)
class Past:
    """What is known of the readings that streams do not hold (`thinned`)."""

    arl: float
    left_out: LeftOut
    names: pl.DataFrame  # pool_names.Hangs.names
    models: pl.DataFrame  # Hangs.models of all readings,
    models_told: pl.DataFrame  # and of those that no other signal tells
    out: Flags  # (n,) readings that make no point: their charts go on behind them
    out_told: Flags  # (n,) the same of those that no other signal tells
    stands: Callable[[Charts], Stands]  # where charts go on
    walked_whole: Callable[[Charts], Charts]  # pooled charts with the points of before, where they are walked whole


@dataclass(frozen=True)
class First:
    """What the pooled charts of all readings, told by other signals or not, are kept by."""

    charts: pl.DataFrame  # the charts' rows
    week: Ints | Rows  # (c,) of the first point of each
    counts: pl.DataFrame  # chart, week, n: points before a moment
    hangs: Hangs


@dataclass(frozen=True)
class Pass:
    """The charts that watch some streams, what their limits come from, and where they fired."""

    held: Streams
    charts: Charts | None
    over: Pooled | None
    allowance: Budget | None
    laws: Laws | None
    arl: float | None  # readings between false signals, about; None: without a budget
    fired: Fired | None
    lived: Lives | None
    closings: list[tuple[int, int, object]]
    first: First | None = None  # where it was asked for


def judged(
    snapshot: Snapshot,
    held: Streams,
    *,
    coarse: Flags,
    weekly: Shares | None,
    past: Past | None = None,
    until: Flags | None = None,
) -> Pass:
    """One pass. past : of streams without some of their readings. until (n,) : readings before a moment, of which it is
    told what later ones hang on, with the charts' averages (`Fired.stood`) behind them.
    """
    shop = snapshot.shop
    budgeted = shop.judging.budget is not None
    weight, reckoned = shop.judging.ewma_weight, Reckoned(snapshot)
    arl = (past.arl if past is not None else arl_of(held, shop)) if budgeted else None
    # factors for readings that are not independent, at about the rate that the budget will allow each reading
    stretch = np.ones(len(held.starts)) if arl is None else stretches(held, weight=weight, arl=arl, reckoned=reckoned)
    kinds = _kinds(held, shop, coarse, stretch, arl, reckoned=reckoned)
    base = shop.judging.baseline_readings
    names = past.names if past is not None else None
    made = pools(held, coarse=coarse, baseline_readings=base, before=names) if budgeted else None
    over, first = None, None
    if made is not None and arl is not None:
        out, models = (past.out, past.models) if past is not None else (None, None)
        over = pooled(made, weight=weight, arl=arl, told=out, until=until, before=models, reckoned=reckoned)
        first = _first(held, shop, over, until) if over is not None and until is not None else None
    charts = joined([*kinds, *([over.charts] if over is not None else [])]) if kinds else None
    left_out = past.left_out if past is not None else None
    allowance = allow(snapshot, held, charts, weekly, over, left_out)
    laws = None
    if charts is not None and allowance is not None:
        beyond = _beyond_spread(held, charts, stretch)
        steady = residuals(charts, week_numbers(held, shop), over, beyond)
        laws = laws_of(steady, allowance, weight, baseline=base, reckoned=reckoned)

    def walked(some: Charts) -> tuple[Fired, Lives, list[tuple[int, int, object]]]:
        closings = cuts(snapshot, held, some)
        on = past.stands(some) if past is not None else None
        early = None if until is None else until[some.reading]
        return *fire(
            snapshot,
            held,
            some,
            allowance,
            laws=laws,
            cuts=_stops(closings),
            stands=on,
            asked=None if early is None else last_before(some, early),
        ), closings

    if charts is None or made is None or over is None or arl is None:
        if charts is None:
            return Pass(held, None, over, allowance, laws, arl, None, None, [], first)
        return Pass(held, charts, over, allowance, laws, arl, *walked(charts), first)
    charts = None
    own = joined(kinds)
    kinds.clear()
    fired, lived, closings = walked(own)
    told = _told(held, own, lived)  # what its own signal tells is told once
    models = None
    if past is not None:
        told, models = told | past.out_told, past.models_told
    over = pooled(made, weight=weight, arl=arl, told=told, until=until, before=models, reckoned=reckoned)
    made = None
    if over is None:
        return Pass(held, own, over, allowance, laws, arl, fired, lived, closings, first)
    if past is not None:
        over = replace(over, charts=past.walked_whole(over.charts))
    second = walked(over.charts)
    both = _both(own, (fired, lived), second[:2])
    n, c = len(own.reading), len(own.starts)
    closings = sorted([*closings, *((at + n, row + c, when) for at, row, when in second[2])], key=lambda one: one[0])
    every = joined([own, over.charts])
    shared = replace(over.charts, reading=every.reading[n:], plotted=every.plotted[n:])  # what is long stands once
    return Pass(held, every, replace(over, charts=shared), allowance, laws, arl, *both, closings, first)


def last_before(charts: Charts, early: Flags) -> Ints:
    """The last reading of each chart before a moment, its first where there is none (c,); early : of its readings."""
    return np.asarray(charts.starts + np.maximum(np.add.reduceat(early, charts.starts, dtype=np.int64) - 1, 0))


def _first(held: Streams, shop: Shop, over: Pooled, until: Flags) -> First:
    weeks, charts = week_numbers(held, shop)[over.charts.reading], over.charts
    chart = np.repeat(np.arange(len(charts.starts)), lengths(charts.starts, len(charts.reading)))
    some = until[charts.reading]
    counts = pl.DataFrame({"chart": chart[some], "week": weeks[some]}).group_by("chart", "week").len("n")
    hangs = over.hangs
    assert hangs is not None  # asked for
    return First(charts.rows, weeks[charts.starts], counts.sort("chart", "week"), hangs)


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
    fires = {
        name: np.concatenate([getattr(fired, name), getattr(more, name)])
        for name in ("fired", "average", "half", "stood")
    }
    rule = np.broadcast_to(np.array(AVERAGE), fires["fired"].shape)
    return Fired(rule=rule, **fires), replace(lived, side=np.concatenate([lived.side, later.side]), **moved)


def _kinds(
    held: Streams, shop: Shop, coarse: Flags, stretch: Floats, arl: float | None, *, reckoned: Reckoned
) -> list[Charts]:
    """Charts of single streams, of techs before they have their own, and of young streams; arl : readings between false
    signals under the shop's budget, None without one.
    """
    own = stream_charts(held, shop, coarse=coarse, stretch=stretch, budgeted=arl is not None)
    kinds = [own]
    if len(own.starts):
        young_techs = before_own(held, shop, own)
        kinds += [young_techs] if young_techs is not None else []
    young = short_runs(held, shop, arl=arl, reckoned=reckoned)
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


def arl_of(held: Streams, shop: Shop) -> float:
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


def fire(
    snapshot: Snapshot,
    held: Streams,
    charts: Charts,
    allowance: Budget | None,
    *,
    laws: Laws | None = None,
    cuts: Ints | None = None,
    stands: Stands | None = None,
    asked: Ints | None = None,
) -> tuple[Fired, Lives]:
    """Where each chart fires, under the budget or by the shop's width and rules, and the signals that come of it.

    laws : of the shop's own readings, by which the widths hold. cuts : readings of the charts before which a person
    closed a signal. stands, asked : of `watching.fire_average`.
    """
    shop = snapshot.shop
    if allowance is None:
        return fire_individuals(
            charts, width=shop.judging.width or WIDTH_DRAWN, rules=tuple(shop.judging.rules), cuts=cuts
        )
    weight = shop.judging.ewma_weight
    at = allowance.at(week_numbers(held, shop)[charts.reading])
    wide = widths(charts, at, allowance, weight, laws, reckoned=Reckoned(snapshot))
    return fire_average(charts, weight=weight, width=wide, cuts=cuts, stands=stands, asked=asked)
