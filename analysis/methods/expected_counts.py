"""What a later sample would show at the rates of an earlier one, at the later one's own mix of kinds of work.

Each piece's chance is the product of the rate of its group's baseline and a factor for each of its levels (model,
lot, inspector ...), found by turns: the counts of each level over what the other factors let expect, until they
settle. That is the fit of a Poisson model with a log link, here with one expected piece of prior at factor 1 in each
level (a gamma prior of that shape and rate), so that a level seldom or never seen stays near the rest. Many groups at
once, one pass over the rows a turn.

Source: proportional fitting by turns, Deming & Stephan 1940, Annals of Mathematical Statistics 11; that it ends at
the Poisson likelihood's maximum: Bishop, Fienberg & Holland 1975, Discrete Multivariate Analysis, chapter 3 (from
memory; held by a test against statsmodels' GLM).
"""

from dataclasses import dataclass

import numpy as np

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints, dense, places_in

TURNS = 12
PRIOR = 1.0  # expected pieces of prior in each level: its factor is drawn to 1


@dataclass(frozen=True)
class SameMix:
    """What each group's later sample would show at the rates of its earlier one."""

    expected: Floats  # (g,) count of the later sample; nan without an earlier one
    fitted: Floats  # (n,) of each earlier row, its expected count
    ahead: Floats  # (r,) of each later row, its expected count; 0 without an earlier one
    seen: Floats  # (r, f) of each later row's levels, how many were counted in its group's earlier sample
    kinds: Floats  # (g, f) levels that each earlier sample has


@dataclass(frozen=True)
class Pieces:
    """Rows of samples: the group of each, its level of each factor from 0, and how many pieces."""

    group: Ints  # (r,)
    levels: Ints  # (r, f)
    n: Floats  # (r,) above 0


def at_the_same_mix(earlier: Pieces, k: Floats, later: Pieces, groups: int, *, prior: float = PRIOR) -> SameMix:
    """Expected counts of later samples.

    Parameters
    ----------
    earlier, later : the samples of each group, a row a kind of piece.
    k : float, shape (r,)
        Those of the earlier pieces that were counted.
    groups : int
    prior : expected pieces of prior in each level.

    Raises UnusableData for a row without a piece, or with more counted than there are.
    """
    group, levels, n = earlier.group, earlier.levels, earlier.n
    if len(group) != len(n) or levels.shape[0] != len(n) or (n <= 0).any() or (k < 0).any() or (k > n).any():
        raise UnusableData("rows of a mix want pieces above 0 and at most so many of them counted")
    total_n, total_k = (np.bincount(group, part, minlength=groups) for part in (n, k))
    rate = np.divide(total_k, total_n, out=np.full(groups, np.nan), where=total_n > 0)
    fitted = n * np.nan_to_num(rate)[group]
    ahead = later.n * np.nan_to_num(rate)[later.group]
    cells = [_cells(earlier, later, f) for f in range(levels.shape[1])]
    factors = [np.ones(kinds) for _, _, kinds in cells]
    every = [np.bincount(cell, k, minlength=kinds) for cell, _, kinds in cells]
    for _ in range(TURNS):
        for at, (cell, later_cell, kinds) in enumerate(cells):
            let = np.bincount(cell, fitted, minlength=kinds)
            factor = (every[at] + prior) / (let / factors[at] + prior)  # against what the others alone let expect
            moved = np.append(factor / factors[at], 1.0)
            fitted, ahead, factors[at] = fitted * moved[cell], ahead * moved[later_cell], factor
        scale = np.divide(total_k, np.bincount(group, fitted, minlength=groups), out=np.ones(groups), where=total_k > 0)
        fitted, ahead = fitted * scale[group], ahead * scale[later.group]
    expected = np.bincount(later.group, ahead, minlength=groups)
    size = np.bincount(later.group, later.n, minlength=groups)
    counted = [np.append(seen, 0.0)[ahead_cell] for seen, (_, ahead_cell, _) in zip(every, cells, strict=True)]
    return SameMix(
        np.where(total_n > 0, np.minimum(expected, size), np.nan),
        fitted,
        ahead,
        np.array(counted, dtype=np.float64).reshape(len(cells), len(later.n)).T,
        np.column_stack([_kinds(group, cell, groups) for cell, _, _ in cells] or [np.zeros((groups, 0))]),
    )


def _kinds(group: Ints, cell: Ints, groups: int) -> Floats:
    """How many levels each group has; a cell is one level of one group."""
    first = dense(cell).first
    return np.bincount(group[first], minlength=groups).astype(np.float64)


def _cells(earlier: Pieces, later: Pieces, f: int) -> tuple[Ints, Ints, int]:
    """A number for the group and level of each piece, earlier and later, of those that earlier pieces have; the last
    number of all is that of later pieces whose level is new in their group. Most levels are of a few groups.
    """
    wide = int(max(earlier.levels[:, f].max(initial=0), later.levels[:, f].max(initial=0))) + 1
    key, wanted = (each.group * wide + each.levels[:, f] for each in (earlier, later))
    found = dense(key)
    known = key[found.first]
    at = places_in(known, wanted)
    return found.code, np.where(at >= 0, at, len(known)), len(known)
