"""Who of several people stands apart from the middle of them, by the level or by the spread of what they do.

One outlier among three or four drags their mean, and all the others then seem to lie on the other side. So each is held
against the middle person, and whoever lies off that one beyond chance, and by enough to matter, is no yardstick.
Levels come from differences within cells (what was done at the same time of the same kind), put together by least
squares, so that two who never worked together are compared through those who worked with both.
Source: weighted least squares of a two-way layout, e.g. Scheffe 1959, The Analysis of Variance, chapter 4; the median
as a yardstick: Huber 1964, Annals of Mathematical Statistics 35 (both from memory; held by tests and by simulation).
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

from analysis.methods.segments import Flags, Floats, Ints

LEAST = 3  # people; of two that differ nobody can say which one does
RISK = 0.01  # of setting anybody apart by chance, over all people that are held together
LEAST_OFF = 0.25  # standard deviations
LEAST_TIMES = 1.25  # as wide, or as narrow
LEAST_FREE = 10.0  # degrees of freedom from which on somebody's own figures may be the middle


@dataclass(frozen=True)
class Spread:
    """Each person's own spread, shape (p,)."""

    variance: Floats  # within cells, 1 = usual
    free: Floats  # degrees of freedom behind it


def apart(person: Ints, cell: Ints, n: Floats, mean: Floats, spread: Spread) -> Flags:
    """Who stands apart, shape (p,); of fewer than three people that can be compared nobody does.

    Parameters
    ----------
    person, cell : int, shape (m,)
        Whose readings, 0 to p - 1, of which cell: from 0, one row a pair.
    n, mean : float, shape (m,)
        How many independent readings, above 0, and their mean in standard deviations.
    spread : Spread
        Of each person; a variance above 0 where it has any degree of freedom.
    """
    people = len(spread.variance)
    wide = np.where(spread.free >= 1, spread.variance, 1.0)
    table = csr_array(coo_array((n / wide[person], (cell, person)), shape=(int(cell.max(initial=-1)) + 1, people)))
    found = np.zeros(people, dtype=bool)
    if not len(person):
        return found
    all_of = table.sum(axis=1)
    weighted = np.bincount(cell, n / wide[person] * mean, minlength=len(all_of)) / np.maximum(all_of, 1e-300)
    pull = np.bincount(person, n / wide[person] * (mean - weighted[cell]), minlength=people)
    shared = (table.T @ table.multiply(1 / np.maximum(all_of, 1e-300)[:, None])).tocsr()
    for some in _held_together(shared):
        if len(some) < LEAST:
            continue
        ties = shared[some][:, some].toarray()
        covariance = np.linalg.pinv(np.diag(table.sum(axis=0)[some]) - ties, hermitian=True)
        level = np.asarray(covariance @ pull[some], dtype=np.float64)
        free = spread.free[some]
        found[some] = _off(level, covariance, free) | _wide(wide[some], free)
    return found


def _held_together(shared: csr_array) -> list[Ints]:
    """People that share a cell, or are linked by somebody who shares one with both."""
    many, label = connected_components(shared, directed=False)
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1) if many else []


def _middle(value: Floats, free: Floats) -> tuple[int, int]:
    """The middle person, or the two in the middle: places in `value`, the lower first."""
    able = np.flatnonzero(free >= LEAST_FREE)
    able = able if len(able) >= LEAST else np.arange(len(value))
    order = able[np.argsort(value[able], kind="stable")]
    return int(order[(len(order) - 1) // 2]), int(order[len(order) // 2])


def _off(level: Floats, covariance: Floats, free: Floats) -> Flags:
    """Whose level lies off the middle person's, or outside the two in the middle."""
    below, above = _middle(level, free)
    place = np.arange(len(level))
    nearer = np.where(level > level[above], above, below)
    away = np.where(level > level[above], level - level[above], np.maximum(level[below] - level, 0.0))
    error2 = covariance[place, place] + covariance[nearer, nearer] - 2 * covariance[place, nearer]
    beyond = away > float(stats.norm.isf(RISK / 2 / len(level))) * np.sqrt(np.maximum(error2, 0.0))
    return np.asarray((away >= LEAST_OFF) & beyond & (free >= 1))


def _wide(variance: Floats, free: Floats) -> Flags:
    """Whose spread is not the middle person's."""
    below, above = _middle(variance, free)
    held = np.where(variance > variance[above], above, below)
    times = np.where(variance > variance[above], variance / variance[above], variance[below] / variance)
    upper = np.where(variance > variance[above], free, free[held])
    lower = np.where(variance > variance[above], free[held], free)
    told = (upper >= 1) & (lower >= 1)
    chance = stats.f.sf(times, np.maximum(upper, 1), np.maximum(lower, 1))
    return np.asarray(told & (times >= LEAST_TIMES**2) & (chance < RISK / 2 / len(variance)))
