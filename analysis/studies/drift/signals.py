"""Signals: what moved, since when, how much - over every chart that can open.

A chart opens a signal at the first reading after its baseline at which it fires while none is open; later firings
belong to it; it closes at the twentieth reading in a row without a firing, when limits are put on file, or by a person.
"""

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from analysis.methods.allowance import ewma_width, ewma_widths
from analysis.methods.change_point import Step, step
from analysis.methods.openings import openings
from analysis.methods.segments import Flags, Floats, Ints, lengths, segment_ids
from analysis.studies.drift.budget import Budget, budget
from analysis.studies.drift.independence import stretches
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.single_points import Singles, Watched, opened, singles
from analysis.studies.drift.streams import STREAM, WIDTH_DRAWN, Streams, streams
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
from analysis.studies.story.calendar import week_of
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot

ODD = 4.0  # sigmas: a single reading beyond is an odd instrument
MATTER_DAYS = 2  # working days within which signals of one model and characteristic are one matter

FOUND: dict[str, pl.DataType] = {
    "chart": pl.String(),
    **{name: pl.String() for name in STREAM},
    "rule": pl.String(),
    "opened_at": pl.Datetime("us", "UTC"),
    "serial": pl.String(),
    "value": pl.Float64(),
    "last_at": pl.Datetime("us", "UTC"),
    "closed_at": pl.Datetime("us", "UTC"),
    "closed_by": pl.String(),
    "began_at": pl.Datetime("us", "UTC"),
    "began_low": pl.Datetime("us", "UTC"),
    "began_high": pl.Datetime("us", "UTC"),
    "before": pl.Float64(),
    "after": pl.Float64(),
    "size": pl.Float64(),
    "adjusted": pl.String(),
    "stream": pl.Int64(),
    "reading": pl.Int64(),
    "began_reading": pl.Int64(),
    "first_reading": pl.Int64(),
    "last_reading": pl.Int64(),
    "chart_row": pl.Int64(),
    "matter": pl.Int64(),
}


@dataclass(frozen=True)
class Signals:
    streams: Streams
    coarse: Flags  # (s,) the gauge's step exceeds the stream's sigma
    charts: Charts | None
    fired: Fired | None
    budget: Budget | None
    found: pl.DataFrame
    """A row a signal, by opened_at: the columns of FOUND. `reading` is its opening row in streams.readings,
    `began_reading` the likeliest first reading after the change, `first_reading` to `last_reading` the readings it
    was looked for in; `stream` the stream whose readings moved; `matter` numbers the matters.
    """
    single: Singles
    others: pl.DataFrame
    """Signals of the charts `together` and `share`: the columns of FOUND, `stream` -1, `reading` a reading of the
    instrument (share: -1).
    """

    @property
    def open(self) -> pl.DataFrame:
        """Signals not closed as of the snapshot."""
        return self.found.filter(pl.col("closed_at").is_null())


def signals(snapshot: Snapshot) -> Signals | None:
    """All signals of the shop at this version, ever; None where there is no reading."""
    held = snapshot.once(streams)
    if held is None:
        return None
    shop = snapshot.shop
    budgeted = shop.judging.budget is not None
    coarse = coarse_streams(held)
    stretch = _stretch(held, shop) if budgeted else np.ones(len(held.starts))
    own = stream_charts(held, shop, coarse=coarse, stretch=stretch, budgeted=budgeted)
    kinds = [own]
    if len(own.starts):
        young_techs = before_own(held, shop, own)
        kinds += [young_techs] if young_techs is not None else []
    young = short_runs(held, shop)
    kinds += [young] if young is not None else []
    kinds = [kind for kind in kinds if len(kind.starts)]
    single = singles(snapshot, held, coarse)
    charts = joined(kinds) if kinds else None
    allowance = allow(snapshot, held, charts, single.watched())
    others = pl.concat([pl.DataFrame(schema=FOUND), opened(snapshot, single, allowance)], how="diagonal")
    numbers = ("stream", "began_reading", "first_reading", "last_reading", "chart_row", "matter")
    others = others.with_columns(pl.col("adjusted").fill_null(""), pl.col(numbers).fill_null(-1)).sort(
        "opened_at", "stage", "model", "chart"
    )
    if charts is None:
        return Signals(held, coarse, None, None, allowance, pl.DataFrame(schema=FOUND), single, others)
    fired = fire(shop, held, charts, allowance)
    found = _found(snapshot, held, charts, fired)
    return Signals(held, coarse, charts, fired, allowance, found, single, others)


def _stretch(held: Streams, shop: Shop) -> Floats:
    """Factors for readings that are not independent, at about the rate that the budget will allow each reading."""
    weeks = week_numbers(held, shop)
    arl = len(weeks) / max(int(weeks.max() - weeks.min()), 1) / (shop.judging.budget or 1.0)
    return stretches(held, weight=shop.judging.ewma_weight, arl=float(np.clip(arl, 100.0, 1e5)))


