"""How readings move with something some time before, when the lag is not known: one of several lags is chosen, and the
interval pays for the choice.

Readings and what they may follow are taken off their means of the week: what drifts over weeks drifts with any season,
so only what moves from day to day counts. Readings of one week move together for many reasons, so the interval takes
weeks as independent (under eight weeks days), not readings; it is that of as many independent lags as these are worth.

Source: sandwich of clusters, Liang & Zeger 1986, Biometrika 73; lags worth so many independent ones by the eigenvalues
of their correlation, Li & Ji 2005, Heredity 95 (from memory; the rate is shown by simulation, tests/trials/air.md).
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.methods.segments import Flags, Floats, Ints, lengths

LEAST_DAYS = 10
LEAST_WEEKS = 8  # from here on weeks are what is taken as independent, below it days
MONDAY = 3  # days since 1970-01-01 plus this, over seven: the week of a day


@dataclass(frozen=True)
class LaggedSlopes:
    """A slope a row, at its likeliest lag."""

    slope: Floats  # (s,) in the unit of the readings for one of what they follow
    half: Floats  # (s,) half of the interval
    lag: Ints  # (s,) number of the lag
    share: Floats  # (s,) of the readings' variance within weeks
    told: Flags  # (s,) readings and days enough, and both move
    days: Ints  # (s,)

    @property
    def shown(self) -> Flags:
        """Whose interval leaves 0 out (s,)."""
        return self.told & (np.abs(self.slope) > self.half)


def lagged_slopes(y: Floats, x: Floats, row: Ints, day: Ints, *, least: int, level: float = 0.95) -> LaggedSlopes:
    """Slopes of every row at once.

    Parameters
    ----------
    y : float (n,), readings; row after row.
    x : float (n, lags), what they may follow so long before, none missing.
    row : int (n,), from 0, rising, none empty.
    day : int (n,), days since 1970-01-01.
    least : readings of a row from which on it is told.
    level : of the interval.
    """
    starts = np.flatnonzero(np.diff(row, prepend=-1))
    n, s = lengths(starts, len(y)), np.arange(len(starts))
    week = (day + MONDAY) // 7
    off = _within(row, week, np.column_stack([y, x]))
    y_off, x_off = off[:, 0], off[:, 1:]
    xx, xy, yy = (
        np.add.reduceat(x_off**2, starts),
        np.add.reduceat(x_off * y_off[:, None], starts),
        np.add.reduceat(y_off**2, starts),
    )
    slope = np.divide(xy, xx, out=np.zeros_like(xy), where=xx > 1e-9)
    share = np.divide(slope * xy, yy[:, None], out=np.zeros_like(xy), where=(yy > 1e-18)[:, None])
    best = share.argmax(axis=1)
    chosen = x_off[np.arange(len(y)), best[row]]
    push = chosen * (y_off - slope[s, best][row] * chosen)
    days, by_day = _clusters(row, day, push, len(s))
    weeks, by_week = _clusters(row, week, push, len(s))
    groups, squares = np.where(weeks >= LEAST_WEEKS, weeks, days), np.where(weeks >= LEAST_WEEKS, by_week, by_day)
    told = (n >= least) & (days >= LEAST_DAYS) & (xx[s, best] > 1e-9) & (yy > 1e-18)
    error = np.sqrt(squares * groups / np.maximum(groups - 1, 1)) / np.where(told, xx[s, best], 1.0)
    rest = np.maximum(yy - slope[s, best] * xy[s, best], 0.0) / np.maximum(n - weeks - 1, 1)  # each week has a mean
    plain = np.sqrt(np.divide(rest, xx[s, best], out=np.zeros(len(s)), where=told))
    error = np.maximum(error, plain)  # few weeks may look more alike than they are
    worth = _independent_lags(x_off, starts)
    half = stats.t.isf(0.5 * (1 - level ** (1 / worth)), np.maximum(groups - 2, 1)) * error
    return LaggedSlopes(slope[s, best], half, best, share[s, best], told, days)


def _within(row: Ints, week: Ints, columns: Floats) -> Floats:
    """Each column less its mean over the readings of the same row and week (n, k)."""
    _, which = np.unique(row * (int(week.max()) + 1) + week, return_inverse=True)
    size = np.bincount(which)
    means = np.stack([np.bincount(which, column) / size for column in columns.T], axis=1)
    return np.asarray(columns - means[which])


def _independent_lags(x: Floats, starts: Ints) -> Floats:
    """How many independent lags those of each row are worth, between 1 and their number (s,)."""
    products = np.add.reduceat(x[:, :, None] * x[:, None, :], starts)
    size = np.sqrt(np.einsum("sii->si", products))
    scale = size[:, :, None] * size[:, None, :]
    correlation = np.divide(products, scale, out=np.zeros_like(products), where=scale > 1e-12)
    values = np.clip(np.linalg.eigvalsh(correlation), 0.0, None)
    worth = (values >= 1).sum(axis=1) + (values - np.floor(values)).sum(axis=1)
    return np.asarray(np.maximum(np.round(worth, 6), 1.0), dtype=np.float64)


def _clusters(row: Ints, when: Ints, push: Floats, rows: int) -> tuple[Ints, Floats]:
    """How many days (or weeks) each row has, and the sum over them of their squared sums of `push`."""
    span = int(when.max()) + 1
    keys, which = np.unique(row * span + when, return_inverse=True)
    owner = keys // span
    squares = np.bincount(owner, np.bincount(which, push) ** 2, minlength=rows).astype(np.float64)
    return np.bincount(owner, minlength=rows).astype(np.int64), squares
