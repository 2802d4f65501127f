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
from analysis.methods.segments import Flags, Floats, Ints, fresh, in_order, lengths, means, spans
from analysis.methods.values_once import Once
from analysis.methods.variables import spread
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.streams import KEY, STREAM
from analysis.studies.room.carrying import carrying
from analysis.studies.room.expected import Rows, expected
from analysis.studies.story.conformity import against_specs
from analysis.studies.story.scope import instrument_of
from analysis.studies.story.slips import LEAST
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from ingest.terms.tables import TIME

NOT_STEADY, THIN, COARSE, NOT_NORMAL, DEPENDENT = "not steady", "thin", "coarse", "not normal", "dependent"
SLIPS = "may be mistyped"  # a reading of it
ANY = "any"
CELLS_SEEN = 1 << 25  # of a table of instruments held at once, a byte each

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
    starts: Ints  # (g,)
    spec: Ints  # (g,) row of specs
    stream: Ints  # (g,)
    outside: Flags  # (n,) False where there is no limit
    on_limit: Flags  # (n,)


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
    told = against_specs(snapshot, source[ASKED])
    spec = told.spec.astype(np.int32)[row]
    at = np.flatnonzero(spec >= 0)
    if len(at) == 0:
        return None
    stream, spec = held.readings.stream[at].astype(np.int64), spec[at]
    if ((spec[1:] < spec[:-1]) & (stream[1:] == stream[:-1])).any():  # a spec that holds again after another
        order = in_order(stream, spec.astype(np.int64))
        at, spec = at[order], spec[order]
    starts = np.flatnonzero(fresh(stream) | fresh(spec))
    flags = told.outside[row[at]], told.on_limit[row[at]]
    return _Groups(at, held.values[at], starts, spec[starts].astype(np.int64), stream[starts], *flags)


def _rows(snapshot: Snapshot, judged: Signals, groups: _Groups) -> pl.DataFrame:
    values, starts = groups.values, groups.starts
    n = lengths(starts, len(values))
    mean = means(values, starts)
    sd_short = spread(values, starts).sigma
    sd_long = np.sqrt(np.add.reduceat((values - np.repeat(mean, n)) ** 2, starts) / np.maximum(n - 1, 1))
    taken = judged.streams.readings.taken_at
    first_at, last_at = taken.gather(groups.at[starts]), taken.gather(groups.at[starts + n - 1])
    asked = snapshot.specs.rows.select("target", "lower", "upper")[groups.spec]
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
    told = Once.of(values, starts)
    curve = expected(Rows(values, starts, n, mean, short, long, step, lower, upper, told), carry)
    nearer = np.where(np.isnan(lower) | (upper - mean < mean - lower), 1.0, -1.0)
    effective = carry.number(index.ppk, nearer)
    ppk_low, ppk_high = (
        np.where(bounded(effective, n), bound, np.nan) for bound in bissell(index.ppk, effective, effective - 1)
    )
    thin = (n < snapshot.shop.judging.least_readings) | (sd_short <= 0)
    unsteady = _unsteady(judged, groups.stream, first_at, last_at)
    odd = np.add.reduceat(lonely(values, starts, step=step, told=told).astype(np.int64), starts)
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
    readings, size = judged.streams.readings, lengths(groups.starts, len(groups.at))
    limits = snapshot.specs.rows.select(pl.col("lower").is_not_null() | pl.col("upper").is_not_null()).to_series()
    rows = judged.streams.rows[groups.stream].select(*STREAM).with_row_index("_row")
    rows = rows.with_columns(
        first_at=readings.taken_at.gather(groups.at[groups.starts]),
        last_at=readings.taken_at.gather(groups.at[groups.starts + size - 1]),
        limited=limits.gather(groups.spec),
    ).filter(pl.col("tech") == "")
    several = {item.key for item in snapshot.shop.characteristics if len(item.positions) > 1}
    positions = rows.group_by("characteristic").agg(pl.col("position").n_unique())
    several |= set(positions.filter(pl.col("position") > 1)["characteristic"])
    rows = rows.filter(pl.col("characteristic").is_in(sorted(several)))
    rows = rows.with_columns(_of=pl.struct("characteristic", "model", "stage").rank("dense").cast(pl.Int64) - 1)
    counted = rows.group_by("characteristic", "model", "stage", "_of").agg(
        pl.col("limited").any(), pl.col("first_at").min(), pl.col("last_at").max()
    )
    counted = counted.sort("_of")
    own, of = rows["_row"].to_numpy(), rows["_of"].to_numpy()
    begins, ends = groups.starts[own], groups.starts[own] + size[own]
    n, failed = _instruments(snapshot, judged, groups, spans(begins, ends), np.repeat(of, size[own]), len(counted))
    counted = counted.with_columns(
        n=pl.Series(n), nonconforming=_counted(failed, counted["limited"]), position=pl.lit(ANY), tech=pl.lit("")
    )
    filled = counted.with_columns(
        [
            pl.lit("" if name == "flags" else None, dtype=dtype).alias(name)
            for name, dtype in CAPABILITY.items()
            if name not in counted.columns
        ]
    )
    return filled.select(CAPABILITY.keys()).cast(dict(CAPABILITY))  # type: ignore[arg-type]


def _instruments(
    snapshot: Snapshot, judged: Signals, groups: _Groups, some: Ints, of: Ints, many: int
) -> tuple[Ints, Ints]:
    """How many instruments, or parts without one, some readings of the groups are of, and how many of these have one
    outside: by what each is `of` (many,).
    """
    readings = judged.streams.readings
    visit = readings.at(groups.at[some], "visit")["visit"].fill_null(-1).to_numpy()
    instrument = instrument_of(snapshot.once(story))
    part = np.append(instrument, -1)[visit]
    alone = np.flatnonzero(visit < 0)
    if len(alone):
        part[alone] = len(instrument) + tables.rank(readings.at(groups.at[some[alone]], "part")["part"])
    wide = int(part.max(initial=0)) + 1
    at_once = max(1, CELLS_SEEN // wide)
    found = np.zeros((2, many), dtype=np.int64)
    for low in range(0, many, at_once):
        mine = (of >= low) & (of < low + at_once)
        for row, kept in zip(found, (mine, mine & groups.outside[some]), strict=True):
            seen = np.zeros((min(at_once, many - low), wide), dtype=np.bool_)
            seen[of[kept] - low, part[kept]] = True
            row[low : low + at_once] = seen.sum(axis=1)
    return found[0], found[1]


def _number(values: Floats) -> pl.Series:
    return pl.Series(np.asarray(values, dtype=np.float64)).fill_nan(None)


def _counted(counts: Ints, limited: np.ndarray | pl.Series) -> pl.Series:
    return pl.select(pl.when(pl.Series(limited)).then(pl.Series(counts)).otherwise(None)).to_series()


__all__ = ["ANY", "CAPABILITY", "KEY", "capability_rows"]
