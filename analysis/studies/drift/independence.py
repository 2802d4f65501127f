"""Are the readings of a characteristic independent of the ones before? Where not, its averages are given wider limits,
and that is said.

The lag-1 correlation of the baselines is pooled over all streams of a characteristic, apart from it over those of
single techs, in which neighbouring readings lie further apart in time. Two-sided p < .01; only resemblance widens
limits, and none below 0.03: it hardly moves the rate.
"""

import numpy as np
import polars as pl

from analysis.methods.autocorrelation import dependence, ewma_widening
from analysis.methods.segments import Floats, firsts
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.streams import Streams

DEPENDENT = 0.01
NEGLIGIBLE = 0.03
LEAST = 25  # readings of a baseline that is asked


def correlations(held: Streams) -> Floats:
    """Lag-1 correlation that the readings of each stream are taken to have (s,); 0 where their characteristic shows
    none.
    """
    asked = held.own.n >= LEAST
    phi = np.zeros(len(held.starts))
    if not asked.any():
        return phi
    group = (
        held.rows.select(pl.struct("characteristic", pl.col("tech") == "").rank("dense").cast(pl.Int64) - 1)
        .to_series()
        .to_numpy()
    )
    at, begins = firsts(held.starts, len(held.values), np.where(asked, held.own.n, 1))
    kept = np.repeat(asked, np.diff(begins, append=len(at)))
    size = held.own.n[asked]
    found = dependence(deviations(held)[0][at[kept]], np.cumsum(size) - size, groups=group[asked])
    shows = (found.p < DEPENDENT) & (found.phi >= NEGLIGIBLE)
    every = np.append(np.where(shows, found.phi, 0.0), np.zeros(int(group.max()) + 1))
    return np.asarray(every[group], dtype=np.float64)


def stretches(held: Streams, *, weight: float = 0.1, arl: float = 8000.0) -> Floats:
    """Factor on sigma for the average's limits of each stream (s,); 1 where readings are independent. arl : readings
    between false signals.
    """
    phi, which = np.unique(correlations(held), return_inverse=True)
    return np.array([ewma_widening(float(one), weight=weight, arl=arl) if one > 0 else 1.0 for one in phi])[which]
