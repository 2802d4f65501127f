"""The register of gauges: which checks on the master piece are due, and whether a gauge has come to read beside it.

A gauge drifts where the mean of its last five checks lies beyond half its step from the master piece and beyond three
standard errors of itself, its spread from successive checks as on a chart of individuals (ISO 7870-2). How far beside
the master piece it reads is told with its interval, which is never narrower than the gauge's step: a reading stands for
all of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from analysis.methods.bias import bias as of_readings
from analysis.methods.constants import d2
from ingest.shopfiles.shop import Shop

LAST, LEAST, WIDTH = 5, 6, 3.0


@dataclass(frozen=True)
class Standing:
    """One gauge of the register; lengths in mm."""

    gauge: str
    name: str
    master: float
    every_days: int | None
    step: float | None
    last_at: datetime | None
    due: bool  # no check, or the last one longer ago than `every_days`
    off: tuple[float, ...]  # each check less the master piece, oldest first
    at: tuple[datetime, ...]
    bias: float | None  # mean of the last five
    low: float | None  # 95 % interval of it; None under two checks
    high: float | None
    drifts: bool


def register(shop: Shop, checks: Sequence[tuple[datetime, str, float]], *, now: datetime) -> tuple[Standing, ...]:
    """Every gauge with a master piece, in the order of shop.toml.

    checks : (when, gauge, value), oldest first, values in canonical units.
    """
    out = []
    for gauge in shop.gauges:
        if gauge.master_value is None:
            continue
        mine = [(at, value - gauge.master_value) for at, key, value in checks if key == gauge.key]
        off, at = tuple(value for _, value in mine), tuple(when for when, _ in mine)
        last = at[-1] if at else None
        due = gauge.check_days is not None and (last is None or now - last > timedelta(days=gauge.check_days))
        drifts = _drifts(np.array(off), gauge.step)
        about = (gauge.key, gauge.name or gauge.key, gauge.master_value, gauge.check_days, gauge.step)
        out.append(Standing(*about, last, due, off, at, *_beside(off[-LAST:], gauge.step), drifts))
    return tuple(out)


def _beside(off: Sequence[float], step: float | None) -> tuple[float | None, float | None, float | None]:
    """Mean of these checks less the master piece, and the two ends of its interval."""
    if len(off) < 2:
        return (off[0] if off else None), None, None
    found = of_readings(off, 0.0)
    half = max(found.high - found.bias, (step or 0.0) / 2)
    return found.bias, found.bias - half, found.bias + half


def _drifts(off: np.ndarray, step: float | None) -> bool:
    if len(off) < LEAST:
        return False
    spread = max(float(np.abs(np.diff(off)).mean()) / d2(2), (step or 0.0) / np.sqrt(12))
    away = abs(float(off[-LAST:].mean()))
    return bool(away > (step or 0.0) / 2 and away > WIDTH * spread / np.sqrt(LAST))
