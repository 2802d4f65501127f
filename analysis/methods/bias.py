"""A gauge against a known value: how far beside it the gauge reads, with its interval.

Source: AIAG Measurement Systems Analysis, 4th ed., chapter III B.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.methods.problems import UnusableData


@dataclass(frozen=True)
class Bias:
    """Mean reading minus the known value, in the unit of the readings."""

    n: int
    bias: float
    error: float  # standard error
    t: float  # nan where all readings are equal
    p: float  # two-sided; nan likewise
    low: float
    high: float


def bias(readings: npt.ArrayLike, reference: float, level: float = 0.95) -> Bias:
    """Bias of repeated readings (n,) of one part whose value `reference` is known; two readings at least.

    level : of the two-sided interval by Student's t. Raises UnusableData for fewer readings or a missing one.
    """
    x = np.asarray(readings, dtype=np.float64)
    if x.ndim != 1 or len(x) < 2 or not bool(np.isfinite(x).all()):
        raise UnusableData(f"bias needs two readings or more of one part, none missing; got shape {x.shape}")
    n = len(x)
    off = float(x.mean()) - reference
    error = float(x.std(ddof=1)) / sqrt(n)
    half = float(stats.t.isf((1 - level) / 2, n - 1)) * error
    t = off / error if error > 0 else float("nan")
    return Bias(n, off, error, t, float(2 * stats.t.sf(abs(t), n - 1)), off - half, off + half)
