"""How much more shares of some pieces vary round the share of them all than chance has them.

Source: Pearson's statistic over its degrees of freedom, McCullagh & Nelder 1989, Generalized Linear Models, 4.5.
"""

from collections.abc import Iterable

from analysis.methods.segments import Floats


def beyond_chance(sides: Iterable[tuple[Floats, Floats]], *, least: int = 1) -> float:
    """The variance of shares over that of chance, each round the share of its side; no less than 1.

    sides : of each side how many in each piece, and of how many, shape (k,); a piece of none says nothing. least :
    degrees of freedom from which on it is told.
    """
    told, free = 0.0, 0
    for every, of in sides:
        count, size = every[of > 0], of[of > 0]
        share = float(count.sum() / size.sum()) if len(size) else 0.0
        if 0 < share < 1 and len(size) > 1:
            told += float(((count - size * share) ** 2 / (size * share * (1 - share))).sum())
            free += len(size) - 1
    return max(1.0, told / free) if free >= least else 1.0
