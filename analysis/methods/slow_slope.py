"""How readings move with something as slowly as that drifts itself: from week to week, where `lagged_slope` takes what
is slower than a week off before it looks.

The slope is that of the changes of weekly means on one another, so that a level which wanders at random, or goes on in
a straight line, is allowed for. The interval counts the slowness: it is wider by as much as both change the same way
week after week (what drifts slowly comes to few independent weeks), and there is none where one or two weeks carry it,
as one step does. It says nothing of another drift at the same time that has the same cause, or looks the same: two such
cannot be told apart, whatever the interval.

Source: variance of products of two series that each depend on their own past, Bartlett 1935, J. Royal Statistical
Society 98; variance with lags, Newey & West 1987, Econometrica 55 (both from memory; the rate is shown by simulation,
tests/trials/slow_air.md). Degrees of freedom by how many weeks the changes are worth, (sum x^2)^2 / sum x^4: ours.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.methods.lagged_slope import LEAST_WEEKS, MONDAY
from analysis.methods.segments import Floats, Ints

LAGS = 8  # weeks over which changes are looked at for going the same way
WITH_LAGS = 4  # weeks over which what the slope leaves may depend on its past
LEAST_FREEDOM = 2.0  # below it no interval is told


@dataclass(frozen=True)
class SlowSlopes:
    """A slope a row."""

    slope: Floats  # (s,) in the unit of the readings for one of what they follow; nan: not told
    half: Floats  # (s,) half of the interval; nan: not told
    share: Floats  # (s,) of the readings' variance that goes with x the way of the slope, all readings; nan: not told
    weeks: Ints  # (s,)


def slow_slopes(y: Floats, x: Floats, row: Ints, day: Ints, *, least: int, level: float = 0.95) -> SlowSlopes:
    """Slopes of every row.

    Parameters
    ----------
    y : float (n,), readings; row after row.
    x : float (n,), what they may follow, none missing.
    row : int (n,), from 0, rising, none empty.
    day : int (n,), days since 1970-01-01.
    least : readings of a row from which on it is told, over eight weeks or more.
    level : of the interval.
    """
    begins = np.flatnonzero(np.diff(row, prepend=-1))
    told = [
        _one(y[at], x[at], (day[at] + MONDAY) // 7, least, level)
        for at in (slice(first, last) for first, last in zip(begins, [*begins[1:], len(y)], strict=True))
    ]
    slope, half, share = np.array([each[:3] for each in told], dtype=np.float64).reshape(-1, 3).T
    return SlowSlopes(slope, half, share, np.array([each[3] for each in told], dtype=np.int64))


def _one(y: Floats, x: Floats, week: Ints, least: int, level: float) -> tuple[float, float, float, int]:
    """Slope, half of its interval, share and weeks of one row."""
    _, which, count = np.unique(week, return_inverse=True, return_counts=True)
    weeks = len(count)
    spread = float(y.var())
    if len(y) < least or weeks < LEAST_WEEKS or spread <= 1e-18:
        return np.nan, np.nan, np.nan, weeks
    dy, dx = (np.diff(np.bincount(which, each) / count) for each in (y, x))
    dy, dx = dy - dy.mean(), dx - dx.mean()
    n, xx = len(dx), float(dx @ dx)
    freedom = min(xx**2 / float((dx**4).sum()) if xx > 1e-9 else 0.0, n - 1) - 1
    if freedom < LEAST_FREEDOM:
        return np.nan, np.nan, np.nan, weeks
    slope = float(dx @ dy) / xx
    left = dy - slope * dx
    slowness = 1 + 2 * sum((1 - k / n) * _with_past(dx, k) * _with_past(dy, k) for k in range(1, min(n - 1, LAGS + 1)))
    plain = float(left @ left) / (n - 2) / xx * max(slowness, 1.0)
    push = dx * left
    tied = float(push @ push) + 2 * sum(
        (1 - k / (WITH_LAGS + 1)) * float(push[k:] @ push[:-k]) for k in range(1, WITH_LAGS + 1)
    )
    error = np.sqrt(max(plain, tied * n / (n - 2) / xx**2))  # few weeks may look more alike than they are
    half = float(stats.t.isf((1 - level) / 2, freedom) * error)
    along = float(((x - x.mean()) * (y - y.mean())).mean())
    share = along**2 / float(x.var()) / spread if along * slope > 0 else 0.0
    return slope, half, share, weeks


def _with_past(d: Floats, k: int) -> float:
    """How changes go with those of k weeks before: their autocorrelation."""
    whole = float(d @ d)
    return float(d[k:] @ d[:-k]) / whole if whole > 0 else 0.0
