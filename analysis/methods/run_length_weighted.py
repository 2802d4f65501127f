"""Run lengths of EWMA and CUSUM charts with known centre and sigma, by integral equation.

The run length is the number of readings up to and with the one that signals. Readings are independent and normal; all
is in units of the readings' own sigma. Each integral equation is solved on Gauss-Legendre nodes (Nystroem's method),
whose number grows with the width of the chart so that a kernel one sigma wide is met by more than two nodes: the error
is then far below the printed digits (the tests compare with twice the nodes).
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.sparse import csr_array
from scipy.special import ndtr

from analysis.methods.problems import UnusableData
from analysis.methods.run_length import RunLength, solved
from analysis.methods.segments import Floats

Start = Literal["centre", "steady"]
Limits = Literal["final", "growing"]

LONGEST = 1e9  # readings; beyond it the equations lose digits
LARGEST_WIDTH = 7.5  # an EWMA this wide runs for 1e13 readings; further out the equation loses its digits


@lru_cache(maxsize=64)
def _nodes(count: int) -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def _density(z: Floats) -> Floats:
    return np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)


def _count(widest: float) -> int:
    """Nodes for an interval of so many kernel sigmas: 2.3 a sigma leave an error below 1e-12; odd, so that 0 is one of
    them.
    """
    return 2 * math.ceil(1.15 * widest) + 21


def _checked_weight(weight: float) -> None:
    if not 0 < weight <= 1:
        raise UnusableData(f"the weight of the newest reading is {weight}; wanted above 0 and at most 1 (0.1 is usual)")


def _checked_width(width: Floats) -> None:
    if not bool(((width > 0) & np.isfinite(width)).all()):
        raise UnusableData(f"the width of the chart is {float(width.min())}; wanted a number of sigmas above 0")


def ewma_arls(
    width: npt.ArrayLike,
    shift: npt.ArrayLike = 0.0,
    *,
    weight: float,
    off: npt.ArrayLike = 0.0,
    start: Start = "centre",
    limits: Limits = "final",
) -> Floats:
    """Average run length of two-sided EWMA charts, for many charts at once.

    Parameters
    ----------
    width, shift, off : float, any shapes that broadcast
        Limits are centre +- width sigma sqrt(weight / (2 - weight)). Readings have mean centre + (off + shift) sigma:
        `off` is the error of the centre, there before and after the change; `shift` is the change.
    weight : float
        Weight of the newest reading, above 0, at most 1 (1 is a chart of single readings).
    start : "centre" or "steady"
        "centre": the average begins at the centre and the shift is there from the first reading. "steady": the chart
        has run in control for long without a signal before the shift comes.
    limits : "final" or "growing"
        "final": the limits of a long run from the first reading on. "growing": exact limits, which widen over the first
        readings; in control the run is then shorter by a few readings (486 for 500 at weight 0.1), which a long-run
        rate need not count.

    Returns
    -------
    float, the broadcast shape
        Mean number of readings to the first signal. Widths beyond 7.5 count as 7.5.

    Source: Lucas & Saccucci (1990), Technometrics 32, 1-12, here by integral equation (Crowder 1987, J. Quality
    Technology 19).
    """
    _checked_weight(weight)
    widths, shifts, offs = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (width, shift, off)))
    _checked_width(widths)
    halves = np.minimum(widths.ravel(), LARGEST_WIDTH) * math.sqrt(weight / (2 - weight))
    before, after = offs.ravel(), (offs + shifts).ravel()
    order = np.argsort(halves, kind="stable")  # neighbours of one size share the number of nodes
    out = np.empty(len(halves))
    for first in range(0, len(order), 32):  # blocks of 32 charts keep the matrices in the cache
        block = order[first : first + 32]
        out[block] = _ewma_block(halves[block], before[block], after[block], weight, start, limits)
    return out.reshape(widths.shape)


def _ewma_kernel(here: Floats, there: Floats, half: Floats, quadrature: Floats, mean: Floats, weight: float) -> Floats:
    """From places `here` (b, i) to nodes `there` (b, j): density times quadrature weight, shape (b, i, j)."""
    z = (there[:, None, :] - (1 - weight) * here[:, :, None]) / weight - mean[:, None, None]
    return _density(z) * (quadrature[None, None, :] * (half[:, None, None] / weight))


def _ewma_block(half: Floats, before: Floats, after: Floats, weight: float, start: Start, limits: Limits) -> Floats:
    count = _count(2 * float(half.max()) / weight)
    unit, quadrature = _nodes(count)
    nodes = half[:, None] * unit
    kernel = _ewma_kernel(nodes, nodes, half, quadrature, after, weight)
    remaining = np.linalg.solve(np.eye(count) - kernel, np.ones((len(half), count, 1)))[:, :, 0]
    if start == "steady":
        quiet = _ewma_kernel(nodes, nodes, half, quadrature, before, weight)
        mass = quiet[:, count // 2]
        for _ in range(math.ceil(6 / weight)):  # by then the start is forgotten: (1 - weight)^(6 / weight) < 0.3 %
            mass = np.einsum("bi,bij->bj", mass, quiet)
            mass /= mass.sum(axis=1, keepdims=True)
        at_change = 1 + np.einsum("bij,bj->bi", kernel, remaining)
        return np.asarray(np.einsum("bi,bi->b", mass, at_change))
    if limits == "final" or weight == 1:
        return np.asarray(1 + np.einsum("bj,bj->b", kernel[:, count // 2], remaining))
    here, mass, run = np.zeros((len(half), 1)), np.ones((len(half), 1)), np.zeros(len(half))
    for reading in range(1, math.ceil(-9 / math.log1p(-weight)) + 1):  # then the limits are final to 1e-8
        run += mass.sum(axis=1)
        wide = half * math.sqrt(-math.expm1(2 * reading * math.log1p(-weight)))
        there = wide[:, None] * unit
        mass = np.einsum("bi,bij->bj", mass, _ewma_kernel(here, there, wide, quadrature, after, weight))
        here = there
    return np.asarray(run + np.einsum("bi,bi->b", mass, remaining))


def ewma_rate_dependent(width: float, phi: float, *, weight: float) -> float:
    """Long-run in-control signals a reading of an EWMA over a first-order autoregression with lag-1 correlation phi.

    Limits are centre +- width sigma sqrt(weight / (2 - weight)), sigma that of the readings. One less the largest
    eigenvalue of the chain of two successive averages (from which the last reading follows), so exact up to the nodes,
    1.6 a kernel sigma: within 1 % of the rate up to one signal in 1e6 readings.
    """
    _checked_weight(weight)
    if not abs(phi) < 1 or not width > 0:
        raise UnusableData(
            f"correlation {phi}, width {width}; wanted a correlation between -1 and 1 and a width above 0"
        )
    half, noise = width * math.sqrt(weight / (2 - weight)), math.sqrt(1 - phi * phi)
    unit, quadrature = _nodes(2 * math.ceil(0.8 * 2 * half / (weight * noise)) + 15)
    nodes = half * unit
    reading = (nodes[None, :] - (1 - weight) * nodes[:, None]) / weight  # that leads from one average to the next
    kernel = _density((reading[None, :, :] - phi * reading[:, :, None]) / noise) * (
        quadrature * half / (weight * noise)
    )
    mass, stays = np.exp(-0.5 * reading * reading), 0.0
    for _ in range(20_000):
        mass = np.matmul(mass.T[:, None, :], kernel.transpose(1, 0, 2))[:, 0, :]
        before, stays = stays, float(mass.sum())
        mass /= stays
        if abs(stays - before) < 1e-10:
            break
    return 1 - stays


def ewma_run_length(width: float, *, weight: float, shift: float = 0.0) -> RunLength:
    """Mean, sd and quantiles of the run length of a two-sided EWMA from the centre, final limits; as `ewma_arls`
    otherwise.
    """
    _checked_weight(weight)
    _checked_width(np.array([width]))
    half = np.array([min(width, LARGEST_WIDTH) * math.sqrt(weight / (2 - weight))])
    unit, quadrature = _nodes(_count(2 * float(half[0]) / weight))
    stays = _ewma_kernel(half[:, None] * unit, half[:, None] * unit, half, quadrature, np.array([shift]), weight)[0]
    start = np.zeros(len(unit))
    start[len(unit) // 2] = 1.0
    return solved(csr_array(stays), start)


@dataclass(frozen=True)
class _OneSided:
    zero: float  # mean run length from 0
    head: float  # mean run length from the head start


@lru_cache(maxsize=4096)
def _cusum_one_sided(interval: float, reference: float, head: float, shift: float) -> _OneSided:
    """Mean run length of max(0, sum + reading - reference) over `interval`: an integral equation with an atom at 0
    (Page 1954).
    """
    unit, quadrature = _nodes(_count(interval))
    nodes = np.concatenate(([0.0], interval * (unit + 1) / 2, [head]))
    weights = interval / 2 * quadrature
    drop = reference - shift - nodes
    moves = np.empty((len(nodes), len(nodes)))
    moves[:, 0] = ndtr(drop)
    moves[:, 1:-1] = _density(nodes[None, 1:-1] + drop[:, None]) * weights
    moves[:, -1] = 0.0
    run = np.linalg.solve(np.eye(len(nodes)) - moves, np.ones(len(nodes)))
    return _OneSided(float(run[0]), float(run[-1]))


def cusum_arl(
    interval: float, *, reference: float = 0.5, head: float = 0.0, shift: float = 0.0, sides: Literal[1, 2] = 2
) -> float:
    """Average run length of a tabular CUSUM from its start, the shift there from the first reading.

    Parameters
    ----------
    interval : float
        Decision interval h in sigma, above 0.
    reference : float
        Reference value k in sigma, at least 0.
    head : float
        Head start of both sums in sigma, from 0 to h (h / 2 is usual; 0 is none).
    shift : float
        Mean of the readings less the target, in sigma.
    sides : 1 or 2
        The upper sum alone, or both.

    Source: Lucas & Crosier (1982), Technometrics 24, 199-205; both sides from one: Van Dobben de Bruyn (1968).
    """
    if not (interval > 0 and reference >= 0 and 0 <= head <= interval):
        raise UnusableData(
            f"h = {interval}, k = {reference}, head start {head}; wanted h above 0, k at least 0, a head start from 0 "
            "to h"
        )
    up = _cusum_one_sided(interval, reference, head, shift)
    if sides == 1:
        return up.head
    down = _cusum_one_sided(interval, reference, head, -shift)
    return (up.head * down.zero + up.zero * down.head - up.zero * down.zero) / (up.zero + down.zero)


def cusum_interval(arl: float, *, reference: float = 0.5, head_share: float = 0.0) -> float:
    """The decision interval h at which a two-sided CUSUM in control runs for `arl` readings; the head start is
    `head_share` of h.
    """
    if not 3 <= arl <= LONGEST:
        raise UnusableData(f"the wished run length is {arl}; wanted 3 to {LONGEST:.0e} readings")

    def excess(interval: float) -> float:
        return math.log(cusum_arl(interval, reference=reference, head=head_share * interval) / arl)

    low, high = 1e-3, 2.0
    while excess(high) < 0:
        high *= 1.5
    if excess(low) > 0:
        raise UnusableData(
            f"with k = {reference} no interval signals as often as once in {arl} readings; wanted a longer run or a "
            "smaller k"
        )
    return float(brentq(excess, low, high, xtol=1e-8))
