"""How far apart readings of each level lie, where levels differ in that: some hands are steadier than others.

Of each level the mean square of its readings about what was expected of them. Its logarithm errs by the readings' own
fourth moment; where levels lie further apart than that, tested at 1 %, each level's spread is its own, drawn to that of
all by as much as it may err; else it is everybody's.

Source: Layard 1973, J. American Statistical Association 68 (logarithms of variances, by the fourth moment);
DerSimonian & Laird 1986, Controlled Clinical Trials 7 (variance between levels by moments). From memory; held by
simulation.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from analysis.methods.segments import Flags, Floats, Ints

LEAST = 10  # readings of a level, from which on something is known of its spread
DIFFER = 0.01  # chance of lying so far apart for nothing, from which down levels are taken to differ


@dataclass(frozen=True)
class Spreads:
    """Of several sets of levels, the last axis levels."""

    wide: Floats  # (..., l) variance of a reading of each beside that of all readings; 1 where levels do not differ
    apart: Floats  # (...,) how many times as far apart as chance has it levels lie; 0 where that may be chance


def own_spreads(n: Floats, squares: Floats, fourths: Floats) -> Spreads:
    """From how many readings each level has, and the sums of their squares and fourth powers, each (..., l)."""
    told = (n >= LEAST) & (squares > 0)
    free = told.sum(axis=-1) - 1
    each = np.where(told, squares / np.maximum(n, 1), 1.0)
    around = np.where(told, fourths / each**2 - 2 * squares / each + n, 0.0).sum(axis=-1)
    known = np.where(told, n, 0.0)
    error = (around / np.maximum(known.sum(axis=-1), 1))[..., None] / np.maximum(known, 1)
    weight = np.where(told, 1 / np.maximum(error, 1e-12), 0.0)
    total = np.maximum(weight.sum(axis=-1), 1e-12)
    log = np.log(each)
    off = np.where(told, log - ((weight * log).sum(axis=-1) / total)[..., None], 0.0)
    excess = (weight * off**2).sum(axis=-1)
    differ = (free > 0) & (excess > free)
    differ &= chdtrc(np.maximum(free, 1), excess) <= DIFFER
    between = (excess - free) / np.maximum(total - (weight**2).sum(axis=-1) / total, 1e-12)
    between = np.where(differ, between, 0.0)[..., None]
    wide = np.exp(off * between / np.maximum(between + error, 1e-12))
    wide /= ((known * wide).sum(axis=-1) / np.maximum(known.sum(axis=-1), 1))[..., None] + (free < 0)[..., None]
    return Spreads(np.where(told & differ[..., None], wide, 1.0), np.where(differ, excess / np.maximum(free, 1), 0.0))


def wide_of(codes: Sequence[Ints], off: Floats, some: Flags) -> Floats | None:
    """The variance of each reading beside that of all, as its level has it (n,): of the grouping whose levels differ
    most surely; None where those of none do.

    codes : (n,) each, the level, -1 where not known. off : (n,) readings of one variance on the average, about 0.
    some : (n,) those that say how far they lie apart.
    """
    square, best, wide = off**2, 0.0, None
    for code in codes:
        known = some & (code >= 0)
        mine, of, levels = square[known], code[known], int(code.max(initial=-1)) + 2  # the last for those not known
        n = np.bincount(of, minlength=levels).astype(np.float64)
        squares, fourths = (np.bincount(of, by, minlength=levels).astype(np.float64) for by in (mine, mine**2))
        each = own_spreads(n, squares, fourths)
        if each.apart > best:
            best, wide = float(each.apart), np.asarray(each.wide[code])
    return wide
