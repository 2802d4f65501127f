"""Which charts watch the shop, what each judges, and where each fires.

A chart is a row of `Charts.rows`; its readings stand end to end in `Charts`. Kinds: `average` (or `individuals` where
the shop asks for classical limits of a `width`) for each stream and each tech's own; `short run`, where the readings of
all young streams of one characteristic, position and stage stand together; `pooled`, over models (see `pooled`);
`share`, the weekly shares of send-backs (see `shares`).
"""

from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from analysis.methods.problems import UnusableData
from analysis.methods.run_rules import run_rules
from analysis.methods.segments import Flags, Floats, Ints, Rows, blocks, firsts, lengths, places, spans
from analysis.methods.self_starting import self_starting
from analysis.methods.signal_life import TIE, Lives, Stands, lives
from analysis.studies.drift.independence import point_stretches
from analysis.studies.drift.reckoned import PLAIN, Reckoned
from analysis.studies.drift.setter_spreads import wider_than_all
from analysis.studies.drift.setters import deviations, follow_air
from analysis.studies.drift.streams import KEY, STREAM, Streams
from ingest.shopfiles.shop import Shop
from ingest.terms import tables

AVERAGE, INDIVIDUALS, SHORT_RUN, POOLED, SHARE = "average", "individuals", "short run", "pooled", "share"
AIR_OUT = "the air taken out"  # of what is plotted
AGAINST_ALL = "held against all techs"
TOLD = pl.DataFrame(
    schema={name: pl.String() for name in ("chart", *STREAM)}
    | {"stream": pl.Int64(), "gauge": pl.String(), "over": pl.String()}
)


@dataclass(frozen=True)
class Charts:
    """Charts of one kind, or several kinds joined: what they plot, on which scale, and what they judge."""

    # a row a chart: chart (its kind), characteristic, position, model, stage, tech, stream (Int64, -1: of no one
    # stream) and, once joined, gauge and over ('' but for pooled charts)
    rows: pl.DataFrame
    starts: Ints  # (c,) where each chart's readings begin
    reading: Ints | Rows  # (n,) row of Streams.readings
    plotted: Floats  # (n,) what is averaged or judged
    centre: Floats  # (c,)
    sigma: Floats  # (c,) with the step's share where the gauge is coarse
    baseline: Ints  # (c,) readings behind centre and sigma; 0: they are known
    begin: Ints  # (c,) place of the first judged reading
    adjusted: (
        pl.Series
    )  # (c,) '' or why this chart's limits differ: 'setters differ', 'coarse', 'not independent', AIR_OUT, AGAINST_ALL,
    # joined by ';'
    ends_at: pl.Series  # (c,) when other limits took over; null: they still hold
    window: Ints  # (c,) row of Streams.readings where the readings since the baseline began start
    on_file: Flags  # (c,) limits on file

    @property
    def judged(self) -> Flags:
        """Which readings can open a signal, shape (n,)."""
        n = len(self.reading)
        return np.asarray(places(self.starts, n) >= np.repeat(self.begin, lengths(self.starts, n)))

    def judges(self, some: Ints) -> Flags:
        """Which of some readings, places in `reading`, can open a signal, shape (k,)."""
        chart = np.searchsorted(self.starts, some, side="right") - 1
        return np.asarray(some >= (self.starts + self.begin)[chart])

    @property
    def z(self) -> Floats:
        """What is plotted, in sigmas off the centre, shape (n,)."""
        size = lengths(self.starts, len(self.reading))
        found = np.empty(len(self.reading))
        for some, where in blocks(self.starts, len(self.reading)):  # chart by chart: of millions nothing stands twice
            centre, sigma = (np.repeat(each[some], size[some]) for each in (self.centre, self.sigma))
            found[where] = (self.plotted[where] - centre) / sigma
        return found


@dataclass(frozen=True)
class Fired:
    """Where each chart fired, and by which rule."""

    fired: Flags  # (n,)
    rule: np.ndarray  # (n,) text: the rule; where none fired it says nothing
    average: Floats  # (n,) running average, on the scale of `plotted`
    half: Floats  # (n,) how far the average may stray; 0 before judging starts
    stood: Floats = field(default_factory=lambda: np.zeros(0))  # (k,) the average in sigmas at readings asked for


