"""Capability: how much room the limits leave each stream, with how well that is known, and whether it may be said at
all.

A row per stream and spec in force, over all its first-pass readings under that spec, the baseline included; the same
per tech who set it; and, where a characteristic has several positions, a row `any` that counts instruments.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.capability import bissell, indices
from analysis.methods.far_readings import lonely
from analysis.methods.independent_number import bounded
from analysis.methods.intervals import binomial_exact
from analysis.methods.segments import Flags, Floats, Ints, lengths, means
from analysis.methods.variables import spread
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.streams import KEY, STREAM
from analysis.studies.room.carrying import carrying
from analysis.studies.room.expected import Rows, expected
from analysis.studies.story.conformity import with_specs
from analysis.studies.story.slips import LEAST
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

NOT_STEADY, THIN, COARSE, NOT_NORMAL, DEPENDENT = "not steady", "thin", "coarse", "not normal", "dependent"
SLIPS = "may be mistyped"  # a reading of it
ANY = "any"

CAPABILITY: dict[str, pl.DataType] = {
    **{name: pl.String() for name in STREAM},
    "first_at": TIME,
    "last_at": TIME,
    "n": pl.Int64(),
    **{name: pl.Float64() for name in ("target", "lower", "upper", "mean", "sd_short", "sd_long")},
    **{name: pl.Float64() for name in ("cp", "cpk", "pp", "ppk", "ppk_low", "ppk_high", "cpm")},
    "n_effective": pl.Float64(),
    "nonconforming": pl.Int64(),
    "on_limit": pl.Int64(),
    **{name: pl.Float64() for name in ("nonconforming_low", "nonconforming_high")},
    **{name: pl.Float64() for name in ("expected_ppm", "expected_ppm_low", "expected_ppm_high")},
    "distribution": pl.String(),
    "flags": pl.String(),
}


ASKED = ["characteristic", "position", "family", "model", "stage", "supplier", "set_on", "value", "gauge"]


@dataclass(frozen=True)
class _Groups:
    """Readings of streams under one spec each, group after group."""

    at: Ints  # (n,) rows of Streams.readings
    values: Floats  # (n,)
    spec: Ints  # (n,) row of specs
    outside: Flags  # (n,) False where there is no limit
    on_limit: Flags  # (n,)
    starts: Ints  # (g,)
    stream: Ints  # (g,)


def capability_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`capability` of the figures."""
    judged = snapshot.once(signals)
    if judged is None:
        return pl.DataFrame(schema=CAPABILITY)
    groups = _groups(snapshot, judged)
    if groups is None:
        return pl.DataFrame(schema=CAPABILITY)
    rows = _rows(snapshot, judged, groups)
    return pl.concat([rows, _any_position(snapshot, judged, groups)]).sort(*STREAM, "first_at", maintain_order=True)


def _groups(snapshot: Snapshot, judged: Signals) -> _Groups | None:
    held = judged.streams
    source, row = held.readings.source, held.readings.row
    read = np.zeros(len(source), dtype=bool)
    read[row] = True  # each once, though it stands in two streams
    told = with_specs(snapshot, source[ASKED].filter(pl.Series(read))).select("spec", "outside", "on_limit")
    place = (np.cumsum(read) - 1)[row]
    spec = told["spec"].fill_null(-1).to_numpy()[place]
    at = np.flatnonzero(spec >= 0)
    if len(at) == 0:
        return None
    stream = held.readings.stream
    at = at[np.lexsort((spec[at], stream[at]))]
    fresh = (np.diff(stream[at], prepend=-1) != 0) | (np.diff(spec[at], prepend=-1) != 0)
    outside, on_limit = (told[name].fill_null(False).to_numpy()[place[at]] for name in ("outside", "on_limit"))
    starts = np.flatnonzero(fresh).astype(np.int64)
    return _Groups(at, held.values[at], spec[at], outside, on_limit, starts, stream[at[starts]])


