"""Incoming necks at the same air: what bow goes with the air in which it was read, for all suppliers alike, and each
neck as it would read in the air in which the middle one of all necks was read.

A damp month moves the necks of every supplier, and is no supplier's doing. The slope is that of all lots of all
suppliers (`methods/common_slope.py`); necks are corrected by it only where it is shown, and those whose air nobody
wrote down are not. The air is the mean of what is known of the two days before.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.common_slope import NOT_TOLD, Read, common_slope
from analysis.methods.conformity import against
from analysis.methods.segments import Floats, Ints, dense
from analysis.studies.necks import lots
from analysis.studies.story.conformity import halves
from analysis.studies.story.damp import LAGS, humidity
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

BEFORE = 48  # hours of air that count for a reading
MONDAY = 3  # days since 1970-01-01 plus this, over seven: the week of a day
FAR = 8.0  # % RH from the usual air, from which on a lot's air is told where nobody knows what it does
MATTERS = 0.5  # of the spread within lots, that the air must be able to move a lot by


@dataclass(frozen=True)
class Followed:
    """How bow of one characteristic follows the air."""

    usual: float | None  # % RH of the middle neck; None: nobody wrote the air down
    slope: float  # mm for one % RH; 0 unless shown
    low: float  # 95 %, shown or not; infinite where nothing can be told
    high: float
    error: float  # standard; 0 unless shown
    shown: bool


AIRLESS = Followed(None, 0.0, 0.0, 0.0, 0.0, False)


def damp(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `lots.necks` with rh (% RH, null where not on file) and week (a number)."""
    measured = snapshot.once(lots.necks)
    rh = pl.lit(None, dtype=pl.Float64)
    if measured.height and measured["visit"].null_count() < measured.height:
        rh = pl.lit(near(snapshot, measured))
    return measured.with_columns(rh=rh, week=(pl.col("day").cast(pl.Int32).cast(pl.Int64) + MONDAY) // 7)


def near(snapshot: Snapshot, readings: pl.DataFrame) -> pl.Series:
    """Mean % RH of what is known of the two days before each reading; null where nothing is. readings : taken_at and
    visit.
    """
    _, some = humidity(snapshot, readings, tuple(lag for lag in LAGS if lag <= BEFORE))
    known = np.isfinite(some)
    mean = np.where(known, some, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    return pl.Series(np.where(known.any(axis=1), mean, np.nan)).fill_nan(None)


def followed(snapshot: Snapshot) -> dict[str, Followed]:
    """By characteristic."""
    rows = snapshot.once(damp)
    told = {}
    for (name,), own in rows.group_by("characteristic", maintain_order=True):
        known = own.filter(pl.col("rh").is_not_null())
        if known.is_empty():
            told[str(name)] = AIRLESS
            continue
        usual = float(np.median(known["rh"].to_numpy()))
        named = known.filter((pl.col("supplier") != "") & (pl.col("lot") != "") & pl.col("day").is_not_null())
        found = common_slope(_read(named)) if named.height else NOT_TOLD
        if not found.shown:
            told[str(name)] = Followed(usual, 0.0, found.low, found.high, 0.0, False)
        else:
            told[str(name)] = Followed(usual, found.slope, found.low, found.high, found.error, True)
    return told


def of(snapshot: Snapshot, characteristic: str) -> Followed:
    """How bow follows the air; AIRLESS where no neck has a reading of it."""
    return snapshot.once(followed).get(characteristic, AIRLESS)


def at_same_air(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `damp` with shift (what of the reading goes with the air; 0 where none is shown or known), level (the
    reading without it) and outside_level (does that lie outside what was agreed; null without a limit).
    """
    rows, told = snapshot.once(damp), snapshot.once(followed)
    slope, usual = (
        rows["characteristic"].replace_strict(
            {name: getattr(one, part) for name, one in told.items()}, default=None, return_dtype=pl.Float64
        )
        for part in ("slope", "usual")
    )
    rows = rows.with_columns(shift=((pl.col("rh") - usual) * slope).fill_null(0.0).fill_nan(0.0))
    rows = rows.with_columns(level=pl.col("value") - pl.col("shift"))
    below, above = halves(snapshot.shop, rows)
    lower, upper = (rows[name].cast(pl.Float64).fill_null(np.nan).to_numpy() for name in ("lower", "upper"))
    outside, _ = against(rows["level"].cast(pl.Float64).fill_null(np.nan).to_numpy(), below, above, lower, upper)
    limited = pl.col("outside").is_not_null()
    return rows.with_columns(outside_level=pl.when(limited).then(pl.Series(outside, dtype=pl.Boolean)))


def by_lot(snapshot: Snapshot) -> pl.DataFrame:
    """lots.KEY, and null where bow is not shown to follow the air: air_moves (mean shift of a lot's necks, mm) and
    bad_same_air (necks that would lie outside in the usual air; null without limits too); air_usual (% RH of the middle
    neck), air_rh (of the lot's necks) and air_far (they lie FAR or more apart, what that does is not shown, and by what
    the readings leave open it may be MATTERS of the spread within lots or more).
    """
    told = snapshot.once(followed)
    shown = {name: one.shown for name, one in told.items()}
    usual = {name: one.usual for name, one in told.items()}
    follows = pl.col("characteristic").replace_strict(shown, default=False, return_dtype=pl.Boolean)
    rows = (
        snapshot.once(at_same_air)
        .group_by(lots.KEY, maintain_order=True)
        .agg(
            pl.len().cast(pl.Int64).alias("n"),
            pl.col("value").var().fill_null(0.0).alias("var"),
            pl.col("shift", "rh").mean(),
            pl.col("outside_level").sum().cast(pl.Int64).alias("bad"),
            pl.col("outside_level").is_not_null().all().alias("limited"),
        )
        .with_columns(
            follows=follows,
            air_usual=pl.col("characteristic").replace_strict(usual, default=None, return_dtype=pl.Float64),
        )
    )
    there = pl.col("follows") & pl.col("rh").is_not_null()
    most = {name: max(abs(one.low), abs(one.high)) for name, one in told.items()}
    may = pl.col("characteristic").replace_strict(most, default=0.0, return_dtype=pl.Float64)
    away = (pl.col("rh") - pl.col("air_usual")).abs()
    within = (pl.col("var") * (pl.col("n") - 1)).sum() / (pl.col("n") - 1).sum()
    spread = within.over("characteristic").sqrt()
    far = ~pl.col("follows") & (away >= FAR) & (away * may >= MATTERS * spread)
    return rows.select(
        *lots.KEY,
        "air_usual",
        pl.col("rh").alias("air_rh"),
        pl.when(there).then("shift").alias("air_moves"),
        pl.when(there & pl.col("limited")).then("bad").alias("bad_same_air"),
        far.fill_null(False).alias("air_far"),
    )


def codes(rows: pl.DataFrame, *names: str) -> Ints:
    """A number from 0 for what the columns say together, none left out (n,)."""
    return dense(tables.one_key(*(tables.rank(rows[name]) for name in names))).code


def _read(rows: pl.DataFrame) -> Read:
    value, rh = (_floats(rows, name) for name in ("value", "rh"))
    week = rows["week"].to_numpy().astype(np.int64)
    return Read(value, rh, codes(rows, "supplier"), codes(rows, "model"), codes(rows, "supplier", "lot"), week)


def _floats(rows: pl.DataFrame, name: str) -> Floats:
    return np.asarray(rows[name].to_numpy(), dtype=np.float64)