def stream_charts(held: Streams, shop: Shop, *, coarse: Flags, stretch: Floats, budgeted: bool) -> Charts:
    """A chart for every era of every stream that has limits to be judged by.

    coarse : (s,) streams whose step exceeds sigma; stretch : (s,) factor on sigma where readings are not independent.
    """
    eras, n = held.eras, len(held.values)
    plotted, sigma, differs = (
        deviations(held) if budgeted else (held.values, eras.sigma.copy(), np.zeros(len(eras.starts), dtype=bool))
    )
    step = held.rows["step"].fill_null(0.0).to_numpy()[eras.stream]
    grainy = coarse[eras.stream]
    sigma = np.where(grainy, np.sqrt(sigma**2 + step**2 / 12), sigma)
    if budgeted:
        sigma = sigma * stretch[eras.stream]
    by_air = follow_air(held) & budgeted
    size = lengths(eras.starts, n)
    judged = (
        (size > eras.judged_from)
        & (sigma > 0)
        & (held.rows["n"].to_numpy()[eras.stream] >= shop.judging.least_readings)
    )
    kept = np.flatnonzero(judged)
    at = np.flatnonzero(np.repeat(judged, size))
    why = [
        ";".join(
            word
            for word, holds in (
                ("setters differ", differs[e]),
                (AIR_OUT, by_air[e]),
                ("coarse", grainy[e]),
                ("not independent", budgeted and stretch[eras.stream[e]] > 1),
            )
            if holds
        )
        for e in kept
    ]
    rows = held.rows.select(STREAM)[eras.stream[kept]].select(
        pl.lit(AVERAGE if budgeted else INDIVIDUALS).alias("chart"), *STREAM, pl.Series("stream", eras.stream[kept])
    )
    return Charts(
        rows=rows,
        starts=_begins(size[kept]),
        reading=at,
        plotted=plotted[at],
        centre=np.where(differs, 0.0, eras.centre)[kept],
        sigma=sigma[kept],
        baseline=eras.baseline[kept],
        begin=eras.judged_from[kept],
        adjusted=pl.Series(why, dtype=pl.String()),
        ends_at=_ends(held)[kept],
        window=eras.window[kept],
        on_file=eras.on_file[kept],
    )


def before_own(held: Streams, shop: Shop, own: Charts) -> Charts | None:
    """Techs with fewer readings than a baseline, held against the limits of all techs; not where the setters differ
    anyway.
    """
    eras = held.eras
    everyone = own.rows.with_row_index("all_chart").filter(
        (pl.col("tech") == "") & ~own.adjusted.str.contains("setters differ")
    )
    if everyone.is_empty():
        return None
    everyone = everyone.unique(KEY, keep="last", maintain_order=True)
    numbered = held.rows.with_row_index("stream").filter(pl.col("tech") != "")
    pairs = numbered.join(everyone.select(*KEY, "all_chart"), on=KEY)
    if pairs.is_empty():
        return None
    stream, chart = pairs["stream"].to_numpy().astype(np.int64), pairs["all_chart"].to_numpy().astype(np.int64)
    first = held.starts[stream]
    era_of = np.searchsorted(eras.starts, first, side="right") - 1
    size = np.minimum(lengths(eras.starts, len(held.values))[era_of], shop.judging.baseline_readings)
    size = np.where(eras.on_file[era_of], 0, size)
    at = spans(first, first + size)
    since = held.readings["taken_at"].gather(
        own.reading[own.starts + np.minimum(own.begin, lengths(own.starts, len(own.reading)) - 1)]
    )[chart]
    owner = np.repeat(np.arange(len(stream)), size)
    late = (held.readings["taken_at"].gather(at) >= since.gather(owner)).to_numpy()
    at, owner = at[late], owner[late]
    some, begins = np.unique(owner, return_index=True)
    if len(some) == 0:
        return None
    chart = chart[some]
    judged = first[some] + shop.judging.baseline_readings
    ripe = held.rows["n"].to_numpy()[stream[some]] > shop.judging.baseline_readings
    grown = held.readings["taken_at"].gather(pl.Series(np.where(ripe, judged, -1)).replace(-1, None))
    kind = str(own.rows["chart"][0])
    wider = np.ones(len(some))
    if kind == AVERAGE:  # a limit put on file is a number a person stands by
        wider = wider_than_all(held, stream[some], baseline_readings=shop.judging.baseline_readings)
        wider[own.on_file[chart]] = 1.0
    rows = held.rows.select(STREAM)[stream[some]].select(
        pl.lit(kind).alias("chart"), *STREAM, pl.Series("stream", stream[some])
    )
    return Charts(
        rows=rows,
        starts=begins.astype(np.int64),
        reading=at,
        plotted=(deviations(held)[0] if kind == AVERAGE else held.values)[at],
        centre=own.centre[chart],
        sigma=own.sigma[chart] * wider,
        baseline=own.baseline[chart],
        begin=np.zeros(len(some), dtype=np.int64),
        adjusted=pl.Series([AGAINST_ALL] * len(some)),
        ends_at=grown,
        window=first[some],
        on_file=own.on_file[chart],
    )


