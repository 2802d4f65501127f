"""How much of a spread lies between groups, between batches of a group, and within a batch: a nested split of the
variance.

By analysis of variance with unequal numbers, each mean square set equal to what it is expected to be; before a negative
result is cut off at 0 the estimates are unbiased whatever the distribution. Where there are few groups they are taken
as fixed: their spread is that of these very groups, less what chance puts into their means.
Source: Searle, Casella & McCulloch 1992, Variance Components, chapters 3 and 5 (from memory); NIST/SEMATECH e-Handbook,
section 3.2.3.3.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

FEW = 5  # groups up to which they are taken as fixed


@dataclass(frozen=True)
class Split:
    """Variances in the squared unit of the values; a negative estimate stands as it came."""

    group: float  # between groups; nan for a single one
    batch: float  # between batches of one group; nan where no group has two
    within: float
    groups: int
    batches: int
    n: int
    fixed: bool  # the groups were taken as fixed

    @property
    def shares(self) -> tuple[float, float, float]:
        """Shares of the whole of groups, batches and within, negative estimates and those not known as 0."""
        parts = np.maximum(np.nan_to_num([self.group, self.batch, self.within]), 0.0)
        total = float(parts.sum())
        return tuple(float(part) / total if total > 0 else 0.0 for part in parts)  # type: ignore[return-value]


def split(values: npt.ArrayLike, group: npt.ArrayLike, batch: npt.ArrayLike, *, few: int = FEW) -> Split:
    """Split the variance of `values` (n,); `group` and `batch` (n,) name each value's, a batch belonging to one group.

    Raises UnusableData where no batch holds two values.
    """
    x = np.asarray(values, dtype=np.float64)
    pairs = np.array([f"{g}\n{b}" for g, b in zip(np.asarray(group), np.asarray(batch), strict=True)])
    _, first, lot = np.unique(pairs, return_index=True, return_inverse=True)
    _, owner = np.unique(np.asarray(group)[first], return_inverse=True)
    n = np.bincount(lot).astype(np.float64) if len(x) else np.empty(0)
    total, b, g = len(x), len(n), int(owner.max()) + 1 if len(owner) else 0
    if total - b < 1 or not bool(np.isfinite(x).all()):
        raise UnusableData(
            f"a split of the variance needs a batch with two values or more, none missing; got {total} values in {b} "
            "batches"
        )
    mean = np.bincount(lot, x) / n
    within = float(((x - mean[lot]) ** 2).sum()) / (total - b)
    size = np.bincount(owner, n).astype(np.float64)
    group_mean = np.bincount(owner, n * mean) / size
    square = np.bincount(owner, n**2).astype(np.float64) / size  # sum of n^2 over n, for each group
    batch_part = float("nan")
    if b > g:
        between = float((n * (mean - group_mean[owner]) ** 2).sum()) / (b - g)
        batch_part = (between - within) / ((total - float(square.sum())) / (b - g))
    known = 0.0 if np.isnan(batch_part) else batch_part
    return Split(_groups(group_mean, size, square, known, within, few), batch_part, within, g, b, total, g <= few)


def _groups(mean: Floats, size: Floats, square: Floats, batch: float, within: float, few: int) -> float:
    """Variance between groups: of these groups, each alike, where there are few; of the groups they stand for
    otherwise.
    """
    g = len(mean)
    if g < 2:
        return float("nan")
    chance = (within + batch * square) / size  # variance of each group's mean, were the groups alike
    if g <= few:
        return float(mean.var(ddof=1) - chance.mean())
    total = size.sum()
    grand = float((size * mean).sum() / total)
    squares = float((size * (mean - grand) ** 2).sum())
    by_chance = float((size * chance * (1 - size / total)).sum())
    return (squares - by_chance) / float(total - (size**2).sum() / total)
