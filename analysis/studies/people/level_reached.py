"""Since when somebody new lies with the others: in what they set, and in minutes.

Week by week what they set is held against the others on the same models, positions and days, and their minutes against
the hands of `learning_curves` on the same mix. Within a quarter of the others' spread, or a twentieth of their minutes,
a difference does not matter (`methods.reached`).
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from analysis.methods.reached import reached
from analysis.methods.segments import Floats
from analysis.studies.people.set_spread import weekly
from ingest.store.snapshot import Snapshot

OF_SPREAD, OF_MINUTES = 0.25, 0.05  # what does not matter, of the others' spread and of their minutes
LEAST = 3  # visits of a week


@dataclass(frozen=True)
class Since:
    """First days of weeks: at the others' level since `at`, not before `low`, known by `high`."""

    at: date
    low: date
    high: date


def in_what_is_set(snapshot: Snapshot, *, characteristic: str, stage: str, tech: str) -> Since | None:
    """Since when what a tech sets lies with what the others set; None of somebody who was never shown to be off, or is
    not shown to lie with them yet.
    """
    rows = weekly(snapshot, characteristic=characteristic, stage=stage, tech=tech)
    if rows.is_empty():
        return None
    margin = OF_SPREAD * float(rows["sd_others"][0])
    return _since(rows["week"].to_list(), rows["offset"].to_numpy(), rows["error"].to_numpy(), margin)


def in_minutes(day: pl.Series, even: pl.Series, hands: tuple[float, float]) -> Since | None:
    """Since when a tech's minutes, brought to the mix that the hands' quartiles are on, are theirs; None likewise.

    day, even : (n,) of each timed visit.
    """
    low, high = hands
    if not 0 < low <= high:
        return None
    told = pl.DataFrame({"week": day.dt.truncate("1w"), "off": even.log() - (np.log(low) + np.log(high)) / 2})
    spread = (told["off"] - told.select(pl.col("off").mean().over("week"))["off"]).std()
    rows = (
        told.group_by("week").agg(pl.col("off").mean(), pl.len().alias("n")).filter(pl.col("n") >= LEAST).sort("week")
    )
    if rows.is_empty() or not spread:
        return None
    error = float(str(spread)) / np.sqrt(rows["n"].to_numpy().astype(np.float64))
    return _since(rows["week"].to_list(), rows["off"].to_numpy(), error, float(np.log1p(OF_MINUTES)))


def _since(weeks: list[date], difference: Floats, error: Floats, margin: float) -> Since | None:
    told = reached(difference, error, margin) if margin > 0 and bool((error > 0).all()) else None
    return Since(weeks[told.at], weeks[told.low], weeks[told.high]) if told else None
