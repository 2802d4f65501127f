"""Run lengths of EWMA and CUSUM charts with known centre and sigma, by integral equation.

The run length is the number of readings up to and with the one that signals. Readings are independent and normal; all
is in units of the readings' own sigma. Each integral equation is solved on Gauss-Legendre nodes (Nystroem's method), whose
number grows with the width of the chart so that a kernel one sigma wide is met by more than two nodes: the error is then
far below the printed digits (the tests compare with twice the nodes).
"""

import math
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

Start = Literal["centre", "steady"]

LEAST_ARL = 1.5  # a chart that signals oftener is no chart; also keeps the root searches bracketed
LARGEST_WIDTH = 7.5  # an EWMA this wide runs for 1e13 readings; further out the equation loses its digits


@lru_cache(maxsize=64)
def _nodes(count: int) -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def _density(z: Floats) -> Floats:
    return np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)


def _count(widest: float) -> int:
    """Nodes for an interval of so many kernel sigmas: 2.3 a sigma leave an error below 1e-12; odd, so that 0 is one of them."""
    return 2 * math.ceil(1.15 * widest) + 21


def _checked_weight(weight: float) -> None:
    if not 0 < weight <= 1:
        raise UnusableData(f"the weight of the newest reading is {weight}; wanted above 0 and at most 1 (0.1 is usual)")


def _checked_width(width: Floats) -> None:
    if not bool(((width > 0) & np.isfinite(width)).all()):
        raise UnusableData(f"the width of the chart is {float(width.min())}; wanted a number of sigmas above 0")


def ewma_arls(
    width: npt.ArrayLike, shift: npt.ArrayLike = 0.0, *, weight: float, off: npt.ArrayLike = 0.0, start: Start = "centre"
) -> Floats:
    """Average run length of two-sided EWMA charts with their final (asymptotic) limits, for many charts at once.

    Parameters
    ----------
    width, shift, off : float, any shapes that broadcast
        Limits are centre +- width sigma sqrt(weight / (2 - weight)). Readings have mean centre + (off + shift) sigma: `off` is the
        error of the centre, there before and after the change; `shift` is the change.
    weight : float
        Weight of the newest reading, above 0, at most 1 (1 is a chart of single readings).
    start : "centre" or "steady"
        "centre": the average begins at the centre and the shift is there from the first reading. "steady": the chart has
        run in control for long without a signal before the shift comes.

    Returns
    -------
    float, the broadcast shape
        Mean number of readings to the first signal. Widths beyond 7.5 count as 7.5.

    Source: Lucas & Saccucci (1990), Technometrics 32, 1-12, here by integral equation (Crowder 1987, J. Quality Technology 19).
    """
    _checked_weight(weight)
    widths, shifts, offs = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (width, shift, off)))
    _checked_width(widths)
    halves = np.minimum(widths.ravel(), LARGEST_WIDTH) * math.sqrt(weight / (2 - weight))
    before, after = offs.ravel(), (offs + shifts).ravel()
    order = np.argsort(halves, kind="stable")  # neighbours of one size share the number of nodes
    out = np.empty(len(halves))
    for first in range(0, len(order), 32):  # blocks of 32 charts keep the matrices in the cache
        block = order[first:first + 32]
        out[block] = _ewma_block(halves[block], before[block], after[block], weight, steady=start == "steady")
    return out.reshape(widths.shape)


def _ewma_kernel(here: Floats, there: Floats, half: Floats, quadrature: Floats, mean: Floats, weight: float) -> Floats:
    """From places `here` (b, i) to nodes `there` (b, j): density times quadrature weight, shape (b, i, j)."""
    z = (there[:, None, :] - (1 - weight) * here[:, :, None]) / weight - mean[:, None, None]
    return _density(z) * (quadrature[None, None, :] * (half[:, None, None] / weight))


def _ewma_block(half: Floats, before: Floats, after: Floats, weight: float, *, steady: bool) -> Floats:
    count = _count(2 * float(half.max()) / weight)
    unit, quadrature = _nodes(count)
    nodes = half[:, None] * unit
    kernel = _ewma_kernel(nodes, nodes, half, quadrature, after, weight)
    remaining = np.linalg.solve(np.eye(count) - kernel, np.ones((len(half), count, 1)))[:, :, 0]
    if not steady:
        return np.asarray(1 + np.einsum("bj,bj->b", kernel[:, count // 2], remaining))
    quiet = _ewma_kernel(nodes, nodes, half, quadrature, before, weight)
    mass = quiet[:, count // 2]
    for _ in range(math.ceil(6 / weight)):  # by then the start is forgotten: (1 - weight)^(6 / weight) < 0.3 %
        mass = np.einsum("bi,bij->bj", mass, quiet)
        mass /= mass.sum(axis=1, keepdims=True)
    at_change = 1 + np.einsum("bij,bj->bi", kernel, remaining)
    return np.asarray(np.einsum("bi,bi->b", mass, at_change))
