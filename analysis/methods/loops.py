"""Absorbing Markov chains: how often work passes each state before it ends, how that varies, and what it costs.

States are the caller's, say stage x (first pass, in a loop caused and caught at). Arrays of shape (k, ...) stand for
the k states that are passed through, m for the ends. Source: Kemeny & Snell 1960, Finite Markov Chains, chapter III.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats


@dataclass(frozen=True)
class Chain:
    """An absorbing chain: chances from each passing state to each passing state and to each end."""

    among: Floats  # (k, k) Q
    ends: Floats  # (k, m) R

    @property
    def visits(self) -> Floats:
        """Expected visits to state j of what begins in i, the begin counted: the fundamental matrix (k, k)."""
        return _inverse(self.among)

    @property
    def visits_variance(self) -> Floats:
        """Variance of those visits (k, k)."""
        n = self.visits
        return np.asarray(n * (2 * np.diag(n) - 1)[None, :] - n**2, dtype=np.float64)

    @property
    def steps(self) -> Floats:
        """Expected steps to the end from each state (k,)."""
        return np.asarray(self.visits.sum(axis=1), dtype=np.float64)

    @property
    def steps_variance(self) -> Floats:
        """Variance of those steps (k,)."""
        t = self.steps
        return (2 * self.visits - np.eye(len(t))) @ t - t**2

    @property
    def absorbed(self) -> Floats:
        """Chance of ending in each end from each state (k, m)."""
        return self.visits @ self.ends

    @property
    def ever(self) -> Floats:
        """Chance of ever coming to state j from i, of coming back for j = i (k, k)."""
        n = self.visits
        return (n - np.eye(len(n))) / np.diag(n)[None, :]

    def cost(self, per_visit: npt.ArrayLike) -> Floats:
        """Expected cost to the end from each state; `per_visit` of shape (k,) or (k, what is counted), say minutes and
        money.
        """
        each = np.asarray(per_visit, dtype=np.float64)
        if each.shape[:1] != (len(self.among),) or not bool(np.isfinite(each).all()):
            raise UnusableData(
                f"a cost a state is needed, none missing; got shape {each.shape} for {len(self.among)} states"
            )
        return np.asarray(self.visits @ each, dtype=np.float64)

    def redirected(self, state: int, end: int, share: float, instead: int) -> "Chain":
        """The chain in which `share` of the moves from `state` to passing state `end` go to passing state `instead`."""
        if not 0 <= share <= 1:
            raise UnusableData(f"a share to take away lies between 0 and 1; got {share}")
        among = self.among.copy()
        moved = share * among[state, end]
        among[state, end] -= moved
        among[state, instead] += moved
        return Chain(among, self.ends)


def from_counts(among: npt.ArrayLike, ends: npt.ArrayLike) -> Chain:
    """The chain whose moves were counted: `among` (k, k) between passing states, `ends` (k, m) into the ends.

    Raises UnusableData for a state never left, and where work would go round for ever.
    Expected visits, times how many began where, give back exactly the visits counted.
    """
    inside, out = np.asarray(among, dtype=np.float64), np.asarray(ends, dtype=np.float64)
    if inside.ndim != 2 or inside.shape[0] != inside.shape[1] or out.ndim != 2 or len(out) != len(inside):
        raise UnusableData(
            f"moves must be counted state by state and state by end; got shapes {inside.shape} and {out.shape}"
        )
    if bool((inside < 0).any() or (out < 0).any()):
        raise UnusableData("a number of moves cannot be below 0; count again")
    left = inside.sum(axis=1) + out.sum(axis=1)
    if bool((left == 0).any()):
        raise UnusableData(
            f"state {int((left == 0).argmax())} was never left; leave it out, or wait until work has come through it"
        )
    return chain(inside / left[:, None], out / left[:, None])


def chain(among: npt.ArrayLike, ends: npt.ArrayLike) -> Chain:
    """The chain with these chances; rows sum to 1 and every state can reach an end, else UnusableData."""
    q, r = np.asarray(among, dtype=np.float64), np.asarray(ends, dtype=np.float64)
    total = q.sum(axis=1) + r.sum(axis=1)
    if bool((q < 0).any() or (r < 0).any()) or not np.allclose(total, 1, atol=1e-9):
        raise UnusableData("the chances of leaving each state must be 0 or more and sum to 1")
    reach = r.sum(axis=1) > 0
    for _ in range(len(q)):
        reach = reach | ((q > 0) & reach[None, :]).any(axis=1)
    if not reach.all():
        raise UnusableData(
            f"from state {int((~reach).argmax())} no end can be reached: work would go round for ever; look at its "
            "moves"
        )
    return Chain(q, r)


def _inverse(among: Floats) -> Floats:
    return np.asarray(np.linalg.inv(np.eye(len(among)) - among), dtype=np.float64)
