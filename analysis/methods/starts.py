"""Columns of candidates since each of their starts: their products with random effects, and with what is known."""

from collections.abc import Sequence

import numpy as np

from analysis.methods.candidates import Candidate
from analysis.methods.random_effects import RandomEffects
from analysis.methods.segments import Floats, Ints


def products_since(
    found: Sequence[Candidate], effects: RandomEffects, day: Ints, known: Floats, wide: Floats | None = None
) -> tuple[Floats, Floats, Floats]:
    """Of the column of each candidate since each of its starts: its products with the random effects (starts, p), with
    itself (starts,), and with columns that are known (k, starts).

    day : (n,) of each reading, rising. known : (k, n). wide : (n,) the variance of each reading; then its products with
    itself times these are the last row of those with what is known.
    """
    p, many, at = len(effects.precision), sum(len(one.days) for one in found), 0
    w, rows, places, values = np.empty((many, p)), [], [], []
    for one in found:
        k, first = len(one.days), int(np.searchsorted(day, one.days[0]))
        row = np.flatnonzero(one.base[first:]) + first
        start, value = np.searchsorted(one.days, day[row], side="right") - 1, one.base[row]  # the last one before it
        cell = effects.each[row]
        cell += start[:, None] * (p + 1)
        weights = None if (value == 1.0).all() else np.repeat(value, cell.shape[1])  # most are 1, which counts faster
        sums = np.bincount(cell.ravel(), weights, minlength=k * (p + 1))
        mine = w[at : at + k]
        mine[:] = sums.reshape(k, p + 1)[:, :-1]
        for day_before in range(k - 2, -1, -1):  # a few starts: rows added up take half of a sum along the columns
            mine[day_before] += mine[day_before + 1]
        rows.append(row)
        places.append(start + at)
        values.append(value)
        at += k
    row, place, value = np.concatenate(rows), np.concatenate(places), np.concatenate(values)
    columns = [value, *(column[row] for column in known)]
    if wide is not None:
        columns.append(value * wide[row])
    others = np.array([np.bincount(place, value * column, minlength=many) for column in columns])
    at = 0
    for one in found:
        mine = others[:, at : at + len(one.days)][:, ::-1]
        np.cumsum(mine, axis=1, out=mine)
        at += len(one.days)
    return w, others[0], others[1:]
