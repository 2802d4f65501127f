"""Every stream of the shop, laid end to end: its readings, its baseline and its limits.

A stream is the first-pass found readings of one characteristic, position, model (or setup) and stage in time order; the
same again for each tech who set it. Limits are those on file where there are any, else from the stream's first
readings. Where limits change the stream is cut: each piece is an era.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from analysis.methods.far_readings import lonely
from analysis.methods.segments import Flags, Floats, Ints, blocks, fresh, in_order, lengths, places, spans
from analysis.methods.variables import Spread, spread
from analysis.studies.drift.parents import KEY as KEY
from analysis.studies.drift.readings import Readings
from analysis.studies.drift.with_air import with_air
from analysis.studies.story.columns import Columns
from analysis.studies.story.first_values import first_values
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

STREAM = [*KEY, "tech"]
WIDTH_DRAWN = 3.0  # with a budget the limits of one reading are drawn here and open nothing


@dataclass(frozen=True)
class Eras:
    """Pieces of streams under one set of limits, in the order of the readings."""

    starts: Ints  # (e,) index of the first reading
    stream: Ints  # (e,)
    centre: Floats  # (e,)
    sigma: Floats  # (e,)
    baseline: Ints  # (e,) readings behind the limits
    judged_from: Ints  # (e,) place of the first judged reading in the era
    window: Ints  # (e,) index of the first reading since the baseline began
    on_file: Flags  # (e,)


@dataclass(frozen=True, eq=False)
class Streams:
    """All streams end to end: a row a stream, readings in time order, limits of each."""

    # a row a stream, in order: characteristic, position, model (the setup), stage, tech ('' = all), n, first_at,
    # last_at, step
    rows: pl.DataFrame
    readings: Readings
    values: Floats  # (n,)
    starts: Ints  # (s,)
    own: Spread  # centre, sigma and size of each stream's own first readings
    eras: Eras
    with_air: Floats | None = None  # (n,) the part that goes with the air, where the shop judges on the rest

    @property
    def last_era(self) -> Ints:
        """The era in force at the end of each stream, shape (s,)."""
        return np.append(np.flatnonzero(np.diff(self.eras.stream)), len(self.eras.stream) - 1)

    @property
    def ends(self) -> Ints:
        """The last reading of each stream, shape (s,)."""
        return np.append(self.starts[1:], len(self.values)) - 1

    def of_all_within(self, first: date, last: date) -> Ints:
        """The readings of all techs that were taken on the days from `first` to `last`, in their order, (k,)."""
        of_all = (self.rows["tech"] == "").to_numpy()
        within = self.readings.source["day"].is_between(first, last).fill_null(False).to_numpy()
        many = int(np.count_nonzero(of_all))
        if of_all[:many].all():  # these streams stand before all others
            end = int(self.starts[many]) if many < len(self.starts) else len(self.values)
            return np.flatnonzero(within[self.readings.row[:end]])
        at = spans(self.starts[of_all], self.ends[of_all] + 1)
        return np.asarray(at[within[self.readings.row[at]]], dtype=np.int64)

    def per_reading(self, of_era: np.ndarray) -> np.ndarray:
        """A number of its era for each reading, shape (n,)."""
        return np.repeat(of_era, lengths(self.eras.starts, len(self.values)))


def stream_readings(snapshot: Snapshot, *where: pl.Expr) -> pl.DataFrame:
    """The readings that streams are made of, the story's columns: round 1, first pass, with a value, of a known model;
    all, or those of which everything named holds.

    The found reading; at the stage where the characteristic is set the last value of the visit, `left` where it has
    both: what came in there is *received* (`received_readings`).
    """
    every = snapshot.once(story).readings
    told = every.filter(*where) if where else every
    return tables.plain(told[rows_of_streams(told)[0]])


def received_readings(snapshot: Snapshot) -> pl.DataFrame:
    """What came in where it is then set: found values of first passes in whose visit a value was left; the story's
    columns.
    """
    told = snapshot.once(story).readings
    return tables.plain(told[rows_of_streams(told)[1]])


def rows_of_streams(told: pl.DataFrame | Columns) -> tuple[Ints, Ints]:
    """Rows of the story's readings that streams are made of, and those received."""
    return first_values(told, "setup")


