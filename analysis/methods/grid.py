"""The grid on which readings of late lie: in which steps a gauge is read, told by the readings themselves."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags

STRAYS = 0.05  # of the readings may lie off the grid
NEAR = 0.1  # of a step: a mark of 1/128 in written as 0.01 mm lies that near to it


@dataclass(frozen=True)
class Grid:
    """Evenly spaced values: `origin` and all whole `step`s from it, in the unit of the readings."""

    origin: float
    step: float

    def on(self, values: npt.ArrayLike) -> Flags:
        """Which values lie on it, shape (n,)."""
        told = (np.asarray(values, dtype=np.float64) - self.origin) / self.step
        return np.asarray(np.abs(told - np.round(told)) <= NEAR)


def grid(values: npt.ArrayLike) -> Grid | None:
    """The grid on which readings lie, its step the smallest distance between two values that were read; None where they
    lie on none, or are all the same.

    Parameters
    ----------
    values : float, shape (n,)
        Readings, in any order and unit, none missing. The rarest values, up to a twentieth of the readings, may lie
        beside the grid: a slip, or somebody who still reads another gauge.

    Raises
    ------
    UnusableData
        A missing reading.

    A gauge of fine steps seems as coarse as its spread only where all readings happen to fall on every second of its
    marks, which of 30 readings spread over two steps or more does not happen once in 2^28 times.
    Source: Sheppard 1898 on grouped readings, Proc. London Math. Soc. 29, names the step; the search for it is ours.
    """
    read = np.asarray(values, dtype=np.float64)
    if np.isnan(read).any():
        raise UnusableData(f"{int(np.isnan(read).sum())} of {len(read)} readings are missing; leave them out")
    found, counts = np.unique(read, return_counts=True)
    order = np.argsort(counts, kind="stable")
    spare = np.cumsum(counts[order]) <= STRAYS * len(read)
    kept = np.sort(found[order[~spare]])
    if len(kept) < 2:
        return None
    place = np.round((kept - kept[0]) / np.diff(kept).min())
    step = float((place * (kept - kept[0])).sum() / (place**2).sum())
    told = Grid(float(kept[0]), step)
    return told if told.on(kept).all() else None
