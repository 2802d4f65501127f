"""What goes with the air: how a characteristic moves with relative humidity some hours before, model by model and
position by position.

Readings as set (first final inspection), less the target of their spec where there is one, so that a changed target
is no change of the wood. Thick wood lags the air by days: the lag is chosen, and the interval pays for it
(`methods/lagged_slope.py`). What moves together need not be a cause: readings are not corrected by these slopes.
"""

import numpy as np
import polars as pl

from analysis.methods.lagged_slope import lagged_slopes
from analysis.methods.segments import Floats, lengths
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
    readings = snapshot.once(as_set).filter(pl.col("setup") != "").sort(*KEY, "taken_at", maintain_order=True)
    columns = CLIMATE | {"n": pl.Int64(), "days": pl.Int64()}
    if readings.is_empty():
        return pl.DataFrame(schema=columns)
    rows = tables.plain(readings.select(KEY).unique(maintain_order=True))
    lags, damp = humidity(snapshot, readings)
    known = np.isfinite(damp).all(axis=1)
    readings, damp = readings.filter(pl.Series(known)), damp[known]
    if readings.is_empty():
        found = pl.DataFrame(schema={**dict.fromkeys(KEY, pl.String), "n": pl.Int64})
    else:
        least = snapshot.shop.judging.least_readings
        found = tables.plain(_found(readings, damp, np.array(lags, dtype=np.float64), least))
    joined = rows.join(found, on=KEY, how="left", maintain_order="left").with_columns(pl.col("setup").alias("model"))
    absent = [pl.lit(None, dtype=dtype).alias(name) for name, dtype in columns.items() if name not in joined.columns]
    filled = joined.with_columns(absent).with_columns(pl.col("n", "days").fill_null(0))
    return filled.select(columns.keys()).cast(dict(columns))  # type: ignore[arg-type]


def _found(readings: pl.DataFrame, damp: Floats, lags: Floats, least: int) -> pl.DataFrame:
    """A row a model, characteristic and position with what can be told of it."""
    row = readings.select(pl.struct(KEY).rle_id().cast(pl.Int64).alias("row"))["row"].to_numpy()
    starts = np.flatnonzero(np.diff(row, prepend=-1))
    y = (readings["value"] - readings["target"].fill_null(0.0)).to_numpy().astype(np.float64)
    day = readings["day"].cast(pl.Int32).to_numpy().astype(np.int64)
    found = lagged_slopes(y, damp, row, day, least=least)
    columns = {
        "slope": found.slope,
        "low": found.slope - found.half,
        "high": found.slope + found.half,
        "lag_hours": lags[found.lag],
        "share_explained": found.share,
    }
    shown = {name: pl.Series(np.where(found.told, values, np.nan)).fill_nan(None) for name, values in columns.items()}
    n = pl.Series(lengths(starts, len(y)))
    return readings[starts].select(KEY).with_columns(**shown, n=n, days=pl.Series(found.days))
