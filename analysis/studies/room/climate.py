"""What goes with the air: how a characteristic moves with relative humidity some hours before, model by model and
position by position.

Readings as set (first final inspection), less the target of their spec where there is one, so that a changed target
is no change of the wood. Thick wood lags the air by days: the lag is chosen, and the interval pays for it
(`methods/lagged_slope.py`). What moves together need not be a cause: readings are not corrected by these slopes.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.lagged_slope import lagged_slopes
from analysis.methods.segments import Floats, Ints, lengths
from analysis.methods.slow_slope import slow_slopes as week_by_week
from analysis.studies.story.conformity import as_set
from analysis.studies.story.damp import humidity
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

CLIMATE: dict[str, pl.DataType] = {
    "model": pl.String(),
    "characteristic": pl.String(),
    "position": pl.String(),
    "slope": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "lag_hours": pl.Float64(),
    "share_explained": pl.Float64(),
}
SLOW: dict[str, pl.DataType] = {
    "model": pl.String(),
    "characteristic": pl.String(),
    "position": pl.String(),
    "slope": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "share": pl.Float64(),
}
KEY = ["setup", "characteristic", "position"]


def climate_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`climate` of the figures: slope in canonical units per % RH with its 95 % interval, null where it cannot be told.

    Under the shop's least readings, ten days, or no humidity on file nothing is told. Readings of one week move
    together for many reasons, so the interval takes weeks as independent (under eight weeks days), not readings, and
    that the lag was chosen is in it. share_explained is of the readings' variance within weeks.
    """
    return snapshot.once(slopes).select(CLIMATE.keys())


def slopes(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `table` with n and days: readings, and days on which they were taken, that have humidity at every
    lag.
    """
    readings = snapshot.once(as_set).filter(pl.col("setup") != "")
    columns = CLIMATE | {"n": pl.Int64(), "days": pl.Int64()}
    if readings.is_empty():
        return pl.DataFrame(schema=columns)
    rows = tables.plain(readings.sort(KEY).select(KEY).unique(maintain_order=True))
    known = snapshot.once(_known)
    if known is None:
        found = pl.DataFrame(schema={**dict.fromkeys(KEY, pl.String), "n": pl.Int64})
    else:
        found = tables.plain(_found(known, snapshot.shop.judging.least_readings))
    joined = rows.join(found, on=KEY, how="left", maintain_order="left").with_columns(pl.col("setup").alias("model"))
    absent = [pl.lit(None, dtype=dtype).alias(name) for name, dtype in columns.items() if name not in joined.columns]
    filled = joined.with_columns(absent).with_columns(pl.col("n", "days").fill_null(0))
    return filled.select(columns.keys()).cast(dict(columns))  # type: ignore[arg-type]


def slow_slopes(snapshot: Snapshot) -> pl.DataFrame:
    """How readings move with the humidity from week to week: a row a model, characteristic and position of which it can
    be told. Slope in canonical units per % RH (the mean over the hours of `humidity` before each reading) with a 95 %
    interval that counts how slowly both drift, and the share of the readings' variance that goes with the air that way
    (`methods/slow_slope.py`).
    """
    known = snapshot.once(_known)
    if known is None:
        return pl.DataFrame(schema=SLOW)
    found = week_by_week(
        known.value, known.damp.mean(axis=1), known.row, known.day, least=snapshot.shop.judging.least_readings
    )
    columns = {"slope": found.slope, "low": found.slope - found.half, "high": found.slope + found.half}
    rows = tables.plain(known.keys).with_columns(
        pl.col("setup").alias("model"), share=pl.Series(found.share), **{k: pl.Series(v) for k, v in columns.items()}
    )
    return rows.filter(pl.col("slope").is_not_nan()).select(SLOW.keys()).cast(dict(SLOW))  # type: ignore[arg-type]


@dataclass(frozen=True)
class _Known:
    """Readings that have humidity at every lag, a row of `keys` after the other."""

    keys: pl.DataFrame  # setup, characteristic, position
    lags: Floats  # hours
    row: Ints  # (n,) of keys
    value: Floats  # (n,) less the target
    damp: Floats  # (n, lags) % RH
    day: Ints  # (n,)


def _known(snapshot: Snapshot) -> _Known | None:
    """None where there are none."""
    readings = snapshot.once(as_set).filter(pl.col("setup") != "").sort(*KEY, "taken_at", maintain_order=True)
    if readings.is_empty():
        return None
    lags, damp = humidity(snapshot, readings)
    known = np.isfinite(damp).all(axis=1)
    readings, damp = readings.filter(pl.Series(known)), damp[known]
    if readings.is_empty():
        return None
    row = readings.select(pl.struct(KEY).rle_id().cast(pl.Int64).alias("row"))["row"].to_numpy()
    return _Known(
        readings[np.flatnonzero(np.diff(row, prepend=-1))].select(KEY),
        np.array(lags, dtype=np.float64),
        row,
        (readings["value"] - readings["target"].fill_null(0.0)).to_numpy().astype(np.float64),
        damp,
        readings["day"].cast(pl.Int32).to_numpy().astype(np.int64),
    )


def _found(known: _Known, least: int) -> pl.DataFrame:
    """A row a model, characteristic and position with what can be told of it."""
    found = lagged_slopes(known.value, known.damp, known.row, known.day, least=least)
    columns = {
        "slope": found.slope,
        "low": found.slope - found.half,
        "high": found.slope + found.half,
        "lag_hours": known.lags[found.lag],
        "share_explained": found.share,
    }
    shown = {name: pl.Series(np.where(found.told, values, np.nan)).fill_nan(None) for name, values in columns.items()}
    n = pl.Series(lengths(np.flatnonzero(np.diff(known.row, prepend=-1)), len(known.row)))
    return known.keys.with_columns(**shown, n=n, days=pl.Series(found.days))
