"""Totals of things that come at random and weigh differently, minutes of rework say: how far to trust one, and can two
be told apart.

Each piece (an instrument) adds its weight to a total; how many pieces do so is chance. Weights of one piece belong
together, so that a piece that comes twice is not counted as two.
"""

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats


def total_interval(
    total: npt.ArrayLike, squares: npt.ArrayLike, largest: npt.ArrayLike, level: float = 0.95
) -> tuple[Floats, Floats]:
    """Interval of the expected total behind a sum of weights, each of shape (m,).

    total, squares : sum of the pieces' weights and of their squares; 0 and 0 where none came.
    largest : largest weight that one more piece could have had, above 0.
    With weights of 1 this is the exact interval of a Poisson count.

    Source: Fay & Feuer 1997, Statistics in Medicine 16, 791-801 (gamma interval; formulas from memory, coverage shown
    by simulation).
    """
    y, v, w = (np.asarray(part, dtype=np.float64) for part in np.broadcast_arrays(total, squares, largest))
    if bool((y < 0).any() or (v < 0).any() or (w <= 0).any()):
        raise UnusableData(
            "a total and its squares are at least 0 and the largest weight is above 0; look at the weights behind "
            "this total"
        )
    tail = (1 - level) / 2
    some = y > 0
    shape = np.where(some, y, 1.0) ** 2 / np.where(some, v, 1.0)
    low = np.where(some, stats.gamma.ppf(tail, shape, scale=np.where(some, v, 1.0) / np.where(some, y, 1.0)), 0.0)
    scale = (v + w**2) / (y + w)
    high = stats.gamma.isf(tail, (y + w) / scale, scale=scale)
    return np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)


def chance_of_difference(first: npt.ArrayLike, second: npt.ArrayLike, squares: npt.ArrayLike) -> Floats:
    """Two-sided chance of so large a difference between two totals were they the same in the long run, each of shape
    (m,).

    squares : sum over pieces of the squared difference of what each adds to the two.
    With weights of 1 on different pieces this is the exact test of two Poisson counts given their sum (Przyborowski &
    Wilenski 1940, Biometrika 31); other weights count as that many pieces of equal weight as have the same variance.
    """
    a, b, v = (np.asarray(part, dtype=np.float64) for part in np.broadcast_arrays(first, second, squares))
    if bool((a < 0).any() or (b < 0).any() or (v < 0).any()):
        raise UnusableData("totals and squares are at least 0; look at the weights behind them")
    differ = v > 0
    unit = np.where(differ, v, 1.0) / np.where(differ, a + b, 1.0)
    larger, smaller = np.maximum(a, b) / unit, np.minimum(a, b) / unit
    chance = 2 * special.betainc(np.where(differ, larger, 1.0), smaller + 1, 0.5)
    return np.where(differ, np.minimum(chance, 1.0), 1.0)
