"""How much larger a share is in one group than in another at the same mix: pieces of a stratum (a model in a week) are
held against others of the same stratum only.

Strata are weighed as Mantel and Haenszel do, which holds with few pieces in each. Pieces that came in lots need not be
independent: where shares of lots differ by more than chance, the interval is wider by as much.

Source: Greenland & Robins 1985, Biometrics 41 (the difference); Sato 1989, Biometrics 45 (its variance; from memory,
coverage by simulation); McCullagh & Nelder 1989, Generalized Linear Models, section 4.5 (more than binomial spread).
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.methods.segments import Flags, Floats, Ints
from analysis.methods.uneven_shares import beyond_chance


@dataclass(frozen=True)
class Shares:
    """Of both groups, in strata that hold pieces of both, and the difference, first less second, with 95 % limits."""

    found: int
    n: int
    other_found: int
    other_n: int
    more: float  # of a piece
    low: float
    high: float


def difference(event: Flags, mine: Flags, stratum: Ints, lot: Ints) -> Shares | None:
    """event, mine (is it of the first group), stratum and lot (numbers from 0), shape (n,); None where no stratum holds
    pieces of both.
    """
    size = int(stratum.max(initial=-1)) + 1
    n1, n0 = (np.bincount(stratum[side], minlength=size).astype(np.float64) for side in (mine, ~mine))
    both = (n1 > 0) & (n0 > 0)
    if not both.any():
        return None
    kept = both[stratum]
    event, mine, stratum, lot = event[kept], mine[kept], stratum[kept], lot[kept]
    a, b = (np.bincount(stratum[side & event], minlength=size)[both].astype(np.float64) for side in (mine, ~mine))
    n1, n0 = n1[both], n0[both]
    n = n1 + n0
    weight = float((n1 * n0 / n).sum())
    more = float(((a * n0 - b * n1) / n).sum()) / weight
    p = (n1**2 * b - n0**2 * a + n1 * n0 * (n0 - n1) / 2) / n**2
    q = (a * (n0 - b) + b * (n1 - a)) / (2 * n)
    variance = max((more * float(p.sum()) + float(q.sum())) / weight**2, 0.0)
    half = float(stats.norm.isf(0.025) * np.sqrt(variance * _wider(event, mine, lot)))
    return Shares(int(a.sum()), int(n1.sum()), int(b.sum()), int(n0.sum()), more, more - half, more + half)


def _wider(event: Flags, mine: Flags, lot: Ints) -> float:
    """By how much shares of lots of one group spread more than chance has them, as a factor of the variance."""
    lots = int(lot.max(initial=-1)) + 1

    def each(some: Flags) -> Floats:
        return np.bincount(lot[some], minlength=lots).astype(np.float64)

    return beyond_chance((each(side & event), each(side)) for side in (mine, ~mine))
