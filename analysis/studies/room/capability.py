"""Capability: how much room the limits leave each stream, with how well that is known, and whether it may be said at
all.

A row per stream and spec in force, over all its first-pass readings under that spec, the baseline included; the same
per tech who set it; and, where a characteristic has several positions, a row `any` that counts instruments.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.capability import indices, normal_ppm
from analysis.methods.distributions import expected_ppm, fit_distribution
from analysis.methods.intervals import binomial_exact
from analysis.methods.normality import anderson_darling, spread_ties
from analysis.methods.segments import Floats, Ints, lengths, means
from analysis.methods.variables import spread
from analysis.studies.drift.independence import stretches
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.streams import KEY, STREAM
from analysis.studies.story.conformity import with_specs
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

NORMAL = "normal"
NOT_STEADY, THIN, COARSE, NOT_NORMAL, DEPENDENT = "not steady", "thin", "coarse", "not normal", "dependent"
LEAST_FOR_TEST = 8  # readings from which on the Anderson-Darling p is used (D'Agostino & Stephens 1986)
NOT_NORMAL_BELOW = 0.005
ANY = "any"

CAPABILITY: dict[str, pl.DataType] = {
    **{name: pl.String() for name in STREAM},
    "first_at": TIME,
    "last_at": TIME,
    "n": pl.Int64(),
    **{name: pl.Float64() for name in ("target", "lower", "upper", "mean", "sd_short", "sd_long")},
    **{name: pl.Float64() for name in ("cp", "cpk", "pp", "ppk", "ppk_low", "ppk_high", "cpm")},
    "nonconforming": pl.Int64(),
    "nonconforming_low": pl.Float64(),
    "nonconforming_high": pl.Float64(),
    "expected_ppm": pl.Float64(),
    "distribution": pl.String(),
    "flags": pl.String(),
}


@dataclass(frozen=True)
class _Groups:
    """Readings of streams under one spec each, group after group."""

    readings: pl.DataFrame  # with stream, spec, target, lower, upper, outside
    values: Floats  # (n,)
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
    return pl.concat([rows, _any_position(snapshot, groups)]).sort(*STREAM, "first_at", maintain_order=True)


def _groups(snapshot: Snapshot, judged: Signals) -> _Groups | None:
    readings = with_specs(snapshot, judged.streams.readings).filter(pl.col("spec").is_not_null())
    if readings.is_empty():
        return None
    readings = readings.sort("stream", "spec", maintain_order=True)
    group = readings.select(pl.struct("stream", "spec").rle_id().cast(pl.Int64).alias("group"))["group"].to_numpy()
    starts = np.flatnonzero(np.diff(group, prepend=-1)).astype(np.int64)
    return _Groups(
        readings, readings["value"].to_numpy().astype(np.float64), starts, readings["stream"].gather(starts).to_numpy()
    )


def _rows(snapshot: Snapshot, judged: Signals, groups: _Groups) -> pl.DataFrame:
    values, starts = groups.values, groups.starts
    n = lengths(starts, len(values))
    mean = means(values, starts)
    sd_short = spread(values, starts).sigma
    sd_long = np.sqrt(np.add.reduceat((values - np.repeat(mean, n)) ** 2, starts) / np.maximum(n - 1, 1))
    heads, ends = groups.readings[starts], groups.readings[starts + n - 1]
    target, lower, upper = (
        heads[name].cast(pl.Float64).fill_null(np.nan).to_numpy() for name in ("target", "lower", "upper")
    )
    one = n < 2
    short, long = np.where(one, np.nan, sd_short), np.where(one, np.nan, sd_long)
    index = indices(mean, short, long, n, target=target, lower=lower, upper=upper)
    outside = np.add.reduceat(groups.readings["outside"].fill_null(False).cast(pl.Int64).to_numpy(), starts)
    low, high = binomial_exact(outside, n)
    limited = ~(np.isnan(lower) & np.isnan(upper))
    step = judged.streams.rows["step"].fill_null(0.0).to_numpy()[groups.stream]
    coarse = (step > sd_short * (1 + 1e-9)) & (n >= 2)
    distribution, ppm, not_normal = _distributions(groups, mean, long, step, coarse, lower, upper, n)
    thin = (n < snapshot.shop.judging.least_readings) | (sd_short <= 0)
    unsteady = _unsteady(judged, groups.stream, heads["taken_at"], ends["taken_at"])
    dependent = stretches(judged.streams)[groups.stream] > 1
    flags = [
        ";".join(
            word for word, holds in zip((NOT_STEADY, THIN, COARSE, NOT_NORMAL, DEPENDENT), row, strict=True) if holds
        )
        for row in zip(unsteady, thin, coarse, not_normal, dependent, strict=True)
    ]
    return (
        pl.DataFrame(
            {
                **{name: judged.streams.rows[name].gather(groups.stream) for name in STREAM},
                "first_at": heads["taken_at"],
                "last_at": ends["taken_at"],
                "n": n,
                "target": heads["target"],
                "lower": heads["lower"],
                "upper": heads["upper"],
                "mean": mean,
                "sd_short": _number(short),
                "sd_long": _number(long),
                **{
                    name: _number(getattr(index, name))
                    for name in ("cp", "cpk", "pp", "ppk", "ppk_low", "ppk_high", "cpm")
                },
                "nonconforming": _counted(outside, limited),
                "nonconforming_low": _number(np.where(limited, low, np.nan)),
                "nonconforming_high": _number(np.where(limited, high, np.nan)),
                "expected_ppm": _number(np.where(limited, ppm, np.nan)),
                "distribution": distribution,
                "flags": flags,
            }
        )
        .select(CAPABILITY.keys())
        .cast(dict(CAPABILITY))  # type: ignore[arg-type]
    )


def _distributions(
    groups: _Groups, mean: Floats, sd: Floats, step: Floats, coarse: np.ndarray, lower: Floats, upper: Floats, n: Ints
) -> tuple[list[str], Floats, np.ndarray]:
    """Which curve to count with for each group, the readings it expects outside in a million, and whether it is not
    normal.
    """
    ppm = normal_ppm(mean, sd, lower, upper)
    names = [NORMAL] * len(n)
    tested = np.flatnonzero(~coarse & (n >= LEAST_FOR_TEST) & (np.nan_to_num(sd) > 0))
    not_normal = np.zeros(len(n), dtype=bool)
    if len(tested) == 0:
        return names, ppm, not_normal
    size = n[tested]
    begins = np.cumsum(size) - size
    at = np.repeat(groups.starts[tested] - begins, size) + np.arange(size.sum())
    _, p = anderson_darling(spread_ties(groups.values[at], begins, step=step[tested]), begins)
    for place in np.flatnonzero(
        p < NOT_NORMAL_BELOW
    ):  # a curve is looked for only where the readings are clearly not normal
        row = int(tested[place])
        readings = groups.values[groups.starts[row] : groups.starts[row] + n[row]]
        name, curve = fit_distribution(readings, p=float(p[place]))
        names[row], ppm[row], not_normal[row] = name, expected_ppm(curve, float(lower[row]), float(upper[row])), True
    return names, ppm, not_normal


def _unsteady(judged: Signals, stream: Ints, first: pl.Series, last: pl.Series) -> np.ndarray:
    """Rows within whose dates a signal of their stream was open at any time."""
    rows = pl.DataFrame({"row": np.arange(len(stream)), "stream": stream, "first_at": first, "last_at": last})
    own = judged.found.filter(pl.col("stream") >= 0).select("stream", "opened_at", "closed_at")
    hit = rows.join(own, on="stream").filter(
        (pl.col("opened_at") <= pl.col("last_at"))
        & (pl.col("closed_at").is_null() | (pl.col("closed_at") >= pl.col("first_at")))
    )
    return np.asarray(np.isin(np.arange(len(stream)), hit["row"].to_numpy()))


def _any_position(snapshot: Snapshot, groups: _Groups) -> pl.DataFrame:
    """One row a characteristic with several positions, model and stage, all techs: instruments, and those with a
    reading outside.
    """
    everyone = groups.readings.filter(pl.col("tech_set") == "").with_columns(pl.col("setup").alias("stream_model"))
    several = {item.key for item in snapshot.shop.characteristics if len(item.positions) > 1}
    seen = (
        everyone.group_by("characteristic")
        .agg(pl.col("position").n_unique().alias("positions"))
        .filter(pl.col("positions") > 1)
    )
    several |= set(seen["characteristic"])
    rows = (
        everyone.filter(pl.col("characteristic").is_in(sorted(several)))
        .group_by("characteristic", "stream_model", "stage", "part")
        .agg(
            pl.col("outside").fill_null(False).any(),
            pl.col("outside").is_not_null().any().alias("limited"),
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
    filled = rows.with_columns(
        [
            pl.lit("" if name == "flags" else None, dtype=dtype).alias(name)
            for name, dtype in CAPABILITY.items()
            if name not in rows.columns
        ]
    )
    return filled.select(CAPABILITY.keys()).cast(dict(CAPABILITY))  # type: ignore[arg-type]


def _number(values: Floats) -> pl.Series:
    return pl.Series(np.asarray(values, dtype=np.float64)).fill_nan(None)


def _counted(counts: Ints, limited: np.ndarray) -> pl.Series:
    return pl.select(pl.when(pl.Series(limited)).then(pl.Series(counts)).otherwise(None)).to_series()


__all__ = ["ANY", "CAPABILITY", "KEY", "capability_rows"]
