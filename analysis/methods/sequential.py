"""Counting good and bad one by one until enough is known: the sequential probability ratio test, cut off at a longest
run.

After n instruments with d bad: d at or below the lower line shows that the target share holds, d at or above the upper
line shows that it does not (yet); between them the count goes on. At the longest run the middle between the lines
decides. The exact chances follow by walking the counts (a Markov chain), so nothing rests on Wald's approximations.
Source: Wald 1947, Sequential Analysis; NIST/SEMATECH e-Handbook, section 6.2.3.4 and 6.2.6.
"""

from dataclasses import dataclass, field
from math import ceil, floor, log

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints

LONGEST = 1000  # instruments; nobody waits longer for a verdict


@dataclass(frozen=True)
class SequentialPlan:
    """A plan and its lines: shown holds at d <= `shown_at[n - 1]`, not shown at d >= `not_shown_at[n - 1]`."""

    good: float  # share bad of someone who holds the target
    poor: float  # share bad that must not pass for it
    risk_good: float  # of calling `good` not shown, at most
    risk_poor: float  # of calling `poor` shown, at most
    shown_at: Ints = field(repr=False)  # (longest,) -1 where no d shows it yet
    not_shown_at: Ints = field(repr=False)  # (longest,) n + 1 where no d denies it yet

    @property
    def longest(self) -> int:
        """Instruments after which the test ends at the latest."""
        return len(self.shown_at)


@dataclass(frozen=True)
class Expected:
    """What to expect of a plan, one number a share bad."""

    shown: Floats  # chance that the test ends with the target shown
    instruments: Floats  # mean number until it ends
    half_done_by: Ints  # number by which the test has ended half of the time


def plan(
    good: float, poor: float, *, risk_good: float = 0.05, risk_poor: float = 0.10, longest: int | None = None
) -> SequentialPlan:
    """The test for a target share `good` against `poor`, both risks kept exactly.

    Without `longest` the shortest cut-off in steps of a tenth that keeps both risks is taken; one that is too short for
    them is refused.
    """
    if not 0 < good < poor < 1 or not 0 < risk_good < 0.5 or not 0 < risk_poor < 0.5:
        raise UnusableData(
            f"a sequential test needs 0 < good < poor < 1 and risks under a half; got {good}, {poor}, {risk_good}, "
            f"{risk_poor}"
        )
    length = longest or ceil(1 / poor)
    while length <= LONGEST:
        made = _lines(good, poor, risk_good, risk_poor, length)
        shown = expected(made, [good, poor]).shown
        if 1 - shown[0] <= risk_good and shown[1] <= risk_poor:
            return made
        if longest:
            raise UnusableData(
                f"{longest} instruments are too few to keep risks of {risk_good:.0%} and {risk_poor:.0%}; leave the "
                "length open"
            )
        length = max(length + 1, ceil(length * 1.1))
    raise UnusableData(
        f"over {LONGEST} instruments would be needed to tell {good:.1%} from {poor:.1%}; set the shares further apart"
    )


def wald_lines(good: float, poor: float, risk_good: float, risk_poor: float) -> tuple[float, float, float]:
    """(h1, h2, slope): shown at d <= slope n - h1, not shown at d >= slope n + h2."""
    per_bad, per_good = log(poor / good), log((1 - good) / (1 - poor))
    step = per_bad + per_good
    return log((1 - risk_good) / risk_poor) / step, log((1 - risk_poor) / risk_good) / step, per_good / step


def expected(made: SequentialPlan, p: npt.ArrayLike) -> Expected:
    """Exact chance of ending shown, and mean and median number of instruments, for each share bad `p` (m,)."""
    share = np.atleast_1d(np.asarray(p, dtype=np.float64))
    if not bool(((share >= 0) & (share <= 1)).all()):
        raise UnusableData("a share bad lies between 0 and 1; per cent must be divided by 100")
    top = int(made.not_shown_at.max()) + 1
    alive = np.zeros((len(share), top + 1))
    alive[:, 0] = 1.0
    shown, instruments = np.zeros(len(share)), np.zeros(len(share))
    half = np.full(len(share), made.longest, dtype=np.int64)
    d = np.arange(top + 1)
    for n in range(1, made.longest + 1):
        instruments += alive.sum(axis=1)
        bad = alive * share[:, None]
        alive = alive - bad
        alive[:, 1:] += bad[:, :-1]
        ends_shown = d <= made.shown_at[n - 1]
        shown += alive[:, ends_shown].sum(axis=1)
        alive[:, ends_shown | (d >= made.not_shown_at[n - 1])] = 0.0
        half = np.where((alive.sum(axis=1) <= 0.5) & (half == made.longest), n, half)
    return Expected(shown, instruments, half)


def verdict(made: SequentialPlan, bad: npt.ArrayLike) -> tuple[str, int]:
    """("shown" | "not shown" | "too few", instrument at which it was decided, or how many there are) for 0/1 results in
    time order.
    """
    results = np.asarray(bad)
    if results.ndim != 1 or not bool(np.isin(results, [0, 1]).all()):
        raise UnusableData("a sequential test needs one row of 0 (good) and 1 (bad), in time order")
    counted = np.cumsum(results[: made.longest]).astype(np.int64)
    n = len(counted)
    ends = np.flatnonzero((counted <= made.shown_at[:n]) | (counted >= made.not_shown_at[:n]))
    if len(ends) == 0:
        return "too few", n
    at = int(ends[0])
    return ("shown" if counted[at] <= made.shown_at[at] else "not shown"), at + 1


def _lines(good: float, poor: float, risk_good: float, risk_poor: float, length: int) -> SequentialPlan:
    h1, h2, slope = wald_lines(good, poor, risk_good, risk_poor)
    n = np.arange(1, length + 1)
    below = np.maximum(np.floor(slope * n - h1 + 1e-9), -1).astype(np.int64)
    above = np.ceil(slope * n + h2 - 1e-9).astype(np.int64)
    above = np.where(above > n, n + 1, above)
    middle = floor(slope * length + (h2 - h1) / 2)
    below[-1], above[-1] = middle, middle + 1
    return SequentialPlan(good, poor, risk_good, risk_poor, below, above)