def coarse_streams(held: Streams) -> Flags:
    """Streams whose gauge's step exceeds the sigma in force; a stream that never moved on a stepped gauge is coarse
    too.
    """
    step_of = held.rows["step"].fill_null(0.0).to_numpy()
    sigma = held.eras.sigma[held.last_era]
    return np.asarray((step_of > sigma * (1 + 1e-9)) & (held.rows["n"].to_numpy() >= 2))


def week_numbers(held: Streams, shop: Shop) -> Ints:
    """The number of its week for each reading (weeks since 1970, by the shop's first day), shape (n,)."""
    first = held.readings.select(week_of(pl.col("day"), shop).cast(pl.Date).cast(pl.Int32))["day"].to_numpy()
    return np.asarray(first // 7, dtype=np.int64)


def allow(snapshot: Snapshot, held: Streams, charts: Charts | None, single: Watched) -> Budget | None:
    """The shop's budget over all charts that can open; None where the shop asks for classical charts."""
    allowed = snapshot.shop.judging.budget
    if allowed is None:
        return None
    weeks = week_numbers(held, snapshot.shop)
    ids = segment_ids(held.starts, len(held.values))
    # a stream of all techs is watched from its first reading on, by the short-run chart or its own; a tech's own from
    # its first judged reading
    never = int(weeks.max()) + 10_000
    ready = np.full(len(held.starts), never)
    everyone = (held.rows["tech"] == "").to_numpy() & (
        held.rows["n"].to_numpy() >= snapshot.shop.judging.least_readings
    )
    ready[everyone] = weeks[held.starts[everyone]]
    if charts is not None:
        mine = charts.rows["stream"].to_numpy()
        size = lengths(charts.starts, len(charts.reading))
        some = (mine >= 0) & (charts.begin < size)
        first = weeks[charts.reading[charts.starts[some] + charts.begin[some]]]
        np.minimum.at(ready, mine[some], first)
    ids, weeks, ready = (
        np.concatenate(pair) for pair in ((ids, single.chart + len(ready)), (weeks, single.week), (ready, single.ready))
    )
    relimited = snapshot.table("limits_on_file", "at").select(
        week_of(pl.col("at").dt.date(), snapshot.shop).cast(pl.Date).cast(pl.Int32) // 7
    )
    return budget(allowed, ids, weeks, ready, relimited=relimited["at"].to_numpy().astype(np.int64))


def fire(shop: Shop, held: Streams, charts: Charts, allowance: Budget | None) -> Fired:
    """Where each chart fires, under the budget or by the shop's width and rules."""
    if allowance is None:
        width = shop.judging.width or WIDTH_DRAWN
        return fire_individuals(charts, width=width, rules=shop.judging.rules)
    weight = shop.judging.ewma_weight
    return fire_average(
        charts,
        weight=weight,
        width=widths(charts, allowance.at(week_numbers(held, shop)[charts.reading]), allowance, weight),
    )


def widths(charts: Charts, at: Ints, allowance: Budget, weight: float) -> Floats:
    """Width of the average's limits at each reading (n,): the budget's rate of its week, allowing for the chart's
    baseline.
    """
    size = lengths(charts.starts, len(charts.reading))
    baselines, which = np.unique(charts.baseline, return_inverse=True)
    rates, of_week = np.unique(allowance.rates, return_inverse=True)
    known = baselines < 2
    table = np.empty((len(rates), len(baselines)))
    for row, rate in enumerate(rates):  # a handful: the rate moves only when the volume does
        arl = 1.0 / float(rate)
        if known.any():
            table[row, known] = ewma_width(arl, weight=weight, baseline=None)
        if not known.all():
            table[row, ~known] = ewma_widths(arl, baselines[~known], weight=weight)
    return np.asarray(table[of_week[at], np.repeat(which, size)])


def _found(snapshot: Snapshot, held: Streams, charts: Charts, fired: Fired) -> pl.DataFrame:
    closings = _closed_by_people(snapshot, held, charts)
    opened = openings(fired.fired, charts.starts, breaks=np.array([at for at, _, _ in closings], dtype=np.int64))
    if len(opened.opened) == 0:
        return pl.DataFrame(schema=FOUND)
    reading, last = charts.reading[opened.opened], charts.reading[opened.last]
    taken = held.readings["taken_at"]
    ids = segment_ids(held.starts, len(held.values))
    rows = charts.rows[opened.segment]
    stream = np.where(rows["stream"].to_numpy() >= 0, rows["stream"].to_numpy(), ids[reading])
    silence = taken.gather(pl.Series(np.where(opened.closed >= 0, charts.reading[opened.closed], -1)).replace(-1, None))
    table = pl.DataFrame(
        {
            "chart": rows["chart"],
            **{name: rows[name] for name in STREAM},
            "rule": fired.rule[opened.opened],
            "opened_at": taken.gather(reading),
            "serial": held.readings["serial"].gather(reading),
            "value": held.values[reading],
            "last_at": taken.gather(last),
            "silence": silence,
            "ends_at": charts.ends_at.gather(opened.segment),
            "adjusted": charts.adjusted.gather(opened.segment),
            "stream": stream,
            "reading": reading,
            "chart_row": opened.segment,
            "opened": opened.opened,
        }
    )
    table = table.with_columns(
        pl.when(pl.col("model") == "").then(held.readings["setup"].gather(reading)).otherwise("model").alias("model")
    )
    table = table.with_columns(_grown_up(snapshot, held, table), _person(table, closings))
    table = table.with_columns(closed_at=pl.min_horizontal("silence", "ends_at", "person"))
    table = table.with_columns(
        closed_by=pl.when(pl.col("closed_at").is_null())
        .then(pl.lit(""))
        .when(pl.col("closed_at") == pl.col("person"))
        .then(pl.lit("a person"))
        .when(pl.col("closed_at") == pl.col("silence"))
        .then(pl.lit("twenty quiet readings"))
        .otherwise(pl.lit("new limits")),
        last_reading=pl.Series(last),
    )
    began = _began(held, charts, table)
    return (
        pl.concat([table, began], how="horizontal")
        .with_columns(_matters(table))
        .select(FOUND.keys())
        .sort("opened_at", *STREAM, "chart")
    )


def _grown_up(snapshot: Snapshot, held: Streams, table: pl.DataFrame) -> pl.Expr:
    """Where other limits took over; a signal of the short-run chart ends when its stream has a baseline of its own."""
    stream = table["stream"].to_numpy()
    last = held.starts[stream] + snapshot.shop.judging.baseline_readings - 1
    grown = (table["chart"] == SHORT_RUN).to_numpy() & (
        held.rows["n"].to_numpy()[stream] >= snapshot.shop.judging.baseline_readings
    )
    own = held.readings["taken_at"].gather(pl.Series(np.where(grown, last, -1)).replace(-1, None))
    return pl.min_horizontal(pl.col("ends_at"), pl.lit(own)).alias("ends_at")


def _closed_by_people(snapshot: Snapshot, held: Streams, charts: Charts) -> list[tuple[int, int, object]]:
    """(first reading on the chart after it was closed, the chart, when) for each signal that a person closed and nobody
    reopened.
    """
    book = snapshot.lines("close", "reopen")
    if book.is_empty():
        return []
    latest = (
        book.sort("sequence").unique([*STREAM, "chart", "opened_at"], keep="last").filter(pl.col("kind") == "close")
    )
    numbered = charts.rows.with_row_index("row")
    taken = held.readings["taken_at"]
    ends = np.append(charts.starts[1:], len(charts.reading))
    found = []
    for entry in latest.sort("sequence").iter_rows(named=True):
        when = (
            entry["at"] if entry["at"] >= entry["opened_at"] else snapshot.as_of
        )  # a clock behind the readings: they are all before it
        same = numbered.filter(pl.all_horizontal([pl.col(name) == entry[name] for name in (*STREAM, "chart")]))
        if entry["chart"] == SHORT_RUN:  # its signals wear the model of the reading that opened them
            same = numbered.filter(
                pl.all_horizontal(
                    [pl.col(name) == entry[name] for name in ("characteristic", "position", "stage", "chart")]
                )
            )
        for row in same["row"]:
            times = taken.gather(charts.reading[charts.starts[row] : ends[row]])
            if len(times) and times[0] <= entry["opened_at"]:
                found.append((int(charts.starts[row] + times.search_sorted(when, side="right")), int(row), when))
    return found


def _person(table: pl.DataFrame, closings: list[tuple[int, int, object]]) -> pl.Series:
    """When a person closed each signal: the first closing of its chart after it opened and before the next one did."""
    person: list[object] = [None] * len(table)
    chart, opened = table["chart_row"].to_numpy(), table["opened"].to_numpy()
    for first, row, when in closings:
        before = np.flatnonzero((chart == row) & (opened < first))
        if len(before):
            person[int(before[-1])] = when
    return pl.Series("person", person, dtype=pl.Datetime("us", "UTC"))


def _began(held: Streams, charts: Charts, table: pl.DataFrame) -> pl.DataFrame:
    """When each change began: over the readings since the baseline began or the chart's last signal closed, to the last
    firing or to now.
    """
    plotted, _, worked = deviations(held)
    scale = np.where(held.per_reading(worked), plotted, held.values)
    chart, stream = table["chart_row"].to_numpy(), table["stream"].to_numpy()
    ends = np.append(held.starts[1:], len(held.values))
    pooled = charts.rows["stream"].to_numpy()[chart] < 0
    low = np.where(pooled, held.starts[stream], charts.window[chart])
    last = np.where(pooled, table["reading"].to_numpy(), table["last_reading"].to_numpy())
    high = np.where(table["closed_at"].is_null().to_numpy(), ends[stream] - 1, last)
    # after the chart's last signal closed
    taken = held.readings["taken_at"]
    follows = np.append(False, chart[1:] == chart[:-1]) & ~pooled
    for k in np.flatnonzero(follows):  # a loop over signals, not over readings
        closed = table["closed_at"][int(k) - 1]
        if closed is not None:
            inside = taken.slice(int(low[k]), int(high[k] - low[k] + 1))
            low[k] = min(low[k] + inside.search_sorted(closed, side="right"), table["reading"][int(k)] - 1)
    low, high = np.minimum(low, table["reading"].to_numpy()), np.maximum(high, table["reading"].to_numpy())
    size = high - low + 1
    begins = np.cumsum(size) - size
    at = np.repeat(low - begins, size) + np.arange(size.sum())
    sigma = np.where(pooled, held.own.sigma[stream], charts.sigma[chart])
    last_start = begins + (table["reading"].to_numpy() - low)
    result = step(scale[at], begins, sigma=sigma, end=np.maximum(last_start, begins + 1))
    result = _from_the_first(
        result, last_start == begins, begins, scale[at], np.where(pooled, np.nan, charts.centre[chart])
    )
    usable = result.at >= 0

    def when(places: Ints) -> pl.Series:
        rows = pl.Series(np.where(usable, at[np.maximum(places, 0)], -1)).replace(-1, None)
        return taken.gather(rows)

    def number(values: Floats) -> pl.Series:
        return pl.select(pl.when(pl.Series(usable)).then(pl.Series(values).fill_nan(None)).otherwise(None)).to_series()

    return pl.DataFrame(
        {
            "began_at": when(result.at),
            "began_low": when(result.low),
            "began_high": when(result.high),
            "before": number(result.mean_before),
            "after": number(result.mean_after),
            "size": number(result.size),
            "began_reading": at[np.maximum(result.at, 0)],
            "first_reading": low,
        }
    )


def _from_the_first(found: Step, alone: Flags, begins: Ints, values: Floats, centre: Floats) -> Step:
    """A chart that fired on the first reading of what is looked at (`alone`) began there: off its centre throughout.

    A centre of NaN is not known: neither the mean before nor the size is told.
    """
    if not alone.any():
        return found
    after = np.add.reduceat(values, begins) / np.diff(np.append(begins, len(values)))
    return replace(
        found,
        at=np.where(alone, begins, found.at),
        low=np.where(alone, begins, found.low),
        high=np.where(alone, begins, found.high),
        mean_before=np.where(alone, centre, found.mean_before),
        mean_after=np.where(alone, after, found.mean_after),
        size=np.where(alone, after - centre, found.size),
    )


def _matters(table: pl.DataFrame) -> pl.Series:
    """Numbers signals of one model and characteristic that open within two working days of each other alike."""
    day = table.select(pl.col("opened_at").dt.date().cast(pl.Int32))["opened_at"].to_numpy().astype("datetime64[D]")
    key = table.select(pl.struct("model", "characteristic").rank("dense").alias("key"))["key"].to_numpy()
    order = np.lexsort((day, key))
    gap = np.busday_count(day[order][:-1], day[order][1:]) if len(order) > 1 else np.zeros(0)
    fresh = np.append(True, (key[order][1:] != key[order][:-1]) | (gap > MATTER_DAYS))
    matter = np.empty(len(order), dtype=np.int64)
    matter[order] = np.cumsum(fresh) - 1
    return pl.Series("matter", matter)


def signal_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`signals` of the figures: a row a signal."""
    from analysis.studies.drift.causes import moves_with  # causes look at the signals of this module

    names = [
        "characteristic",
        "position",
        "model",
        "stage",
        "tech",
        "chart",
        "rule",
        "opened_at",
        "serial",
        "value",
        "closed_at",
        "began_at",
        "began_low",
        "began_high",
        "size",
    ]
    held = snapshot.once(signals)
    if held is None:
        return pl.DataFrame(
            schema={name: FOUND[name] for name in names} | {"moves_with": pl.String(), "moves_with_value": pl.String()}
        )
    own = pl.concat([held.found.select(names), snapshot.once(moves_with)], how="horizontal")
    others = held.others.select(names).with_columns(moves_with=pl.lit(""), moves_with_value=pl.lit(""))
    return pl.concat([own, others]).sort("opened_at", *STREAM, "chart")


__all__ = ["AVERAGE", "FOUND", "INDIVIDUALS", "SHORT_RUN", "Signals", "coarse_streams", "signal_rows", "signals"]
