"""Are the readings of a characteristic independent of the ones before? Where not, its averages are given wider limits,
and that is said.

The lag-1 correlation of the baselines is pooled over all streams of a characteristic, apart from it over those of
single techs, in which neighbouring readings lie further apart in time. Two-sided p < .01; only resemblance widens
limits, and none below 0.03: it hardly moves the rate.
"""

from functools import partial

import numpy as np
import polars as pl
from scipy.special import chdtri

from analysis.methods.autocorrelation import dependence, ewma_factor, ewma_widening, sigma_factor
from analysis.methods.segments import Floats, Ints, firsts, lengths, means, places, standard_deviations
from analysis.methods.weighted import faded
from analysis.studies.drift.reckoned import PLAIN, Reckoned
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.streams import Streams

DEPENDENT = 0.01
NEGLIGIBLE = 0.03
DECIMALS = 3  # of a correlation that count (`ewma_widening`)
LEAST_BLOCKS = 10  # averages as good as independent from which on their spread is asked
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


def stretches(held: Streams, *, weight: float = 0.1, arl: float = 8000.0, reckoned: Reckoned = PLAIN) -> Floats:
    """Factor on sigma for the average's limits of each stream (s,); 1 where readings are independent. arl : readings
    between false signals.
    """
    phi, which = np.unique(correlations(held), return_inverse=True)
    return _widened(phi, weight, arl, reckoned)[which]


def _widened(phi: Floats, weight: float, arl: float, reckoned: Reckoned) -> Floats:
    """By what averages of readings of each correlation are widened (k,): kept, for its last digits hang on where its
    numbers lie in memory, and with them limits would move from one process to the next.
    """
    found = np.ones(len(phi))
    for at in np.flatnonzero(phi > 0):  # one a characteristic
        one = round(float(phi[at]), DECIMALS)  # what lies behind them is not asked for
        found[at] = reckoned("widening", partial(_widening, one, weight, arl), one, weight, arl)[0]
    return found


def _widening(phi: float, weight: float, arl: float) -> Floats:
    return np.array([ewma_widening(phi, weight=weight, arl=arl)])


def point_stretches(
    points: Floats, starts: Ints, groups: Ints, *, weight: float, arl: float, reckoned: Reckoned = PLAIN
) -> tuple[Floats, Floats]:
    """Factor on sigma for the averages of charts whose steady points are given, shape (s,), 1 where they are
    independent; and the part of it that goes beyond the points' own spread.

    Neighbours that resemble each other as a first-order autoregression are widened for as streams are. Days, lots and
    the air move many instruments alike and for longer: where the averages of the points still spread more than that
    explains, beyond chance (1 %, by as many independent averages as there are), the limits widen to their spread.

    groups : int (s,), charts judged as one: of one kind and characteristic.
    """
    found = dependence(points, starts, groups=groups)
    phi = np.where((found.p < DEPENDENT) & (found.phi >= NEGLIGIBLE), found.phi, 0.0)
    plain = _widened(phi, weight, arl, reckoned)
    size = lengths(starts, len(points))
    ids = np.repeat(np.arange(len(size)), size)
    sigma = standard_deviations(points, starts)
    off = np.divide(
        points - np.repeat(means(points, starts), size), sigma[ids], out=np.zeros(len(points)), where=sigma[ids] > 0
    )
    average = faded(off * weight, starts, 1 - weight)
    settled = places(starts, len(points)) >= round(3 / weight)
    count = np.bincount(groups[ids[settled]], minlength=len(phi))
    ratio = np.bincount(groups[ids[settled]], average[settled] ** 2, minlength=len(phi)) / np.maximum(count, 1)
    ratio = ratio / (weight / (2 - weight)) / ewma_factor(phi, weight) ** 2
    blocks = count * weight / (2 - weight)  # averages that far apart are as good as independent
    beyond = ratio > chdtri(np.maximum(blocks, 1), DEPENDENT) / np.maximum(blocks, 1)
    whole = plain * np.where(beyond & (blocks >= LEAST_BLOCKS), np.sqrt(ratio), 1.0)
    return np.asarray(whole[groups]), np.asarray((whole / np.where(phi > 0, sigma_factor(phi), 1.0))[groups])
