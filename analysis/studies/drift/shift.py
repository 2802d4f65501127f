"""How much a stream moved, and how much of its work lay outside what was asked, before the change began and since."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from analysis.methods.intervals import binomial_exact
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.story.conformity import with_specs
from ingest.store.snapshot import Snapshot

Z95 = 1.96


@dataclass(frozen=True)
class Outside:
    """Readings outside their limits among those that had any."""

    outside: int
    n: int
    low: float  # exact 95 % interval of the share
    high: float
    first_at: datetime | None
    last_at: datetime | None


@dataclass(frozen=True)
class Shift:
    """One signal in figures, in the unit of the readings."""

    size: float  # mean since it began minus mean before
    low: float  # 95 %, by the stream's sigma, as if the beginning were known
    high: float
    share: float | None  # of the tolerance in force at its last reading
    n_before: int
    n_after: int
    before: Outside
    since: Outside


def shift(
    snapshot: Snapshot,
    *,
    characteristic: str,
    position: str = "",
    model: str,
    stage: str,
    tech: str = "",
    opened_at: datetime,
) -> Shift | None:
    """The shift of the signal of a stream that opened at a reading; None where no such signal is there or its beginning
    cannot be told.
    """
    judged = snapshot.once(signals)
    wanted = {"characteristic": characteristic, "position": position, "model": model, "stage": stage, "tech": tech}
    found = (
        pl.DataFrame()
        if judged is None
        else judged.found.filter(*[pl.col(k) == v for k, v in wanted.items()], pl.col("opened_at") == opened_at)
    )
    if judged is None or found.is_empty():
        return None
    row = found.row(-1, named=True)
    if row["size"] is None:
        return None
    first, began, last = (int(row[name]) for name in ("first_reading", "began_reading", "last_reading"))
    if row["closed_at"] is None:
        last = int(judged.streams.ends[row["stream"]])
    n_before, n_after = began - first, last - began + 1
    error = (
        Z95 * _sigma(judged, int(row["stream"])) * float(np.sqrt(1 / n_before + 1 / n_after))
        if n_before and n_after
        else float("nan")
    )
    readings = with_specs(snapshot, judged.streams.readings.at(slice(first, last + 1)))
    room = readings.select(pl.col("upper") - pl.col("lower"))["upper"][-1]
    size = float(row["size"])
    return Shift(
        size,
        size - error,
        size + error,
        abs(size) / room if room else None,
        n_before,
        n_after,
        outside(readings[:n_before]),
        outside(readings[n_before:]),
    )


def outside(readings: pl.DataFrame) -> Outside:
    """Count, interval and span of readings (taken_at, outside: null without a limit), oldest first."""
    limited = readings.filter(pl.col("outside").is_not_null())
    k, n = int(limited["outside"].sum()), len(limited)
    low, high = binomial_exact(k, n)
    taken = limited["taken_at"]
    return Outside(k, n, float(low), float(high), taken[0] if n else None, taken[-1] if n else None)


def _sigma(judged: Signals, stream: int) -> float:
    return float(judged.streams.eras.sigma[judged.streams.last_era][stream])
