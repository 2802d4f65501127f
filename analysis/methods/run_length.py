"""How long a chart of single readings or means runs until it signals: mean, standard deviation and quantiles.

The run length is the number of readings up to and with the one that signals. Readings are independent; limits are
known.

- zone rules in any set: an exact Markov chain over the histories that can be reached, normal readings of any mean and
  spread;
- `climb` and `sawtooth` depend on the order of the readings only, so their run length is the same for every continuous
  distribution and every constant shift. It solves an integral equation whose solution is smooth; on 24 Gauss-Legendre
  nodes the error of the mean is below 1e-8 of it (against 48 nodes). Together with zone rules they have no chain:
  `run_length` says so.

Source: Champ & Woodall (1987), Technometrics 29, 393-399. The rules: Nelson (1984), J. Quality Technology 16; Western
Electric (1956).
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array, eye_array
from scipy.sparse.linalg import splu
from scipy.special import ndtr, ndtri

from analysis.methods.problems import UnusableData
from analysis.methods.run_rules import (
    AVOIDING,
    BEYOND,
    CLIMB,
    FOUR_OF_FIVE,
    HUGGING,
    MEMBERS,
    ONE_SIDE,
    SAWTOOTH,
    TWO_OF_THREE,
)
from analysis.methods.segments import Floats, Ints

ZONE_RULES = (BEYOND, ONE_SIDE, TWO_OF_THREE, FOUR_OF_FIVE, HUGGING, AVOIDING)
ORDER_RULES = (CLIMB, SAWTOOTH)
ORDER_NODES = 24
EVEN = 1e-13  # the share that stays from one reading to the next no longer moves: from here the run length is geometric
LONGEST = 1e11  # readings; beyond it the chain loses its digits
PATIENCE = 20_000  # readings after which it counts as geometric in any case

State = tuple[int, tuple[int, ...], tuple[int, ...], int, int]


@dataclass(frozen=True)
class RunLength:
    """Distribution of the number of readings to the signal, from the states of a chain that can still be running."""

    mean: float
    sd: float
    stays: csr_array  # (k, k) chance to go from one running state to another
    start: Floats  # (k,) weight of each state before the first reading

    def quantiles(self, shares: Sequence[float] = (0.05, 0.25, 0.5, 0.75, 0.95)) -> Ints:
        """Smallest number of readings within which the chart has signalled with at least each chance, shape
        (len(shares),).
        """
        wanted = np.asarray(shares, dtype=np.float64)
        if not bool(((wanted > 0) & (wanted < 1)).all()):
            raise UnusableData(f"shares are {list(shares)}; wanted chances between 0 and 1")
        alive, pace = self._running(1.0 - float(wanted.max()))
        out = np.searchsorted(-alive, wanted - 1 - 1e-12)
        beyond = out >= len(alive)
        more = (
            np.ceil(np.log((1 - wanted[beyond]) / alive[-1]) / math.log(pace) - 1e-9) if beyond.any() else np.zeros(0)
        )
        out[beyond] = len(alive) - 1 + more.astype(np.int64)
        return out.astype(np.int64)

    def running(self, n: int) -> Floats:
        """Chance that the chart has not signalled after 0, 1 ... n readings, shape (n + 1,)."""
        alive, pace = self._running(0.0, n)
        return np.concatenate((alive, alive[-1] * pace ** np.arange(1, n + 2 - len(alive))))

    def _running(self, least: float, most: int = PATIENCE) -> tuple[Floats, float]:
        """Those chances until they fall to `least` or by an even factor, and the last factor."""
        weight = self.start
        alive, pace = [1.0], 0.0
        turned = self.stays.T.tocsr()
        while alive[-1] > least and len(alive) <= most:
            weight = turned @ weight
            alive.append(float(weight.sum()))
            before, pace = pace, alive[-1] / alive[-2]
            if len(alive) > 50 and abs(pace - before) < EVEN:
                break
        return np.array(alive), pace


def solved(stays: csr_array, start: Floats) -> RunLength:
    """The run length of a chain from the chances (k, k) to stay running and the weights (k,) of the states before the
    first reading.
    """
    size = stays.shape[0]
    system = splu((eye_array(size) - stays).tocsc())
    mean = system.solve(np.ones(size))
    factorial = 2 * system.solve(stays @ mean)  # E N (N - 1) from each state
    arl = float(start @ mean)
    if not 0 < arl < LONGEST:
        raise UnusableData(
            f"the chart runs longer than {LONGEST:.0e} readings; wanted rules, a width and a shift that signal oftener"
        )
    return RunLength(arl, math.sqrt(max(float(start @ factorial) + arl - arl**2, 0.0)), stays, start)


@dataclass(frozen=True)
class _Zones:
    edges: Floats  # (b - 1,) between the b bands, in sigma from the centre
    states: int
    source: Ints
    target: Ints
    band: Ints  # band of the move from source to target; a move that signals is left out


def run_length(
    rules: Iterable[str] = (BEYOND,),
    *,
    shift: float = 0.0,
    spread: float = 1.0,
    width: float = 3.0,
    one_side: int = MEMBERS[ONE_SIDE],
) -> RunLength:
    """Distribution of the run length under a set of run rules.

    Parameters
    ----------
    rules : names of rules
        Any set of the zone rules, or `climb` alone, or `sawtooth` alone.
    shift, spread : float
        Mean of the readings less the centre, and their standard deviation (above 0), both in the chart's sigma.
    width : float
        Where `beyond` begins, in sigma.
    one_side : int
        How many in a row `one side` wants: 9 here, 8 in Western Electric's rule.

    Raises
    ------
    UnusableData
        No rule, an unknown rule, an order rule beside others, a spread that is not above 0, a run longer than 1e11
        readings.
    """
    wanted = frozenset(rules)
    unknown = sorted(wanted - {*ZONE_RULES, *ORDER_RULES})
    if not wanted or unknown:
        raise UnusableData(f"the rules are {sorted(wanted)}; wanted some of {', '.join((*ZONE_RULES, *ORDER_RULES))}")
    if not (spread > 0 and math.isfinite(shift) and width > 0 and one_side >= 2):
        raise UnusableData(
            f"shift {shift}, spread {spread}, width {width}, {one_side} on one side; wanted a spread and width above "
            "0, at least 2"
        )
    if wanted & set(ORDER_RULES):
        if len(wanted) > 1:
            raise UnusableData(
                "climb and sawtooth look at the order of readings and have no exact chain beside another rule: ask "
                "for each alone"
            )
        return _order_run_length(next(iter(wanted)), ORDER_NODES)
    zones = _zones(wanted, float(width), one_side)
    within = ndtr((np.concatenate(([-np.inf], zones.edges, [np.inf])) - shift) / spread)
    share = np.diff(within)
    share[-1] = ndtr((shift - zones.edges[-1]) / spread)
    stays = csr_array((share[zones.band], (zones.source, zones.target)), shape=(zones.states, zones.states))
    start = np.zeros(zones.states)
    start[0] = 1.0
    return solved(stays, start)


@lru_cache(maxsize=64)
def _zones(rules: frozenset[str], width: float, one_side: int) -> _Zones:
    """The chain: every history that can be reached without a signal, found from the empty one."""
    lines = {0.0} if ONE_SIDE in rules else set()
    lines |= {width, -width} if BEYOND in rules else set()
    lines |= {2.0, -2.0} if TWO_OF_THREE in rules else set()
    lines |= {1.0, -1.0} if rules & {FOUR_OF_FIVE, HUGGING, AVOIDING} else set()
    edges = np.array(sorted(lines))
    middles = np.concatenate(([edges[0] - 1], (edges[:-1] + edges[1:]) / 2, [edges[-1] + 1])).tolist()
    empty: State = (0, (), (), 0, 0)
    numbers, queue = {empty: 0}, [empty]
    moves: list[tuple[int, int, int]] = []
    for state in queue:  # grows while it is walked
        for band, place in enumerate(middles):
            following = _after(state, place, rules, width, one_side)
            if following is None:
                continue
            if following not in numbers:
                numbers[following] = len(queue)
                queue.append(following)
            moves.append((numbers[state], numbers[following], band))
    source, target, bands = np.array(moves, dtype=np.int64).T
    return _Zones(edges, len(queue), source, target, bands)


def _after(state: State, place: float, rules: frozenset[str], width: float, one_side: int) -> State | None:
    """The history after a reading at `place` (never on a line); None where a rule fires."""
    run, twos, ones, near, far = state
    side = 1 if place > 0 else -1
    if BEYOND in rules and abs(place) > width:
        return None
    if ONE_SIDE in rules:
        run = run + side if run * side > 0 else side
        if abs(run) >= one_side:
            return None
    if TWO_OF_THREE in rules:
        mark = side if abs(place) > 2 else 0
        if mark and mark in twos:
            return None
        twos = _trimmed((*twos, mark), 2, 1)
    if FOUR_OF_FIVE in rules:
        mark = side if abs(place) > 1 else 0
        if mark and ones.count(mark) >= 3:
            return None
        ones = _trimmed((*ones, mark), 4, 3)
    if HUGGING in rules:
        near = near + 1 if abs(place) <= 1 else 0
        if near >= MEMBERS[HUGGING]:
            return None
    if AVOIDING in rules:
        far = far + 1 if abs(place) > 1 else 0
        if far >= MEMBERS[AVOIDING]:
            return None
    return run, twos, ones, near, far


def _trimmed(marks: tuple[int, ...], memory: int, needed: int) -> tuple[int, ...]:
    """The last marks that can still be members of a pattern, none in front that cannot: fewer histories, the same
    chart.

    A mark at place i of the memory leaves after `memory - i` more readings; it can only count if by then enough of its
    side are there.
    """
    last = list(marks[-memory:])
    last = [0] * (memory - len(last)) + last
    for i, mark in enumerate(last):
        if (
            mark and last[i:].count(mark) + i + 1 < needed + 1
        ):  # with every later reading its side, still short when it leaves
            last[i] = 0
    while last and last[0] == 0:
        last.pop(0)
    return tuple(last)


@lru_cache(maxsize=8)
def _order_run_length(rule: str, count: int) -> RunLength:
    """Run length of `climb` or `sawtooth` for readings uniform on 0..1; falling from y is rising from 1 - y.

    State k, x: the pattern so far has k readings (k = 1: the first reading) and the last of them, reached by a rise, is
    x.
    """
    nodes, weights = np.polynomial.legendre.leggauss(count)
    degree = np.arange(count)
    basis = np.polynomial.legendre.legvander(nodes, count)
    to_basis = (2 * degree[:, None] + 1) / 2 * basis[:, :count].T * weights
    integral = np.empty((count, count))  # of each basis function from -1 to each node
    integral[:, 0] = nodes + 1
    integral[:, 1:] = (basis[:, 2:] - basis[:, : count - 1]) / (2 * degree[1:] + 1)
    below = integral @ to_basis / 2
    above = weights[None, :] / 2 - below
    turned = below[:, ::-1]
    members = MEMBERS[rule]
    stays = np.zeros((1 + (members - 1) * count, 1 + (members - 1) * count))

    def states(k: int) -> slice:
        return slice(1 + (k - 1) * count, 1 + k * count)

    stays[0, states(1)] = weights / 2
    stays[states(1), states(2)] = above + turned
    for k in range(2, members):
        again, on = (turned, above) if rule == CLIMB else (above, turned)
        stays[states(k), states(2)] += again
        if k + 1 < members:
            stays[states(k), states(k + 1)] += on
    start = np.zeros(len(stays))
    start[0] = 1.0
    return solved(csr_array(stays), start)


def xbar_arl(shift: npt.ArrayLike = 0.0, *, n: int = 1, width: float = 3.0) -> Floats:
    """Average run length, in subgroups, of a chart of means of n readings; `shift` in sigma of one reading, any shape.

    1 / (Phi(-width - shift sqrt(n)) + Phi(-width + shift sqrt(n))).
    """
    if n < 1 or not width > 0:
        raise UnusableData(f"subgroups of {n} and a width of {width}; wanted at least 1 reading and a width above 0")
    moved = np.asarray(shift, dtype=np.float64) * math.sqrt(n)
    return np.asarray(1 / (ndtr(-width - moved) + ndtr(-width + moved)))


def xbar_width(arl: float) -> float:
    """The width at which a chart of means or single readings with known limits runs, in control, for `arl` points."""
    if not arl > 1:
        raise UnusableData(f"the wished run length is {arl}; wanted more than 1 point between false signals")
    return float(-ndtri(0.5 / arl))