def _rows(snapshot: Snapshot, judged: Signals, groups: _Groups) -> pl.DataFrame:
    values, starts = groups.values, groups.starts
    n = lengths(starts, len(values))
    mean = means(values, starts)
    sd_short = spread(values, starts).sigma
    sd_long = np.sqrt(np.add.reduceat((values - np.repeat(mean, n)) ** 2, starts) / np.maximum(n - 1, 1))
    taken = judged.streams.readings.taken_at
    first_at, last_at = taken.gather(groups.at[starts]), taken.gather(groups.at[starts + n - 1])
    asked = snapshot.specs.rows.select("target", "lower", "upper")[groups.spec[starts]]
    target, lower, upper = (asked[name].cast(pl.Float64).fill_null(np.nan).to_numpy() for name in asked.columns)
    one = n < 2
    short, long = np.where(one, np.nan, sd_short), np.where(one, np.nan, sd_long)
    index = indices(mean, short, long, n, target=target, lower=lower, upper=upper)
    outside = np.add.reduceat(groups.outside.astype(np.int64), starts)
    on_limit = np.add.reduceat(groups.on_limit.astype(np.int64), starts)
    low, high = binomial_exact(outside, n)
    limited = ~(np.isnan(lower) & np.isnan(upper))
    step = judged.streams.rows["step"].fill_null(0.0).to_numpy()[groups.stream]
    coarse = (step > sd_short * (1 + 1e-9)) & (n >= 2)
    carry = carrying(judged.streams, groups.at, values, starts, groups.stream)
    curve = expected(Rows(values, starts, n, mean, short, long, step, lower, upper), carry)
    nearer = np.where(np.isnan(lower) | (upper - mean < mean - lower), 1.0, -1.0)
    effective = carry.number(index.ppk, nearer)
    ppk_low, ppk_high = (
        np.where(bounded(effective, n), bound, np.nan) for bound in bissell(index.ppk, effective, effective - 1)
    )
    thin = (n < snapshot.shop.judging.least_readings) | (sd_short <= 0)
    unsteady = _unsteady(judged, groups.stream, first_at, last_at)
    odd = np.add.reduceat(lonely(values, starts, step=step).astype(np.int64), starts)
    slips = (odd > 0) & (n - odd >= LEAST)
    words = (NOT_STEADY, THIN, COARSE, NOT_NORMAL, DEPENDENT, SLIPS)
    flags = [
        ";".join(word for word, holds in zip(words, row, strict=True) if holds)
        for row in zip(unsteady, thin, coarse, curve.not_normal, carry.dependent, slips, strict=True)
    ]
    return (
        pl.DataFrame(
            {
                **{name: judged.streams.rows[name].gather(groups.stream) for name in STREAM},
                "first_at": first_at,
                "last_at": last_at,
                "n": n,
                **{name: asked[name] for name in asked.columns},
                "mean": mean,
                "sd_short": _number(short),
                "sd_long": _number(long),
                **{name: _number(getattr(index, name)) for name in ("cp", "cpk", "pp", "ppk", "cpm")},
                "ppk_low": _number(ppk_low),
                "ppk_high": _number(ppk_high),
                "n_effective": _number(np.where(n >= 2, effective, n)),
                "on_limit": _counted(on_limit, limited),
                "nonconforming": _counted(outside, limited),
                "nonconforming_low": _number(np.where(limited, low, np.nan)),
                "nonconforming_high": _number(np.where(limited, high, np.nan)),
                "expected_ppm": _number(curve.ppm),
                "expected_ppm_low": _number(curve.low),
                "expected_ppm_high": _number(curve.high),
                "distribution": curve.distribution,
                "flags": flags,
            }
        )
        .select(CAPABILITY.keys())
        .cast(dict(CAPABILITY))  # type: ignore[arg-type]
    )


def _unsteady(judged: Signals, stream: Ints, first: pl.Series, last: pl.Series) -> np.ndarray:
    """Rows within whose dates a signal of their stream was open at any time."""
    rows = pl.DataFrame({"row": np.arange(len(stream)), "stream": stream, "first_at": first, "last_at": last})
    own = judged.found.filter(pl.col("stream") >= 0).select("stream", "opened_at", "closed_at")
    hit = rows.join(own, on="stream").filter(
        (pl.col("opened_at") <= pl.col("last_at"))
        & (pl.col("closed_at").is_null() | (pl.col("closed_at") >= pl.col("first_at")))
    )
    return np.asarray(np.isin(np.arange(len(stream)), hit["row"].to_numpy()))


def _any_position(snapshot: Snapshot, judged: Signals, groups: _Groups) -> pl.DataFrame:
    """One row a characteristic with several positions, model and stage, all techs: instruments, and those with a
    reading outside.
    """
    readings = judged.streams.readings
    rows = snapshot.specs.rows.select(pl.col("lower").is_not_null() | pl.col("upper").is_not_null()).to_series()
    mine = np.flatnonzero((judged.streams.rows["tech"] == "").to_numpy()[readings.stream[groups.at]])
    everyone = readings.at(groups.at[mine], "characteristic", "position", "setup", "stage", "part", "taken_at")
    everyone = everyone.rename({"setup": "stream_model"}).with_columns(
        outside=pl.Series(groups.outside[mine]), limited=rows.gather(groups.spec[mine])
    )
    several = {item.key for item in snapshot.shop.characteristics if len(item.positions) > 1}
    seen = (
        everyone.group_by("characteristic")
        .agg(pl.col("position").n_unique().alias("positions"))
        .filter(pl.col("positions") > 1)
    )
    several |= set(seen["characteristic"])
    counted = (
        everyone.filter(pl.col("characteristic").is_in(sorted(several)))
        .group_by("characteristic", "stream_model", "stage", "part")
        .agg(
            pl.col("outside").any(),
            pl.col("limited").any(),
            pl.col("taken_at").min().alias("first_at"),
            pl.col("taken_at").max().alias("last_at"),
        )
        .group_by("characteristic", "stream_model", "stage", maintain_order=True)
        .agg(
            pl.len().alias("n"),
            pl.when(pl.col("limited").any()).then(pl.col("outside").sum()).alias("nonconforming"),
            pl.col("first_at").min(),
            pl.col("last_at").max(),
        )
        .with_columns(pl.col("stream_model").alias("model"), position=pl.lit(ANY), tech=pl.lit(""))
    )
    filled = counted.with_columns(
        [
            pl.lit("" if name == "flags" else None, dtype=dtype).alias(name)
            for name, dtype in CAPABILITY.items()
            if name not in counted.columns
        ]
    )
    return filled.select(CAPABILITY.keys()).cast(dict(CAPABILITY))  # type: ignore[arg-type]


def _number(values: Floats) -> pl.Series:
    return pl.Series(np.asarray(values, dtype=np.float64)).fill_nan(None)


def _counted(counts: Ints, limited: np.ndarray) -> pl.Series:
    return pl.select(pl.when(pl.Series(limited)).then(pl.Series(counts)).otherwise(None)).to_series()


__all__ = ["ANY", "CAPABILITY", "KEY", "capability_rows"]
