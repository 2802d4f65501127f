"""How wide the limits of each average are: by the shop's budget of false signals, for the shop's own readings.

B = sum over all charts that can open of readings a week x phi (see `budget`). From phi comes a width that allows for
limits being estimated, by normal theory; where a characteristic has 400 residuals of complete baselines or more, it is
multiplied by what the law of these residuals asks over the normal one (see `methods.own_law`). Residuals are told as
the chart judges: of all techs off the mean or off each setter's, with the setters' unequal spreads in them; of a tech's
own charts, of pooled points and of young streams each by themselves. Such a pool is frozen at a week's start and taken
anew when it has grown by a quarter.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np
import polars as pl

from analysis.methods.allowance import ewma_width, ewma_widths
from analysis.methods.own_law import OwnLaw, own_law
from analysis.methods.segments import Flags, Floats, Ints, Rows, blocks, dense, lengths, segment_ids, spans
from analysis.studies.drift.budget import Budget, Part, over_parts
from analysis.studies.drift.pooled import Pooled
from analysis.studies.drift.readings import Readings
from analysis.studies.drift.reckoned import PLAIN, Reckoned
from analysis.studies.drift.shares import Shares
from analysis.studies.drift.streams import Streams
from analysis.studies.drift.watching import AGAINST_ALL, SHORT_RUN, Charts
from analysis.studies.story.calendar import week_of
from ingest.shopfiles.house_rules import DAYS
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot

RESIDUALS = 400  # of complete baselines from which on they are a law of their own
GROWN = 1.25
ALL, OWN = "all", "own"  # kinds of pools
HEAVY = 1.1  # times the variance of normal readings: up to here a sigma is taken to err as theirs does
FEWEST = 10
THURSDAY = 3  # the weekday on which 1970 began, Monday being 0


@dataclass(frozen=True)
class Residuals:
    """What steady readings gave, pool after pool: in the sigma of their own baseline, the share of dependence out."""

    pool: Ints  # (k,)
    week: Ints  # (k,) from whose start on each counts
    value: Floats  # (k,) in standard deviations of its own baseline
    ratio: Floats  # (k,) log of that standard deviation over the sigma that the limits are drawn in
    names: list[str]  # of the pools


@dataclass(frozen=True)
class Laws:
    """What the law of each pool asks over the normal one."""

    names: list[str]
    factors: Floats  # (pools, weeks) on the width; exactly 1: fewer than 400 residuals, normal theory

    def own(self, charts: Charts) -> Flags:
        """Which charts go by their own readings as of the last week, shape (c,); the others by normal theory."""
        last = dict(zip(self.names, self.factors[:, -1] != 1.0, strict=True))
        return np.array([bool(last.get(name, False)) for name in pools(charts)], dtype=np.bool_)


def week_numbers(held: Streams, shop: Shop) -> Rows:
    """The number of its week for each reading (weeks since 1970, by the shop's first day), shape (n,)."""
    return _week_numbers(held.readings, DAYS.index(shop.shop.week_starts))


@lru_cache(maxsize=2)  # asked for many times of the same readings
def _week_numbers(readings: Readings, first: int) -> Rows:
    day = readings["day"].to_physical().to_numpy()
    low = int(day.min(initial=0))
    days = np.arange(low, int(day.max(initial=0)) + 1)
    return np.asarray(((days - (days + THURSDAY - first) % 7) // 7).astype(np.int32)[day - low])


@dataclass(frozen=True)
class LeftOut:
    """Of streams that hold some of their readings: all there are, for the budget."""

    streams: Part  # readings a stream and week
    points: Callable[[Charts, Ints], tuple[Flags, Part]]
    """Of pooled charts (rows of Charts): which of their readings count as they are, and those that were left out."""


def allow(
    snapshot: Snapshot,
    held: Streams,
    charts: Charts | None,
    weekly: Shares | None,
    pooled: Pooled | None = None,
    left_out: LeftOut | None = None,
) -> Budget | None:
    """The shop's budget over all charts that can open; None where the shop asks for classical charts. left_out : what
    streams do not hold.
    """
    allowed = snapshot.shop.judging.budget
    if allowed is None:
        return None
    weeks = week_numbers(held, snapshot.shop)
    # a stream of all techs is watched from its first reading on, by the short-run chart or its own; a tech's own from
    # its first judged reading
    ready = np.full(len(held.starts), int(weeks.max()) + 10_000)  # never
    everyone = (held.rows["tech"] == "").to_numpy() & (
        held.rows["n"].to_numpy() >= snapshot.shop.judging.least_readings
    )
    ready[everyone] = weeks[held.starts[everyone]]
    every = Part(held.readings.stream, weeks, ready) if left_out is None else replace(left_out.streams, ready=ready)
    parts = [every]
    if charts is not None:
        mine = charts.rows["stream"].to_numpy()
        size = lengths(charts.starts, len(charts.reading))
        some = (mine >= 0) & (charts.begin < size)
        first = weeks[charts.reading[charts.starts[some] + charts.begin[some]]]
        np.minimum.at(ready, mine[some], first)
        over = np.flatnonzero((charts.rows["over"] != "").to_numpy())
        chart = np.repeat(np.arange(len(over)), size[over])
        when: Ints | Rows = weeks[charts.reading[spans(charts.starts[over], charts.starts[over] + size[over])]]
        since: Ints | Rows = weeks[charts.reading[charts.starts[over]]]
        if left_out is not None:
            counted, others = left_out.points(charts, over)
            chart, since = chart[counted], others.ready
            when = when.astype(np.int64)[counted]
            parts.append(others)
        if pooled is not None:  # the instruments of the baselines passed the chart too: its volume is theirs as well
            chart = np.concatenate((chart, segment_ids(pooled.steady_starts, len(pooled.steady))))
            when = np.concatenate((when, weeks[pooled.steady_reading]), dtype=np.int64)
        parts.append(Part(chart, when, since))
    if weekly is not None and len(weekly.weeks):
        stage = segment_ids(weekly.starts, len(weekly.weeks))
        parts.append(Part(stage, weekly.weeks, weekly.weeks[weekly.starts] + 1))
        rows, models = weekly.looked()
        own = dense(stage[rows] * len(weekly.models) + models)
        parts.append(Part(own.code, weekly.weeks[rows], weekly.weeks[rows[own.first]]))
    relimited = snapshot.table("limits_on_file", "at").select(
        week_of(pl.col("at").dt.date(), snapshot.shop).cast(pl.Date).cast(pl.Int32) // 7
    )
    with_readings = [part for part in parts if len(part.week)]
    return over_parts(allowed, with_readings, relimited=relimited["at"].to_numpy().astype(np.int64))


def residuals(charts: Charts, weeks: Ints | Rows, pooled: Pooled | None, factor: Floats) -> Residuals:
    """Residuals of complete baselines of all charts.

    weeks (n,) : of each reading of the streams. factor (c,) : what a chart's sigma is widened by beyond the spread of
    its readings since neighbours resemble each other.
    """
    names = pools(charts)
    told = sorted(set(names))
    number = np.array([told.index(name) for name in names], dtype=np.int64)
    size = lengths(charts.starts, len(charts.reading))
    own = np.flatnonzero((charts.begin > 1) & ~charts.on_file & (charts.begin <= size))
    parts = []
    if len(own):
        at = spans(charts.starts[own], charts.starts[own] + charts.begin[own])
        starts = np.cumsum(charts.begin[own]) - charts.begin[own]
        last = charts.reading[charts.starts[own] + charts.begin[own] - 1]
        sigma = charts.sigma[own] / factor[own]
        parts.append(
            _standardized(
                charts.plotted[at],
                starts,
                sigma,
                number[own],
                np.repeat(weeks[last].astype(np.int64) + 1, charts.begin[own]),
            )
        )
    young = np.flatnonzero((charts.rows["chart"] == SHORT_RUN).to_numpy())
    if len(young):
        at = spans(charts.starts[young], charts.starts[young] + size[young])
        # on the scale of a standard normal already: their own spread is no estimate to be taken out
        parts.append(
            (
                np.repeat(number[young], size[young]),
                weeks[charts.reading[at]].astype(np.int64) + 1,
                charts.plotted[at],
                np.zeros(len(at)),
            )
        )
    if pooled is not None:
        first = len(charts.starts) - len(pooled.charts.starts)
        sigma = pooled.charts.sigma / pooled.beyond
        kinds = number[first:]
        parts.append(
            _standardized(
                pooled.steady, pooled.steady_starts, sigma, kinds, weeks[pooled.steady_complete].astype(np.int64) + 1
            )
        )
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return Residuals(none, none, np.zeros(0), np.zeros(0), told)
    pool, week, value, ratio = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Residuals(pool, week, value, ratio, told)


def pools(charts: Charts) -> list[str]:
    """Whose residuals each chart goes by: what it judges, and of which characteristic. A tech's readings that are held
    against the limits of all techs go by those of all techs.
    """
    kind = (
        pl.when(pl.col("over") != "")
        .then("over")
        .when(pl.col("chart") == SHORT_RUN)
        .then("chart")
        .when((pl.col("tech") == "") | pl.lit(charts.adjusted == AGAINST_ALL))
        .then(pl.lit(ALL))
        .otherwise(pl.lit(OWN))
    )
    return charts.rows.select(pl.format("{} of {}", pl.col("characteristic"), kind).alias("pool"))["pool"].to_list()


def _standardized(
    values: Floats, starts: Ints, sigma: Floats, pool: Ints, week: Ints
) -> tuple[Ints, Ints, Floats, Floats]:
    size = lengths(starts, len(values))
    ids = np.repeat(np.arange(len(size)), size)
    off = values - (np.add.reduceat(values, starts) / size)[ids]
    spread = np.sqrt(np.add.reduceat(off * off, starts) / np.maximum(size - 1, 1))
    moves = (spread > 0)[ids]
    safe = np.where(spread > 0, spread, 1.0)
    value = off / safe[ids] * np.sqrt(size / np.maximum(size - 1, 1))[ids]
    ratio = np.log(safe / sigma)[ids]
    return pool[ids][moves], week[moves], value[moves], ratio[moves]


def widths(
    charts: Charts, at: Ints, allowance: Budget, weight: float, laws: Laws | None = None, *, reckoned: Reckoned = PLAIN
) -> Floats:
    """Width of the average's limits at each reading (n,).

    at (n,) : place in the budget's rates of the week of each reading. By the rate of its week, allowing for the chart's
    baseline, times what the shop's own residuals ask for where there are enough of them.
    """
    size = lengths(charts.starts, len(charts.reading))
    baselines, which = np.unique(charts.baseline, return_inverse=True)
    rates, of_week = np.unique(allowance.rates, return_inverse=True)
    table = width_table(rates, baselines, weight, reckoned)
    known_laws = laws is not None and len(laws.names) > 0
    number = np.array([laws.names.index(name) for name in pools(charts)] if laws and known_laws else [], dtype=np.int64)
    # what readings of all techs say widens limits of a tech that are theirs, but is no leave to draw them closer
    least = (charts.adjusted == AGAINST_ALL).to_numpy().astype(np.float64)
    wide = np.empty(len(charts.reading))
    for some, where in blocks(charts.starts, len(charts.reading)):
        week = at[where]
        wide[where] = table[of_week[week], np.repeat(which[some], size[some])]
        if laws is not None and known_laws:
            law = laws.factors[np.repeat(number[some], size[some]), week]
            wide[where] *= np.maximum(law, np.repeat(least[some], size[some]))
    return wide


def width_table(rates: Floats, baselines: Ints, weight: float, reckoned: Reckoned) -> Floats:
    """Width at each rate of a limit from so many readings (rates, baselines)."""
    known = baselines < 2
    table = np.empty((len(rates), len(baselines)))
    for row, rate in enumerate(rates):  # a handful: the rate moves only when the volume does
        arl = 1.0 / float(rate)
        if known.any():
            table[row, known] = reckoned("width", partial(_known_width, arl, weight), arl, weight)
        if not known.all():
            allowing = partial(ewma_widths, arl, baselines[~known], weight=weight)
            table[row, ~known] = reckoned("widths", allowing, arl, weight, baselines[~known])
    return table


def _known_width(arl: float, weight: float) -> Floats:
    return np.array([ewma_width(arl, weight=weight, baseline=None)])


def laws_of(
    own: Residuals, allowance: Budget, weight: float, *, baseline: int = 100, reckoned: Reckoned = PLAIN
) -> Laws:
    """The law of each pool week by week, as far as it has been frozen. baseline : readings of a stream's."""
    weeks = len(allowance.rates)
    factors = np.ones((len(own.names), weeks))
    order = np.lexsort((own.week, own.pool))
    begins = np.searchsorted(own.pool[order], np.arange(len(own.names) + 1))
    for pool in range(len(own.names)):  # a pool a characteristic and kind of chart, not a stream
        mine = order[begins[pool] : begins[pool + 1]]
        there = np.searchsorted(own.week[mine], allowance.first_week + np.arange(weeks), side="right")
        held, law = 0, None
        for week, count in enumerate(there):
            if count >= max(RESIDUALS, GROWN * held):
                held, law = int(count), _law(own, mine[:count], weight, reckoned)
            if law is not None:
                same = week > 0 and there[week - 1] == count and allowance.rates[week] == allowance.rates[week - 1]
                if same:
                    factors[pool, week] = factors[pool, week - 1]
                    continue
                arl = 1.0 / float(allowance.rates[week])
                factors[pool, week] = law.factor(arl)
                if own.names[pool].endswith((ALL, OWN)):  # whose sigma is that of a stream's baseline
                    factors[pool, week] *= _as_of_fewer(law, arl, weight, baseline, reckoned)
    return Laws(own.names, factors)


def _as_of_fewer(law: OwnLaw, arl: float, weight: float, baseline: int, reckoned: Reckoned) -> float:
    """What a width is multiplied by where a sigma errs more than that of normal readings: as if from fewer of these."""
    if law.unsure <= HEAVY:
        return 1.0
    each = np.array([max(round(baseline / law.unsure), FEWEST), baseline], dtype=np.int64)
    fewer, all_of_them = reckoned("widths", partial(ewma_widths, arl, each, weight=weight), arl, weight, each)
    return max(float(fewer / all_of_them), 1.0)


def _law(own: Residuals, some: Ints, weight: float, reckoned: Reckoned) -> OwnLaw:
    values = own.value[some] * float(np.exp(np.median(own.ratio[some])))

    def work() -> Floats:
        law = own_law(values, weight=weight)
        return np.concatenate((law.log_arl, law.normal, [law.unsure]))

    told = reckoned("law", work, weight, values)
    log_arl, normal = np.split(told[:-1], 2)
    return OwnLaw(len(values), log_arl, normal, float(told[-1]))
