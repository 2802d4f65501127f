"""Since which period readings of many series spread wider than before: the split of a row of periods at which the
logarithm of their mean squared differences stands farthest above that of the earlier ones.

Source: von Neumann, Kent, Bellinson & Hart 1941, The mean square successive difference, Annals of Mathematical
Statistics 12 (its variance is half as large again as that of a variance of as many readings); Bartlett & Kendall 1946,
The statistical analysis of variance-heterogeneity and the logarithmic transformation, Supplement to J. Royal
Statistical Society 8.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData

OF_ONE = 3.0  # variance of the logarithm of a mean squared difference, times how many it is of: 2, half as large again
USUAL, KNOWN = 4.0, 6  # the same of shops' readings, and as how many periods that counts
Z95 = 1.96


@dataclass(frozen=True)
class Widened:
    """The split at which a spread widened most."""

    first: int  # the first period of the later ones
    z: float  # how far their logarithm stands above that of the earlier ones, in standard errors
    ratio: float  # of the standard deviations, later to earlier
    low: float  # with its 95 % interval
    high: float


def widened(square: npt.ArrayLike, size: npt.ArrayLike, *, before: int = 6, least: int = 15) -> Widened | None:
    """The split of a row of periods whose later ones spread widest beside the earlier ones.

    Parameters
    ----------
    square : float, shape (w,)
        Mean squared difference of each period, of series brought to one scale, the oldest first; above 0.
    size : whole numbers, shape (w,)
        Of how many differences; a period of fewer than `least` is passed over.
    before : int
        Periods that must stand before a split.

    Returns
    -------
    Widened or None
        None without a split. How much periods vary of themselves is told by their own scatter round their side of the
        split, together with USUAL and never less than OF_ONE.

    Raises
    ------
    UnusableData
        Rows of two lengths, or a mean squared difference that is not above 0.

    Source: von Neumann et al. 1941; Bartlett & Kendall 1946.
    """
    v, n = np.asarray(square, dtype=np.float64), np.asarray(size, dtype=np.float64)
    if v.shape != n.shape or v.ndim != 1:
        raise UnusableData("a spread that widened wants as many squared differences as sizes")
    kept = np.flatnonzero(n >= least)
    v, n = v[kept], n[kept]
    if (v <= 0).any():
        raise UnusableData("a period without any difference has no spread to compare; leave it out")
    if len(v) <= before:
        return None
    y = np.log(v)
    weighed = y * n
    best: Widened | None = None
    for split in range(before, len(v)):
        before_it, since = n[:split].sum(), n[split:].sum()
        one, other = weighed[:split].sum() / before_it, weighed[split:].sum() / since
        fit = np.where(np.arange(len(v)) < split, one, other)
        c = max(OF_ONE, float((n * (y - fit) ** 2).sum() + KNOWN * USUAL) / (len(v) - 2 + KNOWN))
        error = float(np.sqrt(c * (1 / before_it + 1 / since)))
        away = float(other - one)
        if best is None or away / error > best.z:
            ends = np.exp((away + Z95 * error * np.array([-1.0, 0.0, 1.0])) / 2)
            best = Widened(int(kept[split]), away / error, float(ends[1]), float(ends[0]), float(ends[2]))
    return best
