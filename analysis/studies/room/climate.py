"""What goes with the air: how a characteristic moves with relative humidity some hours before, model by model and
position by position.

Readings as set (first final inspection), less the target of their spec where there is one, so that a changed target
is no change of the wood. Both the readings and the air are taken off their means of the week (`trends`): what drifts
over weeks drifts with any season, so only what moves with the air from day to day counts. Thick wood lags the air by
days; the lag is the one of LAGS that explains most, and having chosen it costs width: the interval is that of as many
independent lags as these are worth. What moves together need not be a cause: readings are not corrected by these
slopes.

Source: lags worth so many independent ones by the eigenvalues of their correlation, Li & Ji 2005, Heredity 95 (from
memory; the rate is shown by simulation, tests/trials/air.md).
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.segments import Floats, Ints, lengths
from analysis.studies.story.conformity import as_set
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

LAGS = (0, 6, 12, 24, 36, 48, 72, 96, 120, 168)  # hours
HOUR = 3_600_000_000  # microseconds
STALE = 3 * HOUR  # an older reading of the hygrometer says nothing of the hour
LEAST_DAYS = 10
LEAST_WEEKS = 8  # from here on weeks are what is taken as independent, below it days
MONDAY = 3  # days since 1970-01-01 plus this, over seven: the week of a day

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


def humidity(snapshot: Snapshot, readings: pl.DataFrame) -> tuple[tuple[int, ...], Floats]:
    """Lags in hours and % RH so long before each reading, shape (n, lags); nan where nobody looked at the hygrometer in
    the three hours before.

    From climate.csv, of its rooms the one read most often; without it what was noted with the visits, which knows no
    lag.
    """
    air = snapshot.table("climate").filter(pl.col("rh").is_not_null() & pl.col("at").is_not_null())
    if air.is_empty():
        noted = snapshot.once(story).visits["rh"].gather(readings["visit"]).cast(pl.Float64).fill_null(np.nan)
        return (0,), noted.to_numpy()[:, None]
    room = air.group_by("room").len().sort("len", "room", descending=[True, False])["room"][0]
    air = air.filter(pl.col("room") == room).sort("at")
    at, rh = air["at"].cast(pl.Int64).to_numpy(), air["rh"].to_numpy()
    wanted = readings["taken_at"].cast(pl.Int64).to_numpy()[:, None] - np.array(LAGS)[None, :] * HOUR
    place = np.searchsorted(at, wanted, side="right") - 1
    fresh = (place >= 0) & (wanted - at[np.maximum(place, 0)] <= STALE)
    return LAGS, np.where(fresh, rh[np.maximum(place, 0)], np.nan)


def _found(readings: pl.DataFrame, damp: Floats, lags: Floats, least: int) -> pl.DataFrame:
    """A row a model, characteristic and position with what can be told of it."""
    row = readings.select(pl.struct(KEY).rle_id().cast(pl.Int64).alias("row"))["row"].to_numpy()
    starts = np.flatnonzero(np.diff(row, prepend=-1))
    y = (readings["value"] - readings["target"].fill_null(0.0)).to_numpy().astype(np.float64)
    n, s = lengths(starts, len(y)), np.arange(len(starts))
    day = readings["day"].cast(pl.Int32).to_numpy().astype(np.int64)
    week = (day + MONDAY) // 7
    off = _within(row, week, np.column_stack([y, damp]))
    y_off, x_off = off[:, 0], off[:, 1:]
    xx, xy, yy = (
        np.add.reduceat(x_off**2, starts),
        np.add.reduceat(x_off * y_off[:, None], starts),
        np.add.reduceat(y_off**2, starts),
    )
    slope = np.divide(xy, xx, out=np.zeros_like(xy), where=xx > 1e-9)
    share = np.divide(slope * xy, yy[:, None], out=np.zeros_like(xy), where=(yy > 1e-18)[:, None])
    best = share.argmax(axis=1)
    x = x_off[np.arange(len(y)), best[row]]
    push = x * (y_off - slope[s, best][row] * x)
    days, by_day = _clusters(row, day, push, len(s))
    weeks, by_week = _clusters(row, week, push, len(s))
    groups, squares = np.where(weeks >= LEAST_WEEKS, weeks, days), np.where(weeks >= LEAST_WEEKS, by_week, by_day)
    told = (n >= least) & (days >= LEAST_DAYS) & (xx[s, best] > 1e-9) & (yy > 1e-18)
    error = np.sqrt(squares * groups / np.maximum(groups - 1, 1)) / np.where(told, xx[s, best], 1.0)
    worth = _independent_lags(x_off, starts)
    rest = np.maximum(yy - slope[s, best] * xy[s, best], 0.0) / np.maximum(n - weeks - 1, 1)  # each week has a mean
    plain = np.sqrt(np.divide(rest, xx[s, best], out=np.zeros(len(s)), where=told))
    error = np.maximum(error, plain)  # few weeks may look more alike than they are
    half = stats.t.isf(0.5 * (1 - 0.95 ** (1 / worth)), np.maximum(groups - 2, 1)) * error
    b = slope[s, best]
    columns = {
        "slope": b,
        "low": b - half,
        "high": b + half,
        "lag_hours": lags[best],
        "share_explained": share[s, best],
    }
    shown = {name: pl.Series(np.where(told, values, np.nan)).fill_nan(None) for name, values in columns.items()}
    return readings[starts].select(KEY).with_columns(**shown, n=pl.Series(n), days=pl.Series(days))


def _within(row: Ints, week: Ints, columns: Floats) -> Floats:
    """Each column less its mean over the readings of the same row and week (n, k)."""
    _, which = np.unique(row * (int(week.max()) + 1) + week, return_inverse=True)
    size = np.bincount(which)
    means = np.stack([np.bincount(which, column) / size for column in columns.T], axis=1)
    return np.asarray(columns - means[which])


def _independent_lags(x: Floats, starts: Ints) -> Floats:
    """How many independent lags those of each row are worth, between 1 and their number (s,)."""
    products = np.add.reduceat(x[:, :, None] * x[:, None, :], starts)
    size = np.sqrt(np.einsum("sii->si", products))
    scale = size[:, :, None] * size[:, None, :]
    correlation = np.divide(products, scale, out=np.zeros_like(products), where=scale > 1e-12)
    values = np.clip(np.linalg.eigvalsh(correlation), 0.0, None)
    worth = (values >= 1).sum(axis=1) + (values - np.floor(values)).sum(axis=1)
    return np.asarray(np.maximum(np.round(worth, 6), 1.0), dtype=np.float64)


def _clusters(row: Ints, when: Ints, push: Floats, rows: int) -> tuple[Ints, Floats]:
    """How many days (or weeks) each row has, and the sum over them of their squared sums of `push`."""
    span = int(when.max()) + 1
    keys, which = np.unique(row * span + when, return_inverse=True)
    owner = keys // span
    squares = np.bincount(owner, np.bincount(which, push) ** 2, minlength=rows).astype(np.float64)
    return np.bincount(owner, minlength=rows).astype(np.int64), squares
