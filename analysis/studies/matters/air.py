"""Humidity and temperature as readings may follow them: one number an instrument, some hours before it was read.

Readings may follow the air in proportion, or move only where it is damper than was usual, or drier, by so much: wood
that is sealed, or a room that is kept, answers to much and not to little, and seldom to both sides alike. One column a
lag and shape, and the price of looking at several is paid by the prior weight of each. From climate.csv, of its
rooms the one read most often; without it what was noted with the visits, which knows no lag.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.matters.records import HUMIDITY, TEMPERATURE
from analysis.studies.story.columns import Columns
from ingest.store.snapshot import Snapshot

LAGS = (0, 24, 48, 96)  # hours; wood takes its time (common practice, no published source for the hours)
HOUR = 3_600_000_000  # microseconds
STALE = 3 * HOUR  # an older reading of the hygrometer says nothing of the hour
KNOWN = 0.8  # of the instruments must have it
# standard deviations over the first half, from which on the air is damper or drier than was usual: how much it takes
# before a sealed or a kept piece of wood answers is not known beforehand
BEYOND = (1.0, 2.0)


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
    # usual; or -1 where drier or colder; 0 elsewhere and where not known
    value: Floats
    scanned: bool  # readings may follow it since some day only
    weight: float

    def moved(self, before: Flags, since: Flags, side: int) -> Moved:
        """What the air did since then, to one side (+1: above), against what it was before."""
        known = ~np.isnan(self.raw)
        if not (before & known).any() or not (since & known).any():
            return Moved(0.0, 0.0, since)
        off = self.value - self.value[before & known].mean()
        there = side * off[since & known]
        far = float(np.quantile(there, 0.9)) / 2
        if far <= 0:  # damp or dry days are few among all since then
            far = float(there.max()) / 2
        strong = since & known & (side * off >= far)
        if far <= 0:
            return Moved(0.0, 0.0, since)
        change = float(self.raw[strong].mean() - self.raw[before & known].mean())
        return Moved(float(off[strong].mean()), change, strong)


def raw_airs(snapshot: Snapshot, rows: pl.DataFrame, visits: Columns) -> dict[str, tuple[tuple[int, ...], Floats]]:
    """Humidity and temperature before each instrument (visit, taken_at): lags, and the air so long before (n, lags)."""
    return {
        factor: _at(snapshot, rows, visits, column)
        for factor, column in ((HUMIDITY, "rh"), (TEMPERATURE, "temperature"))
    }


def airs(raws: dict[str, tuple[tuple[int, ...], Floats]]) -> dict[str, Air]:
    """By name of column: humidity and temperature at each lag, followed always or since some day."""
    found: dict[str, Air] = {}
    for factor, (lags, every) in raws.items():
        usable = []
        for lag, raw in zip(lags, every.T, strict=True):
            known = ~np.isnan(raw)
            spread = float(raw[known].std()) if known.mean() >= KNOWN else 0.0
            if spread >= 1e-6:
                usable.append((lag, raw, known, spread))
        for lag, raw, known, spread in usable:
            half = raw[: -(-len(raw) // 2)][known[: -(-len(raw) // 2)]]
            if not len(half):
                continue
            mean, usual = float(half.mean()), float(half.std())
            off = np.where(known, raw - mean, 0.0)
            value = off / spread
            shapes = {"": value}
            for far in BEYOND if usual > 0 else ():
                for word, side in (("above", 1), ("below", -1)):
                    beyond = side * (side * off > far * usual).astype(np.float64)
                    if beyond.any():
                        shapes[f" {word} {far:.0f}"] = beyond
            weight = 0.5 / len(usable) / len(shapes)
            for shape, follows in shapes.items():
                for scanned in (False, True):
                    name = f"{factor} {lag}{shape}{' since' if scanned else ''}"
                    found[name] = Air(factor, lag, raw, follows, scanned, weight)
    return found


def _at(snapshot: Snapshot, rows: pl.DataFrame, visits: Columns, column: str) -> tuple[tuple[int, ...], Floats]:
    """Lags, and the air so long before each reading (n, lags)."""
    air = snapshot.once(rooms)[column]
    if air is None:
        noted = visits[column].gather(rows["visit"]).cast(pl.Float64).fill_null(np.nan).to_numpy()
        return (0,), np.asarray(noted)[:, None]
    wanted = rows["taken_at"].cast(pl.Int64).to_numpy()[:, None] - np.array(LAGS)[None, :] * HOUR
    place = np.searchsorted(air.at, wanted, side="right") - 1
    fresh = (place >= 0) & (wanted - air.at[np.maximum(place, 0)] <= max(STALE, 2 * air.gap))
    return LAGS, np.where(fresh, air.value[np.maximum(place, 0)], np.nan)


@dataclass(frozen=True)
class Room:
    """The room read most often: when, what, and how far apart in microseconds (a median)."""

    at: Ints
    value: Floats
    gap: int


def rooms(snapshot: Snapshot) -> dict[str, Room | None]:
    """Of climate.csv, for humidity and for temperature; None where nobody wrote it down."""
    found: dict[str, Room | None] = {}
    written = snapshot.table("climate").filter(pl.col("at").is_not_null())
    for column in ("rh", "temperature"):
        air = written.filter(pl.col(column).is_not_null())
        found[column] = None
        if len(air):
            room = air.group_by("room").len().sort("len", "room", descending=[True, False])["room"][0]
            air = air.filter(pl.col("room") == room).sort("at")
            at = air["at"].cast(pl.Int64).to_numpy().astype(np.int64)
            gap = int(np.median(np.diff(at))) if len(at) > 1 else 0
            found[column] = Room(at, air[column].to_numpy().astype(np.float64), gap)
    return found
