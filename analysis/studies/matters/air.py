"""Humidity and temperature as readings may follow them: one number an instrument, some hours before it was read.

Readings may follow the air in proportion, or move only where it lies further out than was usual (damp or dry days):
wood that is sealed, or a room that is kept, answers to much and not to little. One column a lag and shape, and the
price of looking at several is paid by the prior weight of each. From climate.csv, of its
rooms the one read most often; without it what was noted with the visits, which knows no lag.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Floats
from analysis.studies.matters.records import HUMIDITY, TEMPERATURE
from ingest.store.snapshot import Snapshot

LAGS = (0, 24, 48, 96)  # hours; wood takes its time (common practice, no published source for the hours)
HOUR = 3_600_000_000  # microseconds
STALE = 3 * HOUR  # an older reading of the hygrometer says nothing of the hour
KNOWN = 0.8  # of the instruments must have it
BEYOND = 2.0  # standard deviations over the first half, from which on the air is damper or drier than was usual


@dataclass(frozen=True)
class Moved:
    """How far the air lay off where it did."""

    by: float  # of its column
    change: float  # % RH or degrees C
    where: Flags  # (n,) readings since then at which it did


@dataclass(frozen=True)
class Air:
    """The air so many hours before each instrument was read."""

    factor: str  # humidity | temperature
    lag_hours: int
    raw: Floats  # (n,) % RH or degrees C, nan where not known
    # (n,) less its mean over the first half, over its standard deviation; or 1 where it is damper or warmer than was
    # usual, -1 where drier or colder; 0 where not known
    value: Floats
    scanned: bool  # readings may follow it since some day only
    weight: float

    def moved(self, before: Flags, since: Flags, side: int) -> Moved:
        """What the air did since then, to one side (+1: above), against what it was before."""
        known = ~np.isnan(self.raw)
        if not (before & known).any() or not (since & known).any():
            return Moved(0.0, 0.0, since)
        off = self.value - self.value[before & known].mean()
        far = float(np.quantile(side * off[since & known], 0.9)) / 2
        strong = since & known & (side * off >= far)
        if far <= 0 or not strong.any():
            return Moved(0.0, 0.0, since)
        change = float(self.raw[strong].mean() - self.raw[before & known].mean())
        return Moved(float(off[strong].mean()), change, strong)


def airs(snapshot: Snapshot, rows: pl.DataFrame, visits: pl.DataFrame) -> dict[str, Air]:
    """By name of column: humidity and temperature at each lag, followed always or since some day."""
    found: dict[str, Air] = {}
    for factor, column in ((HUMIDITY, "rh"), (TEMPERATURE, "temperature")):
        lags, every = _at(snapshot, rows, visits, column)
        usable = []
        for lag, raw in zip(lags, every.T, strict=True):
            known = ~np.isnan(raw)
            if known.mean() < KNOWN or np.nanstd(raw) < 1e-6:
                continue
            usable.append((lag, raw, known))
        for lag, raw, known in usable:
            half = known & (np.arange(len(raw)) < len(raw) / 2)
            if not half.any():
                continue
            mean, spread = float(raw[half].mean()), float(np.nanstd(raw))
            value = np.where(known, (raw - mean) / spread, 0.0)
            off, usual = np.where(known, raw - mean, 0.0), float(raw[half].std())
            beyond = np.sign(off) * (np.abs(off) > BEYOND * usual)
            shapes = {"": value, " beyond": beyond} if usual > 0 and beyond.any() else {"": value}
            weight = 0.5 / len(usable) / len(shapes)
            for shape, follows in shapes.items():
                for scanned in (False, True):
                    name = f"{factor} {lag}{shape}{' since' if scanned else ''}"
                    found[name] = Air(factor, lag, raw, follows, scanned, weight)
    return found


def _at(snapshot: Snapshot, rows: pl.DataFrame, visits: pl.DataFrame, column: str) -> tuple[tuple[int, ...], Floats]:
    """Lags, and the air so long before each reading (n, lags)."""
    noted = visits[column].gather(rows["visit"]).cast(pl.Float64).fill_null(np.nan).to_numpy()
    air = snapshot.table("climate").filter(pl.col(column).is_not_null() & pl.col("at").is_not_null())
    if air.is_empty():
        return (0,), np.asarray(noted)[:, None]
    room = air.group_by("room").len().sort("len", "room", descending=[True, False])["room"][0]
    air = air.filter(pl.col("room") == room).sort("at")
    at, value = air["at"].cast(pl.Int64).to_numpy(), air[column].to_numpy()
    wanted = rows["taken_at"].cast(pl.Int64).to_numpy()[:, None] - np.array(LAGS)[None, :] * HOUR
    place = np.searchsorted(at, wanted, side="right") - 1
    gap = int(np.median(np.diff(at))) if len(at) > 1 else 0
    fresh = (place >= 0) & (wanted - at[np.maximum(place, 0)] <= max(STALE, 2 * gap))
    return LAGS, np.where(fresh, value[np.maximum(place, 0)], np.nan)
