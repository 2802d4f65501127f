"""Since which period a share is higher than before, over groups that may come in another mix: the split of a row of
periods at which the later ones stand farthest above the earlier ones.

Source: Mantel & Haenszel 1959, Statistical aspects of the analysis of data from retrospective studies of disease,
J. National Cancer Institute 22; the spread between periods by Pearson's statistic (McCullagh & Nelder 1989, 4.5).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats
from analysis.methods.uneven_shares import beyond_chance

EVEN = 6  # periods from which on their own spread is looked at


@dataclass(frozen=True)
class Risen:
    """The split at which a share rose most."""

    first: int  # the first period of the later ones
    z: float  # how far they stand above the earlier ones, in standard errors, less half a count


def above(
    later: npt.ArrayLike, of_later: npt.ArrayLike, earlier: npt.ArrayLike, of_earlier: npt.ArrayLike,
    *, correction: float = 0.5,
) -> Floats:  # fmt: skip
    """Mantel and Haenszel's statistic, with a sign: is a share higher later than earlier, group by group?

    Parameters
    ----------
    later, of_later, earlier, of_earlier : counts, shape (..., g)
        How many of how many, later and earlier, in each of g groups.
    correction : float
        Of the sum of counts, towards 0.

    Returns
    -------
    float, shape (...,)
        In standard errors, above 0 where the later share is the higher one; 0 where nothing varies.

    Source: Mantel & Haenszel 1959.
    """
    a, n1, b, n2 = (np.asarray(each, dtype=np.float64) for each in (later, of_later, earlier, of_earlier))
    whole, of = a + b, n1 + n2
    some = np.maximum(of, 1.0)
    over = (a - n1 * whole / some).sum(axis=-1)
    spread = (n1 * n2 * whole * (of - whole) / (some**2 * np.maximum(of - 1.0, 1.0))).sum(axis=-1)
    held = np.sign(over) * np.maximum(np.abs(over) - correction, 0.0)
    return np.asarray(np.where(spread > 0, held / np.sqrt(np.where(spread > 0, spread, 1.0)), 0.0))


def risen(count: npt.ArrayLike, size: npt.ArrayLike, *, least_before: int = 100, least: int = 10) -> Risen | None:
    """The split of a row of periods whose later ones have the share that stands farthest above the earlier ones.

    Parameters
    ----------
    count, size : whole numbers, shape (w, g)
        How many of how many in each period, the oldest first, by group.
    least_before, least : int
        Pieces before a split, and behind it.

    Returns
    -------
    Risen or None
        None where no split leaves so many on both sides. Where periods vary by more than chance round their own side of
        the split, z is less by as much. Looked at over all splits, z goes beyond 4 by chance far oftener than once in
        30,000: measured in tests/analysis/methods/test_risen_share.py.

    Raises
    ------
    UnusableData
        Counts below 0 or above their size, or tables of two shapes.

    Source: Mantel & Haenszel 1959.
    """
    c, n = np.asarray(count, dtype=np.float64), np.asarray(size, dtype=np.float64)
    if c.shape != n.shape or c.ndim != 2 or (c < 0).any() or (c > n).any():
        raise UnusableData("a share that rose wants counts from 0 to their size, a row a period and a column a group")
    before, of_before = np.cumsum(c, axis=0)[:-1], np.cumsum(n, axis=0)[:-1]
    after, of_after = c.sum(axis=0) - before, n.sum(axis=0) - of_before
    enough = (of_before.sum(axis=1) >= least_before) & (of_after.sum(axis=1) >= least)
    enough &= n[1:].sum(axis=1) > 0  # begins in a period of which something is known
    if not enough.any():
        return None
    z = np.where(enough, above(after, of_after, before, of_before), -np.inf)
    split = int(np.argmax(z))
    sides = ((c[some].sum(axis=1), n[some].sum(axis=1)) for some in (slice(split + 1), slice(split + 1, None)))
    return Risen(split + 1, float(z[split] / np.sqrt(beyond_chance(sides, least=EVEN - 2))))
