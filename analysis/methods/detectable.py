"""The smallest shift that a quiet chart would have shown by now: what "steady" leaves open.

The running average is a chain over cells of its range (as in `own_law`); a shift of so many sigma that has been there
for so many readings is missed with the chance that the chain has not left its limits. Readings are normal and
independent, the limits those of the chart, so the shift is one off its edge.

Source: Brook & Evans (1972), Biometrika 59, 539-549; Lucas & Saccucci (1990), Technometrics 32.
"""

import math

import numpy as np
from scipy.special import ndtr

from analysis.methods.segments import Floats, Ints

CELLS = 61
SHIFTS = np.concatenate((np.arange(0.1, 1.6, 0.1), np.arange(1.75, 6.1, 0.25)))  # sigmas looked at
WIDTHS = 9  # at which the chance is worked out; between them it is interpolated
STEPS = 400  # readings walked one by one; from there on the chance to be missed falls evenly


def smallest_shift(readings: Ints, width: Floats, *, weight: float = 0.1, chance: float = 0.9) -> Floats:
    """Sigmas that a shift must have to open the chart within its readings with this chance, shape (s,).

    Parameters
    ----------
    readings : int (s,), judged since the average last stood at the centre; the shift is there from the first of them.
    width : float (s,), limits in standard deviations of the average, above 0.
    weight : of the newest reading.

    Returns
    -------
    float (s,) : NaN where not even six sigma would have been seen, or there is no reading.
    """
    n = np.asarray(readings, dtype=np.int64)
    found = np.full(len(n), np.nan)
    some = np.flatnonzero(n > 0)
    if len(some) == 0:
        return found
    low, high = float(width[some].min()), float(width[some].max())
    knots = np.linspace(low, high, WIDTHS) if high > low * 1.001 else np.array([high])
    missed = np.stack([_missed(float(one), weight) for one in knots])  # (w, shifts, steps): log chance
    lasts = np.minimum(n[some], STEPS) - 1
    beyond = np.maximum(n[some] - STEPS, 0)
    place = np.interp(width[some], knots, np.arange(len(knots)))
    left, part = np.floor(place).astype(np.int64), place - np.floor(place)
    right = np.minimum(left + 1, len(knots) - 1)

    def at(knot: Ints) -> Floats:
        pace = missed[knot, :, -1] - missed[knot, :, -2]
        return np.asarray(missed[knot, :, lasts] + pace * beyond[:, None])

    log_missed = (1 - part)[:, None] * at(left) + part[:, None] * at(right)
    wanted = math.log(1 - chance)
    below = log_missed <= wanted
    first = below.argmax(axis=1)
    seen = below.any(axis=1)
    before = np.maximum(first - 1, 0)
    rows = np.arange(len(some))
    high_log, low_log = log_missed[rows, before], log_missed[rows, first]
    step = np.where(first > 0, (high_log - wanted) / np.maximum(high_log - low_log, 1e-300), 1.0)
    found[some] = np.where(seen, SHIFTS[before] + step * (SHIFTS[first] - SHIFTS[before]), np.nan)
    return found


def _missed(width: float, weight: float) -> Floats:
    """Log of the chance that a shift is missed for so many readings, shape (shifts, STEPS)."""
    half = width * math.sqrt(weight / (2 - weight))
    edges = np.linspace(-half, half, CELLS + 1)
    middles = (edges[1:] + edges[:-1]) / 2
    to = (edges[None, None, :] - (1 - weight) * middles[None, :, None]) / weight
    moves = np.diff(ndtr(to - SHIFTS[:, None, None]), axis=2)
    mass = np.diff(ndtr(edges[None, :] / weight - SHIFTS[:, None]), axis=1)
    log = np.empty((len(SHIFTS), STEPS))
    gone = np.zeros(len(SHIFTS))
    for step in range(STEPS):
        total = np.maximum(mass.sum(axis=1), 1e-300)
        gone += np.log(total)
        log[:, step] = gone
        mass = np.matmul((mass / total[:, None])[:, None, :], moves)[:, 0, :]
    return log
