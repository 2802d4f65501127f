"""Does what moved go on moving, little by little, as what wears does? One step and an even slope are held against each
other over all readings of the series that moved.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.methods.change_point import WITHIN, drift, step
from analysis.studies.drift.actions import line_of
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.signals import Signals

LIKELIER = WITHIN  # log-likelihood of slopes over that of steps: twenty times


def slowly(judged: Signals, moved: Sequence[dict[str, Any]]) -> bool:
    """Is an even slope in each series twenty times likelier than one step in each, all of them together?

    moved : rows of Signals.found (their stream, first and last reading, size). Of single series with a step of one to
    three sigma, 12 to 200 readings ago, 1 in 100 or fewer are called slow; of slopes that have come 2.5 sigma in 80
    readings two in three, in 200 nearly all.
    """
    return sum(_likelier(judged, one) for one in moved) > LIKELIER


def _likelier(judged: Signals, signal: dict[str, Any]) -> float:
    """By how much (log) a slope the way the signal moved is likelier than a step; 0 where nobody can say."""
    stream, size = signal.get("stream"), signal.get("size")
    if not isinstance(stream, int) or stream < 0 or not isinstance(size, float):
        return 0.0
    first = int(signal["first_reading"])
    last = int(judged.streams.ends[stream]) if signal["closed_at"] is None else int(signal["last_reading"])
    values, sigma = deviations(judged.streams)[0][first : last + 1], line_of(judged.streams, stream)[1]
    if len(values) < 2 or sigma <= 0:
        return 0.0
    one, even = step(values, sigma=sigma), drift(values, sigma=sigma)
    on = np.sign(even.slope[0]) == np.sign(size)
    return float(even.statistic[0] if on else 0.0) - float(one.statistic[0])
