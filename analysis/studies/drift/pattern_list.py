"""Instruments whose every number may pass and whose pattern is wrong: the newest first, with what drives each."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl
from scipy.special import ndtr

from analysis.studies.drift.signals import ODD, signals
from analysis.studies.drift.together import beyond
from ingest.store.snapshot import Snapshot

DRIVERS = 3
RARE = 2 * float(ndtr(-ODD))  # of steady instruments


@dataclass(frozen=True)
class OddPattern:
    """An instrument whose readings together are unlike the others."""

    serial: str
    model: str
    stage: str
    taken_at: datetime
    t2: float
    drivers: pl.DataFrame  # characteristic, position, value, usual and how far each goes, the largest first


def pattern_list(snapshot: Snapshot, *, weeks: int = 13) -> list[OddPattern]:
    """Instruments of the last weeks whose T2 is as rare as a single reading beyond four sigma, newest first.

    They are marks: none opens a signal, none counts in the budget of false ones.
    """
    judged = snapshot.once(signals)
    if judged is None:
        return []
    since = snapshot.as_of - timedelta(weeks=weeks)
    found = []
    for chart in judged.patterns:  # a loop over setups
        late = (chart.points["taken_at"] >= since).to_numpy()
        for place in np.flatnonzero(beyond(chart, RARE) & late):  # and over marks, not over readings
            odd = chart.drivers(int(place)).filter(pl.col("odd_alone") | pl.col("odd_given_others")).head(DRIVERS)
            point = chart.points.row(int(place), named=True)
            found.append(
                OddPattern(
                    point["serial"], chart.model, chart.stage, point["taken_at"], float(chart.t2[int(place)]), odd
                )
            )
    return sorted(found, key=lambda one: one.taken_at, reverse=True)
