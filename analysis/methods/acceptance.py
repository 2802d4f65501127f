"""Plans that pass or return a lot on a sample of n counted bad or good: what a plan lets through, and a plan for wished
risks.

A lot is accepted with at most `c` bad in a sample of `n`. Shares are fractions. `lot` = size of the lot, None for a
stream of lots far larger than the sample (binomial; else hypergeometric).
Source: NIST/SEMATECH e-Handbook, section 6.2; ISO 2859-1 for the words. Plans by measurement are in `variables_plans`,
tests that stop when enough is known in `sequential`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

LARGEST = 100_000  # readings in a plan; beyond it no shop would draw the sample


@dataclass(frozen=True)
class Plan:
    """Accept with at most `c` bad in `n`."""

    n: int
    c: int

    def __post_init__(self) -> None:
        if not 0 <= self.c <= self.n or self.n < 1:
            raise UnusableData(
                f"a plan needs a sample of one or more and an accept number from 0 to it; got n {self.n}, c {self.c}"
            )


def accepted(plan: Plan, p: npt.ArrayLike, lot: int | None = None) -> Floats:
    """Chance that a lot with a share `p` bad is accepted (the OC curve). With `lot`, p times lot is rounded to whole
    instruments.
    """
    share = _shares(p)
    if lot is None:
        return np.asarray(stats.binom.cdf(plan.c, plan.n, share), dtype=np.float64)
    if plan.n > lot:
        raise UnusableData(f"a sample of {plan.n} cannot be drawn from a lot of {lot}; take the whole lot")
    return np.asarray(stats.hypergeom.cdf(plan.c, lot, np.rint(share * lot), plan.n), dtype=np.float64)


def share_accepted(plan: Plan, chance: npt.ArrayLike) -> Floats:
    """Share bad of a lot that is accepted with this chance: .5 gives the sentence "lets through a lot with so much bad
    half of the time".
    """
    wanted = _shares(chance)
    if plan.c == plan.n:
        raise UnusableData("this plan accepts every lot; it has no share to name")
    return np.asarray(special.betaincinv(plan.c + 1, plan.n - plan.c, 1 - wanted), dtype=np.float64)


def outgoing(plan: Plan, p: npt.ArrayLike, lot: int) -> Floats:
    """Average share bad that goes on (AOQ) where returned lots are sorted wholly and bad ones replaced; p binomial."""
    share = _shares(p)
    return accepted(plan, share) * share * (lot - plan.n) / lot


def worst_outgoing(plan: Plan, lot: int) -> tuple[float, float]:
    """(share coming in, share going on) where the most goes on (AOQL)."""
    p = np.linspace(0, 1, 20_001)
    going = outgoing(plan, p, lot)
    best = int(going.argmax())
    return float(p[best]), float(going[best])


def inspected(plan: Plan, p: npt.ArrayLike, lot: int) -> Floats:
    """Average number inspected a lot (ATI) where returned lots are sorted wholly; p binomial."""
    if plan.n > lot:
        raise UnusableData(f"a sample of {plan.n} cannot be drawn from a lot of {lot}; take the whole lot")
    return plan.n + (1 - accepted(plan, p)) * (lot - plan.n)


def through(good: float, bad: float, *, producer_risk: float = 0.05, consumer_risk: float = 0.10) -> Plan:
    """Smallest plan that returns a lot with a share `good` at most with `producer_risk` and accepts one with `bad` at
    most with `consumer_risk`.

    Source: NIST/SEMATECH e-Handbook, section 6.2.3.1; ISO 2859-1's OC curves are read the same way.
    """
    if (
        not 0 < good < bad < 1
        or not 0 < producer_risk < 1
        or not 0 < consumer_risk < 1
        or producer_risk + consumer_risk >= 1
    ):
        raise UnusableData(
            f"a plan needs 0 < good < bad < 1 and risks between 0 and 1; got {good}, {bad}, {producer_risk}, "
            f"{consumer_risk}"
        )
    for c in range(LARGEST):
        n = _smallest(c, bad, consumer_risk)
        if n > LARGEST:
            break
        if float(stats.binom.cdf(c, n, good)) >= 1 - producer_risk:
            return Plan(n, c)
    raise UnusableData(
        f"no plan under {LARGEST} tells {good:.2%} from {bad:.2%} bad with these risks; set them further apart"
    )


def verdict(plan: Plan, seen: int, bad: int) -> str:
    """ "accept" | "reject" | "too few" after `seen` instruments of the sample, of which `bad` were bad.

    More bad than c reject at once, whatever is still to come. Of more than n seen, the caller counts those of the
    sample only.
    """
    if not 0 <= bad <= seen:
        raise UnusableData(f"{bad} bad of {seen} cannot be; count again")
    if bad > plan.c:
        return "reject"
    return "accept" if seen >= plan.n else "too few"


def _smallest(c: int, bad: float, risk: float) -> int:
    """Smallest n with P(at most c bad | bad) at most the risk."""
    low, high = c, c + 1
    while float(stats.binom.cdf(c, high, bad)) > risk:
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if float(stats.binom.cdf(c, middle, bad)) > risk else (low, middle)
    return high


def _shares(p: npt.ArrayLike) -> Floats:
    share = np.asarray(p, dtype=np.float64)
    if not bool(((share >= 0) & (share <= 1)).all()):
        raise UnusableData("a share bad lies between 0 and 1; per cent must be divided by 100")
    return share
