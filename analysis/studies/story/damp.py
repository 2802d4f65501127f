"""How damp it was some hours before each reading."""

import numpy as np
import polars as pl

from analysis.methods.segments import Floats
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

LAGS = (0, 6, 12, 24, 36, 48, 72, 96, 120, 168)  # hours
HOUR = 3_600_000_000  # microseconds
STALE = 3 * HOUR  # an older reading of the hygrometer says nothing of the hour


def humidity(
    snapshot: Snapshot, readings: pl.DataFrame, lags: tuple[int, ...] = LAGS
) -> tuple[tuple[int, ...], Floats]:
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
    wanted = readings["taken_at"].cast(pl.Int64).to_numpy()[:, None] - np.array(lags)[None, :] * HOUR
    place = np.searchsorted(at, wanted, side="right") - 1
    fresh = (place >= 0) & (wanted - at[np.maximum(place, 0)] <= STALE)
    return lags, np.where(fresh, rh[np.maximum(place, 0)], np.nan)
