"""Since when somebody who began off the others lies with them: blocks of differences in time order, and a margin within
which a difference does not matter.

A block is shown to be off where its difference lies beyond the margin by more than chance (5 % over all blocks); what
follows the last of them may lie within. There the level is reached with the first block from which a few blocks
together lie within the margin, and it is known by the first block up to which all since together are shown to do so
(5 %).
Source: two one-sided tests of equivalence, Schuirmann 1987, J. Pharmacokinetics and Biopharmaceutics 15 (from memory;
held by the coverage in its tests).
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.methods.segments import Floats

RISK = 0.05
TOGETHER = 3  # blocks that say where it was reached


@dataclass(frozen=True)
class Reached:
    """Places of blocks: reached with `at`, not before `low`, known by `high`."""

    at: int
    low: int
    high: int


def reached(difference: Floats, error: Floats, margin: float) -> Reached | None:
    """When it was reached; None of somebody who was never shown to be off, or is not shown to lie within yet.

    difference, error : each block's difference to the others and its standard error, above 0, shape (b,).
    margin : above 0, in the same unit.
    """
    if not len(difference):
        return None
    beyond = (np.abs(difference) - margin) / error > float(stats.norm.isf(RISK / len(difference)))
    if not beyond.any():
        return None
    low = int(np.flatnonzero(beyond)[-1]) + 1
    weight = 1 / error**2

    def pooled(first: int, last: int) -> tuple[float, float]:
        some = slice(first, last + 1)
        total = float(weight[some].sum())
        return abs(float(weight[some] @ difference[some]) / total), float(1 / np.sqrt(total))

    last = len(difference) - 1
    within = (at for at in range(low, last + 1) if pooled(at, min(at + TOGETHER - 1, last))[0] <= margin)
    at = next(within, None)
    if at is None:
        return None
    reach = float(stats.norm.isf(RISK))
    for high in range(at, last + 1):
        mean, known = pooled(at, high)
        if mean + reach * known <= margin:
            return Reached(at, low, high)
    return None
