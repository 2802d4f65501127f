"""Width of the running average's limits for readings that follow their own law, not the normal one.

Heavy tails, skewness and streams made of steadier and less steady hands make the average leave normal limits more often
than planned: at one signal wished in 8,000 readings 3.4 times for t with 5 degrees of freedom, 3.3 for gamma(4). Here
the average is a Markov chain over cells of its range that moves by the empirical distribution of what steady readings
gave, so without random numbers; its mean run length is set beside that of the same chain with normal readings, which
takes the cells' own error out (under 1 % up to one signal in 100,000).

Such readings also leave the sigma of a baseline less sure than as many normal ones would (`unsure`). Openings over the
wish of one in 8,000 (in 500), baselines of 100 and limits of 2,000 readings' own law, without that and with it: t with
5 degrees of freedom 1.6 (1.05) and 1.4 (.90); with 3, read to a sigma, 4.1 (1.17) and 2.5 (.99), by normal limits 17
(3.0).

Source: Brook & Evans (1972), Biometrika 59, 539-549 (run lengths by a Markov chain); Lucas & Saccucci (1990),
Technometrics 32.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from analysis.methods.problems import UnusableData
from analysis.methods.run_length_weighted import ewma_arls
from analysis.methods.segments import Floats

CELLS = 81  # of the chain
KNOTS = np.linspace(1.0, 6.0, 11)  # widths at which run lengths are worked out
LEAST = 2  # readings of a law
OF_NORMAL = 2 * math.pi / 3 + math.sqrt(3) - 3  # what `unsure` is of normal readings
LEAK = 1e-11  # chance a reading to leave the chain for nothing: an average that cannot reach its limits still ends


@dataclass(frozen=True)
class OwnLaw:
    """What steady readings gave, and how far an average of them runs."""

    readings: int
    log_arl: Floats  # (11,) log of the mean run length at the widths KNOTS
    normal: Floats  # (11,) the same for normal readings
    unsure: float = 1.0  # so many times the variance of normal readings has that of a sigma by moving ranges

    def width(self, arl: float) -> float:
        """Width in standard deviations of the average (of the sigma that the law is told in) that signals once in `arl`
        readings.
        """
        return _at(self.log_arl, arl)

    def factor(self, arl: float) -> float:
        """What to multiply the normal width by."""
        return self.width(arl) / _at(self.normal, arl)


def _at(log_arl: Floats, arl: float) -> float:
    rising = np.maximum.accumulate(log_arl)  # far out a small sample's run length may stop growing
    return float(np.interp(math.log(arl), rising, KNOTS))


def own_law(readings: Floats, *, weight: float = 0.1) -> OwnLaw:
    """The law of readings in sigmas off their centre.

    Parameters
    ----------
    readings : float (n,), in the sigma that limits are drawn in (so that a spread above 1 widens them), in any order.
    weight : of the newest reading in the average.

    Raises
    ------
    UnusableData
        Fewer than two readings, or a missing one.
    """
    values = np.sort(np.asarray(readings, dtype=np.float64))
    if len(values) < LEAST or not np.isfinite(values).all():
        raise UnusableData(
            f"{len(values)} readings, {int((~np.isfinite(values)).sum())} of them missing; "
            "a law wants two or more and none missing"
        )

    def cumulative(at: Floats) -> Floats:
        below, with_ties = (np.searchsorted(values, at, side=side) for side in ("left", "right"))
        return np.asarray((below + with_ties) / (2 * len(values)))  # a reading on an edge counts half

    exact, normal = _normal(weight)
    return OwnLaw(len(values), np.log(_arls(cumulative, weight)) - normal + exact, exact, unsure(values) / OF_NORMAL)


def unsure(values: Floats) -> float:
    """Squared relative error of the mean moving range of n independent readings, times n: from E (x - y)^2 and, with h
    how far all others lie from one reading on the average, E h and E h^2. For normal readings it is 2 pi / 3 + sqrt(3)
    - 3.

    values : float (n,), rising, of a law.
    """
    n, sums, place = len(values), np.cumsum(values), np.arange(1, len(values) + 1)
    away = (place * values - sums + (sums[-1] - sums) - (n - place) * values) / n
    mean = float(away.mean())
    if mean <= 0:
        return OF_NORMAL
    return (2 * float(values.var()) - mean**2 + 2 * (float((away**2).mean()) - mean**2)) / mean**2


@lru_cache(maxsize=16)
def _normal(weight: float) -> tuple[Floats, Floats]:
    """Log of the run lengths of normal readings, exactly and by the chain."""
    exact = np.log(ewma_arls(KNOTS, weight=weight))
    return exact, np.log(_arls(lambda at: np.asarray(ndtr(at)), weight))


def _arls(cumulative: Callable[[Floats], Floats], weight: float) -> Floats:
    """Mean run lengths from the centre at the widths KNOTS, by a chain over cells of the average's range."""
    half = KNOTS * math.sqrt(weight / (2 - weight))
    edges = np.linspace(-1, 1, CELLS + 1)
    middles = (edges[1:] + edges[:-1]) / 2
    reading = (edges[None, :] - (1 - weight) * middles[:, None]) / weight  # that leads from a middle to an edge
    moves = np.diff(cumulative(half[:, None, None] * reading), axis=2)
    remaining = np.linalg.solve(np.eye(CELLS) - (1 - LEAK) * moves, np.ones((len(half), CELLS, 1)))[:, :, 0]
    first = np.diff(cumulative(half[:, None] * edges / weight), axis=1)
    return np.asarray(1 + np.einsum("kj,kj->k", first, remaining))
