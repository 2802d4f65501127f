"""Where the next value of a series will lie if nothing changes: a prediction interval, wider than one of the mean.

Counts are taken to their square roots and shares to their arc sines, where their spread hangs little on their size.

Source: NIST/SEMATECH e-Handbook, section 4.5.1.2 (a new observation: s sqrt(1 + 1/n), Student's t); the scales:
Anscombe 1948, Biometrika 35 (from memory; coverage is shown by simulation).
"""

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.methods.problems import UnusableData

COUNT, SHARE, PLAIN = "count", "share", "plain"


def next_value(values: npt.ArrayLike, kind: str = PLAIN, *, confidence: float = 0.95) -> tuple[float, float]:
    """Ends of the interval for one value more, in the unit of the values (n,); n at least 2, none missing.

    kind : count (0, 1, 2 ...) | share (0 to 1) | plain. UnusableData for fewer values, or some that are not of the
    kind.
    """
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1 or len(array) < 2 or not np.isfinite(array).all():
        raise UnusableData("the next value wants two values before it or more, none missing")
    if (kind in (COUNT, SHARE) and (array < 0).any()) or (kind == SHARE and (array > 1).any()):
        raise UnusableData(f"a {kind} lies outside its range; wanted {'0 to 1' if kind == SHARE else '0 or more'}")
    scale = {COUNT: lambda x: np.sqrt(x + 0.375), SHARE: lambda x: np.arcsin(np.sqrt(x))}.get(kind, lambda x: x)(array)
    n = len(scale)
    half = float(stats.t.ppf((1 + confidence) / 2, n - 1) * scale.std(ddof=1) * np.sqrt(1 + 1 / n))
    low, high = float(scale.mean()) - half, float(scale.mean()) + half
    if kind == COUNT:
        return max(max(low, 0.0) ** 2 - 0.375, 0.0), max(high, 0.0) ** 2 - 0.375
    if kind == SHARE:
        return float(np.sin(np.clip(low, 0, np.pi / 2)) ** 2), float(np.sin(np.clip(high, 0, np.pi / 2)) ** 2)
    return low, high