def streams(snapshot: Snapshot) -> Streams | None:
    """All streams of the shop at this version; None where there is no reading."""
    told = snapshot.once(story).readings
    at, _ = rows_of_streams(told)
    if len(at) == 0:
        return None
    key = ["characteristic", "position", "setup", "stage"]
    parts = [told.numbers(name).small_ranks()[at] for name in key]
    group = np.cumsum(np.logical_or.reduce([fresh(part) for part in parts])) - 1
    tech = told.numbers("set_by").small_ranks()[at]
    own = np.flatnonzero(told.numbers("set_stage").told()[at] & told.numbers("set_by").told()[at])
    own = own[in_order(group[own], tech[own])]
    twin = np.concatenate([np.arange(len(at), dtype=np.int32), own.astype(np.int32)])
    row = at.astype(np.int32)[twin]
    starts = np.flatnonzero(np.concatenate([fresh(group), fresh(group[own]) | fresh(tech[own])]))
    values = told["value"].gather(row).to_numpy().astype(np.float64, copy=False)
    spreads = spread(values, starts, baseline=snapshot.shop.judging.baseline_readings)
    size = lengths(starts, len(values))
    heads = tables.plain(told[[*key, "set_by", tables.TAKEN_AT]][row[starts]])
    everyone = pl.Series(starts < len(at))
    rows = pl.DataFrame(
        {
            **{name: heads[name] for name in ("characteristic", "position")},
            "model": heads["setup"],
            "stage": heads["stage"],
            "tech": heads.select(pl.when(everyone).then(pl.lit("")).otherwise("set_by")).to_series(),
            "n": size,
            "first_at": heads[tables.TAKEN_AT],
            "last_at": told[tables.TAKEN_AT].gather(row[starts + size - 1]),
        }
    )
    readings = Readings(told, row, np.repeat(np.arange(len(starts), dtype=np.int32), size), twin, rows["tech"])
    rows = rows.with_columns(step=_steps(snapshot, rows, readings))
    eras = _eras(snapshot, rows, readings, starts, spreads)
    judging = snapshot.shop.judging
    if not judging.air or judging.budget is None:
        return Streams(rows, readings, values, starts, spreads, eras)
    needed = readings.of_all("taken_at", "visit", "day", "value")
    return Streams(rows, readings, values, starts, spreads, eras, with_air(snapshot, rows, needed, starts, spreads.n))