def short_runs(held: Streams, shop: Shop, *, arl: float | None = None, reckoned: Reckoned = PLAIN) -> Charts | None:
    """One chart for all young streams of a characteristic, position and stage: each reading judged against those before
    it in its stream.

    arl : readings between false signals under the shop's budget, by which limits widen where neighbours on the chart
    resemble each other, those of one characteristic as one; None: they do not.
    """
    young, least = shop.judging.baseline_readings, shop.judging.least_readings
    everyone = np.flatnonzero((held.rows["tech"] == "").to_numpy())
    size = lengths(held.starts, len(held.values))
    # the first readings of streams of all techs
    early, begins = firsts(held.starts[everyone], len(held.values), np.minimum(size[everyone], young))
    if len(early) == 0:
        return None
    era = np.searchsorted(held.eras.starts, early, side="right") - 1
    taken = (places(begins, len(early)) >= least) & ~held.eras.on_file[era]
    at = early[taken]
    if len(at) == 0:
        return None
    step = held.rows["step"].fill_null(0.0).to_numpy()[everyone]
    ids = np.repeat(everyone, lengths(begins, len(early)))[taken]
    stands = self_starting(held.values[early], begins, step=step)[taken]
    pooled = (
        tables.plain(held.readings.at(at, "characteristic", "position", "stage", "taken_at", "serial", "line"))
        .with_columns(reading=pl.Series(at), q=pl.Series(stands), first=pl.Series(held.starts[ids]))
        .sort("characteristic", "position", "stage", "taken_at", "serial", "line")
        .with_columns(pool=pl.struct("characteristic", "position", "stage").rle_id())
    )
    starts = np.flatnonzero(np.diff(pooled["pool"].to_numpy().astype(np.int64), prepend=-1))
    reading, q = pooled["reading"].to_numpy(), pooled["q"].to_numpy()
    c = len(starts)
    alike = np.ones(c)
    if arl is not None:
        groups = pooled[starts].select(pl.col("characteristic").rank("dense").cast(pl.Int64) - 1).to_series()
        weight = shop.judging.ewma_weight
        # what is plotted is on the scale of a standard normal: no sigma of its own was taken too small
        _, alike = point_stretches(q, starts, groups.to_numpy(), weight=weight, arl=arl, reckoned=reckoned)
    rows = pooled[starts].select(
        pl.lit(SHORT_RUN).alias("chart"),
        "characteristic",
        "position",
        pl.lit("").alias("model"),
        "stage",
        pl.lit("").alias("tech"),
        pl.lit(-1, dtype=pl.Int64).alias("stream"),
    )
    return Charts(
        rows=rows,
        starts=starts,
        reading=reading,
        plotted=q,
        centre=np.zeros(c),
        sigma=alike,
        baseline=np.zeros(c, dtype=np.int64),
        begin=np.zeros(c, dtype=np.int64),
        adjusted=pl.Series(["not independent" if one > 1 else "" for one in alike], dtype=pl.String()),
        ends_at=pl.Series([None] * c, dtype=pl.Datetime("us", "UTC")),
        window=pooled["first"].to_numpy()[starts],
        on_file=np.zeros(c, dtype=bool),
    )


