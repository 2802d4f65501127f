"""Where the air of the room takes its wood: the moisture content that wood comes to in the air of the last seven days
on file, and of the four weeks before them.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from analysis.methods import moisture
from analysis.methods.problems import UnusableData
from ingest.store.snapshot import Snapshot

NOW, BEFORE = timedelta(days=7), timedelta(days=28)
LEAST = 4  # days of a span on which somebody looked at the hygrometer


@dataclass(frozen=True)
class Air:
    """The air of some days, each day counting once, and where it takes wood."""

    rh: float  # mean, %
    celsius: float  # mean
    moisture: float  # % of dry weight


@dataclass(frozen=True)
class Wood:
    """The last seven days of air on file, and what came before."""

    last: datetime  # UTC, the newest reading
    now: Air
    before: Air | None  # of the four weeks before; None where too few days were read


def wood(snapshot: Snapshot) -> Wood | None:
    """Of the room read most often; None without humidity and temperature of at least four of its last seven days, or
    where the sensor cannot be right.
    """
    air = snapshot.table("climate").drop_nulls(["at", "rh", "temperature"])
    if air.is_empty():
        return None
    room = air.group_by("room").len().sort("len", "room", descending=[True, False])["room"][0]
    air = air.filter(pl.col("room") == room)
    last: datetime = air["at"].max()  # type: ignore[assignment]
    now = _air(air.filter(pl.col("at") > last - NOW))
    if now is None:
        return None
    return Wood(last, now, _air(air.filter(pl.col("at").is_between(last - NOW - BEFORE, last - NOW))))


def _air(rows: pl.DataFrame) -> Air | None:
    days = rows.group_by(pl.col("at").dt.date()).agg(pl.col("rh", "temperature").mean()).sort("at")
    if days.height < LEAST:
        return None
    try:
        each = moisture.equilibrium(days["rh"].to_numpy(), days["temperature"].to_numpy())
    except UnusableData:  # a hygrometer beyond what there is: nothing is said of the wood
        return None
    rh, celsius = days["rh"].to_numpy().mean(), days["temperature"].to_numpy().mean()
    return Air(float(rh), float(celsius), float(each.mean()))