def _steps(snapshot: Snapshot, rows: pl.DataFrame, readings: Readings) -> pl.Series:
    """Step of each stream's gauge: the coarsest declared that took a tenth of its readings; none named, the coarsest
    declared; else null.
    """
    one_each = rows.select(pl.int_range(pl.len(), dtype=pl.Int64).alias("stream"), "characteristic")
    declared = pl.DataFrame(
        [
            (gauge.key, characteristic, gauge.step)
            for gauge in snapshot.shop.gauges
            for characteristic in gauge.measures
            if gauge.step
        ],
        schema={"gauge": pl.String(), "characteristic": pl.String(), "step": pl.Float64()},
        orient="row",
    )
    named = readings.source.numbers("gauge")
    gauge = named.small_ranks()
    kinds = int(gauge.max(initial=0)) + 1
    count = np.zeros(len(rows) * kinds, dtype=np.int64)  # each gauge in each stream
    size = rows["n"].to_numpy()
    for mine, where in blocks(np.cumsum(size) - size, len(readings)):
        cell = (readings.stream[where] - mine.start) * np.int64(kinds) + gauge[readings.row[where]]
        count[mine.start * kinds : mine.stop * kinds] = np.bincount(cell, minlength=(mine.stop - mine.start) * kinds)
    some = np.flatnonzero(count)
    words = sorted(named.said())
    words = [""] * (kinds - len(words)) + words  # before all: of none
    used = (
        pl.DataFrame({"stream": some // kinds, "gauge": pl.Series(words).gather(some % kinds), "len": count[some]})
        .with_columns(share=pl.col("len") / pl.col("len").sum().over("stream"))
        .filter((pl.col("gauge") != "") & (pl.col("share") >= 0.1 - 1e-12))
        .join(one_each, on="stream")
        .join(declared, on=["gauge", "characteristic"])
        .group_by("stream")
        .agg(pl.col("step").max())
    )
    coarsest = declared.group_by("characteristic").agg(coarsest=pl.col("step").max())
    return (
        one_each.join(used, on="stream", how="left", maintain_order="left")
        .join(coarsest, on="characteristic", how="left", maintain_order="left")
        .select(pl.coalesce("step", "coarsest").alias("step"))["step"]
    )


def _eras(snapshot: Snapshot, rows: pl.DataFrame, readings: Readings, starts: Ints, own: Spread) -> Eras:
    """Eras of all streams: from the first readings on, and anew wherever limits were put on file."""
    s = len(starts)
    first = {
        "stream": np.arange(s),
        "start": starts,
        "centre": own.centre,
        "sigma": own.sigma,
        "baseline": own.n,
        "judged_from": np.full(s, snapshot.shop.judging.baseline_readings),
        "window": starts,
        "on_file": np.zeros(s, dtype=bool),
        "sequence": np.full(s, -1),
    }
    begun = pl.DataFrame(first)
    filed = snapshot.table("limits_on_file")
    if not filed.is_empty():
        begun = pl.concat(
            [begun, _filed(snapshot, filed, rows, readings, starts, own).select(begun.columns)], how="vertical_relaxed"
        )
        # two limits that hold from the same reading: the later word counts
        begun = begun.sort("start", "sequence").unique("start", keep="last", maintain_order=True)
    column = {name: begun[name].to_numpy() for name in begun.columns}
    return Eras(
        column["start"],
        column["stream"],
        column["centre"],
        column["sigma"],
        column["baseline"],
        column["judged_from"],
        column["window"],
        column["on_file"],
    )


def _filed(
    snapshot: Snapshot, filed: pl.DataFrame, rows: pl.DataFrame, readings: Readings, starts: Ints, own: Spread
) -> pl.DataFrame:
    """Eras under limits on file: where they begin among the readings, and where their baseline began."""
    numbered = rows.select(STREAM).with_row_index("stream").with_columns(pl.col("stream").cast(pl.Int64))
    at = (
        readings.of_all("stream", tables.TAKEN_AT)
        .with_row_index("start")
        .with_columns(pl.col("start").cast(pl.Int64))
        .sort(tables.TAKEN_AT)
    )
    midnight = (
        pl.col("baseline_from")
        .cast(pl.Datetime("us"))
        .dt.replace_time_zone(snapshot.shop.shop.timezone, non_existent="null")
    )
    known = filed.join(numbered, on=STREAM).with_columns(
        began=pl.coalesce(midnight.dt.convert_time_zone("UTC"), "holds_from")
    )
    for name, of in (("holds_from", at), ("began", at.rename({"start": "window"}))):  # the first reading at or after it
        known = known.sort(name).join_asof(
            of, left_on=name, right_on=tables.TAKEN_AT, by="stream", strategy="forward", check_sortedness=False
        )
    stream = known["stream"].to_numpy()
    off = known["n"] == 0  # taken off file again: the stream's own first readings count once more
    own_of = {"centre": own.centre[stream], "sigma": own.sigma[stream], "baseline": own.n[stream]}
    return known.with_columns(
        pl.when(off).then(pl.Series(own_of["centre"])).otherwise("centre").alias("centre"),
        pl.when(off).then(pl.Series(own_of["sigma"])).otherwise("sigma").alias("sigma"),
        pl.when(off).then(pl.Series(own_of["baseline"])).otherwise("n").alias("baseline"),
        pl.when(off).then(pl.Series(starts[stream])).otherwise("window").alias("window"),
        judged_from=pl.when(off).then((pl.Series(own.n + starts)[stream] - pl.col("start")).clip(0)).otherwise(0),
        on_file=~off,
    ).filter(pl.col("start").is_not_null())


def baseline_flags(held: Streams) -> Flags:
    """Which readings belong to the baseline of their stream's first limits, shape (n,)."""
    return np.asarray(
        places(held.starts, len(held.values)) < np.repeat(held.own.n, lengths(held.starts, len(held.values)))
    )


def lonely_ones(held: Streams, at: Ints) -> Flags:
    """Which of some readings (n,), by number and rising, lie far from all others of them in their stream, and alone."""
    stream = held.readings.stream[at].astype(np.int64)
    starts = np.flatnonzero(np.diff(stream, prepend=-1) != 0)
    return lonely(held.values[at], starts, step=held.rows["step"].fill_null(0.0).to_numpy()[stream[starts]])
