"""Readings against what was asked: the spec that held for each, and whether it lies inside, on the limit or outside.

A reading stands for the whole step of its gauge: it is outside only where that step lies wholly beyond a limit, on the
limit where a limit lies within the step; there it is shown neither to conform nor not to, and is told beside the count.

As built: the first play-test readings; as set: the first final-inspection readings, and where the final inspection is
the bench that sets, as in a shop of one bench, what it left; as shipped: the last final-inspection readings of the
round, after any touch-up. Work is judged as set: what was shipped has been sorted by
inspection. What no final inspection reads is as set what the bench that sets it left on the first pass; it is said
to be of the bench.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.conformity import against, between_marks
from analysis.methods.segments import Flags, Floats, Ints, dense
from analysis.studies.story.first_values import ASKED, first_values
from analysis.studies.story.scope import instrument_of
from analysis.studies.story.story import Story, story
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Gauge
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

BUILT, SET, SHIPPED = "as built", "as set", "as shipped"
AT_ONCE = 1 << 16  # readings held against their limits at once: their columns stay in the processor's cache
OF_SPEC = ("characteristic", "position", "family", "model", "stage", "supplier", "set_on", "value", "gauge")


def with_specs(snapshot: Snapshot, readings: pl.DataFrame) -> pl.DataFrame:
    """The same readings with `spec` (row of specs, null: none holds), target, lower, upper, `outside` and `on_limit`
    (both null without a limit).

    readings : the story's columns OF_SPEC.
    """
    told = against_specs(snapshot, readings)
    spec = pl.Series("spec", told.spec).set(pl.Series(told.spec < 0), None)
    held = snapshot.specs.rows.select("target", "lower", "upper").select(pl.all().gather(spec))
    limited = held["lower"].is_not_null() | held["upper"].is_not_null()
    return (
        readings.with_columns(spec, held["target"], held["lower"], held["upper"], limited.alias("_limited"))
        .with_columns(
            outside=pl.when("_limited").then(pl.Series(told.outside)),
            on_limit=pl.when("_limited").then(pl.Series(told.on_limit)),
        )
        .drop("_limited")
    )


@dataclass(frozen=True, eq=False)
class Against:
    """Readings against what was asked, shape (n,)."""

    spec: Ints  # row of specs, -1: none holds
    outside: Flags  # False without a limit, as is the next
    on_limit: Flags


def against_specs(snapshot: Snapshot, readings: pl.DataFrame) -> Against:
    """What `with_specs` adds to readings, as numbers."""
    keys = readings.select(
        "characteristic", "position", "family", "model", "stage", "supplier", pl.col("set_on").alias("date")
    )
    spec = snapshot.specs.match(keys).fill_null(-1).to_numpy()
    limits = (snapshot.specs.rows[name].cast(pl.Float64).fill_null(np.nan).to_numpy() for name in ("lower", "upper"))
    lower, upper = (np.append(each, np.nan) for each in limits)  # the last: of no row
    value = readings["value"].cast(pl.Float64).fill_null(np.nan).to_numpy()
    below, above = halves(snapshot.shop, readings)
    outside, on_limit = np.zeros((2, len(spec)), dtype=np.bool_)
    for first in range(0, len(spec), AT_ONCE):
        some = slice(first, first + AT_ONCE)
        held = lower[spec[some]], upper[spec[some]]
        outside[some], on_limit[some] = against(value[some], below[some], above[some], *held)
    return Against(spec, outside, on_limit)


def halves(shop: Shop, readings: pl.DataFrame) -> tuple[Floats, Floats]:
    """How far the step of each reading's gauge reaches below and above it, canonical units, shape (n,); 0 where no
    gauge is declared.

    readings : characteristic, gauge and value. The gauge is the reading's own; where it names none that has a step, the
    only one declared for the characteristic, or the coarsest of several. Leaves that are not evenly spaced reach
    halfway to their neighbours on either side.
    """
    stepped = {gauge.key: gauge for gauge in shop.gauges if gauge.step}
    if not stepped:
        return np.zeros(readings.height), np.zeros(readings.height)
    stand_in: dict[str, Gauge] = {}
    for one in sorted(stepped.values(), key=lambda one: one.step or 0.0):  # the coarsest last
        stand_in |= dict.fromkeys(one.measures, one)
    gauge = tables.rank(readings["gauge"])
    alike = dense(tables.rank(readings["characteristic"]) * (int(gauge.max(initial=0)) + 1) + gauge)
    each = tables.plain(readings.select("characteristic", "gauge")[alike.first])
    named = each["gauge"].replace_strict({key: key for key in stepped}, default=None, return_dtype=pl.String)
    declared = each["characteristic"].replace_strict(
        {key: one.key for key, one in stand_in.items()}, default=None, return_dtype=pl.String
    )
    keys = pl.select(pl.coalesce(named, declared)).to_series()
    steps = {key: one.step or 0.0 for key, one in stepped.items()}
    below = (keys.replace_strict(steps, default=0.0, return_dtype=pl.Float64).to_numpy() / 2)[alike.code]
    above = below.copy() if any(one.uneven_marks for one in stepped.values()) else below
    for one in stepped.values():
        if one.uneven_marks:
            own = (keys == one.key).fill_null(False).to_numpy()[alike.code]
            value = readings["value"].cast(pl.Float64).fill_null(np.nan).to_numpy()[own]
            below[own], above[own] = between_marks(value, np.array(one.uneven_marks))
    return below, above


def judged_readings(snapshot: Snapshot, when: str, serials: pl.Series | None = None) -> pl.DataFrame:
    """Round-1 readings as built, as set or as shipped, one a serial, characteristic and position, with their specs.

    serials : of these instruments alone, serial and OF_SPEC of each reading; what is judged of one hangs on no other.
    """
    told = snapshot.once(story)
    readings, role = told.readings, "test" if when == BUILT else "final"
    asked = (pl.col("role") == role) & (pl.col("round") == 1) & pl.col("value").is_not_null()
    # found by what tells them, so that of the rest only those that are judged stand in memory
    if serials is None:
        marks = readings.select(asked=asked & (pl.col("serial") != ""))["asked"]
        some = np.flatnonzero(marks.fill_null(False).to_numpy())
    else:
        some = _readings_of(told, serials)
        marks = readings.at(some, "role", "round", "value").select(asked=asked)["asked"]
        some = some[marks.fill_null(False).to_numpy()]
    if when == SHIPPED:
        kept = readings.at(some, "serial", "visit", "moment", "characteristic", "position").with_columns(
            _row=pl.Series(some)
        )
        kept = kept.sort("visit", pl.col("moment") == "left", maintain_order=True)
        last = kept.group_by("serial").agg(pl.col("visit").max().alias("_last"))
        kept = kept.join(last, on="serial", maintain_order="left").filter(pl.col("visit") == pl.col("_last"))
        kept = kept.unique(["serial", "characteristic", "position"], keep="last", maintain_order=True)
        rows = kept["_row"].to_numpy()
    else:
        rows = some[first_values(readings.at(some, *ASKED))[0]]
    few = () if serials is None else ("serial", *OF_SPEC)
    return with_specs(snapshot, readings.at(rows, *few))


def _readings_of(told: Story, serials: pl.Series) -> Ints:
    """The rows of `readings` of some instruments: those of their visits."""
    theirs = told.instruments["serial"].is_in(serials.implode()).to_numpy()
    of_visit = np.append(theirs[instrument_of(told)], False)  # behind all: of none
    return np.flatnonzero(of_visit[told.readings["visit"].fill_null(-1).to_numpy()])


def as_built(snapshot: Snapshot) -> pl.DataFrame:
    """First play-test readings of each instrument, against their limits."""
    return judged_readings(snapshot, BUILT)


def as_set(snapshot: Snapshot) -> pl.DataFrame:
    """First final-inspection readings of each instrument, against their limits."""
    return judged_readings(snapshot, SET)


def as_set_at_bench(snapshot: Snapshot) -> pl.DataFrame:
    """The same columns of what is read at the bench that sets it and never at a final inspection: the first readings
    of each instrument there, by who set it.
    """
    told = snapshot.once(story).readings
    where = told[["characteristic", "role", "stage", "set_stage", "round", "value", "serial"]]
    at_final = where.filter(pl.col("role") == "final")["characteristic"].unique()
    here = (pl.col("stage") == pl.col("set_stage")) & ~pl.col("characteristic").is_in(at_final.implode())
    asked = here & (pl.col("round") == 1) & pl.col("value").is_not_null() & (pl.col("serial") != "")
    some = np.flatnonzero(where.select(asked.fill_null(False).alias("asked"))["asked"].to_numpy())
    return with_specs(snapshot, told[some[first_values(told.at(some, *ASKED))[0]]])


def judged_where_read(snapshot: Snapshot, when: str) -> pl.DataFrame:
    """`judged_readings`; as set, also what no final inspection reads, as the bench that sets it left it."""
    readings = snapshot.once(as_set) if when == SET else judged_readings(snapshot, when)
    return pl.concat([readings, as_set_at_bench(snapshot)]) if when == SET else readings


def set_at_bench_alone(snapshot: Snapshot) -> pl.DataFrame:
    """characteristic, stage and n: what is read at the bench that sets it and never at a final inspection, in bench
    order, with or without a limit.
    """
    order = {stage.key: place for place, stage in enumerate(snapshot.shop.stages)}
    return (
        as_set_at_bench(snapshot)
        .select(pl.col("characteristic", "stage").cast(pl.String))
        .group_by("characteristic", "stage")
        .agg(pl.len().cast(pl.Int64).alias("n"))
        .sort(pl.col("stage").replace_strict(order, default=len(order), return_dtype=pl.Int64), "characteristic")
    )