def joined(kinds: list[Charts]) -> Charts:
    """All charts in one row, chart after chart."""
    if not kinds:
        raise UnusableData(
            "no chart has a reading to judge yet; wanted at least one stream with more readings than its baseline"
        )
    shift = np.cumsum([0, *(len(kind.reading) for kind in kinds[:-1])])
    return Charts(
        rows=pl.concat([TOLD, *(kind.rows for kind in kinds)], how="diagonal_relaxed").with_columns(
            pl.col("gauge", "over").fill_null("")
        ),
        starts=np.concatenate([kind.starts + by for kind, by in zip(kinds, shift, strict=True)]),
        **{
            name: np.concatenate([getattr(kind, name) for kind in kinds])
            for name in ("plotted", "centre", "sigma", "baseline", "begin", "window", "on_file")
        },
        reading=np.concatenate([kind.reading.astype(np.int32) for kind in kinds]),
        adjusted=pl.concat([kind.adjusted for kind in kinds]),
        ends_at=pl.concat([kind.ends_at for kind in kinds]),
    )


def fire_average(
    charts: Charts,
    *,
    weight: float,
    width: Floats,
    cuts: Ints | None = None,
    stands: Stands | None = None,
    asked: Ints | None = None,
) -> tuple[Fired, Lives]:
    """Where the running average leaves its limits, and the signals that come of it (without the averages in sigmas:
    what is fired has them on the scale of what is plotted).

    width (n,) : in standard deviations of the average, by reading. cuts : readings before which a person closed.
    stands : of charts that go on from where they stood. asked : readings of which the average in sigmas is told.
    """
    found = lives(charts.z, charts.starts, begin=charts.begin, width=width, weight=weight, cuts=cuts, stands=stands)
    n = len(charts.plotted)
    size = lengths(charts.starts, n)
    fired, average, half = np.empty(n, dtype=np.bool_), found.average, found.half
    stood = average[asked] if asked is not None else np.zeros(0)
    for some, where in blocks(charts.starts, n):
        fired[where] = np.abs(average[where]) > half[where] * (1 + TIE) + TIE
        centre, sigma = (np.repeat(each[some], size[some]) for each in (charts.centre, charts.sigma))
        average[where], half[where] = centre + sigma * average[where], sigma * half[where]
    at = np.flatnonzero(fired)  # before a chart judges nothing fires
    chart = np.searchsorted(charts.starts, at, side="right") - 1
    fired[at] = at - charts.starts[chart] >= charts.begin[chart]
    bare = replace(found, average=np.empty(0), half=np.empty(0))
    return Fired(fired, np.broadcast_to(np.array(AVERAGE), fired.shape), average, half, stood), bare


def fire_individuals(
    charts: Charts, *, width: float, rules: tuple[str, ...], cuts: Ints | None = None
) -> tuple[Fired, Lives]:
    """Where one of the shop's run rules fires (the first of them by name in the shop's order names the firing), and the
    signals that come of it.
    """
    found = run_rules(charts.plotted, charts.starts, centre=charts.centre, sigma=charts.sigma, width=width, rules=rules)
    rule = np.full(len(charts.plotted), "", dtype="<U12")
    for name in reversed(rules):
        rule[found.fired[name]] = name
    rule[~charts.judged] = ""
    size = lengths(charts.starts, len(charts.plotted))
    fired = Fired(rule != "", rule, charts.plotted, np.repeat(width * charts.sigma, size))
    return fired, lives(charts.z, charts.starts, begin=charts.begin, fired=fired.fired, cuts=cuts)


def _begins(size: Ints) -> Ints:
    return np.asarray(np.cumsum(size) - size, dtype=np.int64)


def _ends(held: Streams) -> pl.Series:
    """When each era's limits gave way to the next of the same stream; null where they still hold."""
    stream = held.eras.stream
    followed = np.append(stream[1:] == stream[:-1], False)
    next_start = np.append(held.eras.starts[1:], 0)
    taken = held.readings["taken_at"].gather(next_start)
    return pl.select(pl.when(pl.Series(followed)).then(taken).otherwise(None)).to_series()
