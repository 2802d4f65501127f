"""Plans that pass or return a lot on measurements: mean and s of a sample of n, sigma unknown.

Form k: accept where the distance of the mean from the limit is at least k s. Form M: accept where the share estimated
outside is at most M; it serves two limits at once.
Source: MIL-STD-414 (1957), section B; Lieberman & Resnikoff 1955, J. American Statistical Association 50.
Holds for normal readings only: the chart and the probability plot come first.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

LARGEST = 20_000  # readings in a plan; beyond it no shop would draw the sample


@dataclass(frozen=True)
class VariablesPlan:
    """Sample of `n`, acceptability constant `k`."""

    n: int
    k: float

    def __post_init__(self) -> None:
        if self.n < 3 or not np.isfinite(self.k):
            raise UnusableData(
                f"a plan by measurement needs a sample of three or more and a constant k; got n {self.n}, k {self.k}"
            )

    @property
    def m(self) -> float:
        """Largest share outside, as estimated, that is accepted: form M of the same plan."""
        return float(estimated_outside(self.k, self.n))


def estimated_outside(quality: npt.ArrayLike, n: int) -> Floats:
    """Best unbiased estimate of the share outside one limit from quality = (limit - mean) / s (or (mean - limit) / s),
    n >= 3.

    Incomplete beta function of n/2 - 1 twice at .5 - .5 quality sqrt(n) / (n - 1).
    """
    if n < 3:
        raise UnusableData(f"the share outside cannot be estimated from {n} readings; take three or more")
    at = np.clip(0.5 - 0.5 * np.asarray(quality, dtype=np.float64) * sqrt(n) / (n - 1), 0.0, 1.0)
    return np.asarray(special.betainc(n / 2 - 1, n / 2 - 1, at), dtype=np.float64)


def outside(mean: float, sd: float, n: int, *, lower: float = np.nan, upper: float = np.nan) -> float:
    """Share estimated outside both limits (nan = none) of a sample with mean and s (above 0), as a fraction."""
    if sd <= 0 or (np.isnan(lower) and np.isnan(upper)):
        raise UnusableData("judging by measurement needs a limit and readings that differ; count good and bad instead")
    sides = [(upper - mean) / sd, (mean - lower) / sd]
    return float(sum(float(estimated_outside(side, n)) for side in sides if not np.isnan(side)))


def accepts(plan: VariablesPlan, mean: float, sd: float, *, lower: float = np.nan, upper: float = np.nan) -> bool:
    """Whether the lot is accepted: form k with one limit, form M with two; they agree with one."""
    one = np.isnan(lower) or np.isnan(upper)
    share = outside(mean, sd, plan.n, lower=lower, upper=upper)
    if not one:
        return share <= plan.m
    return bool(np.fmin((upper - mean) / sd, (mean - lower) / sd) >= plan.k)


def accepted(plan: VariablesPlan, p: npt.ArrayLike) -> Floats:
    """Chance that a lot with a share `p` outside its one limit is accepted, from the noncentral t distribution; 0 < p <
    1.
    """
    share = np.asarray(p, dtype=np.float64)
    if not bool(((share > 0) & (share < 1)).all()):
        raise UnusableData("a share outside lies between 0 and 1; per cent must be divided by 100")
    root = sqrt(plan.n)
    return np.asarray(stats.nct.sf(plan.k * root, plan.n - 1, -special.ndtri(share) * root), dtype=np.float64)


def share_accepted(plan: VariablesPlan, chance: npt.ArrayLike) -> Floats:
    """Share outside of a lot that is accepted with this chance, 0 < chance < 1."""
    wanted = np.asarray(chance, dtype=np.float64)
    if not bool(((wanted > 0) & (wanted < 1)).all()):
        raise UnusableData("a chance of being accepted lies between 0 and 1")
    root = sqrt(plan.n)
    return np.asarray(special.ndtr(-special.nctdtrinc(plan.n - 1, 1 - wanted, plan.k * root) / root), dtype=np.float64)


def through(good: float, bad: float, *, producer_risk: float = 0.05, consumer_risk: float = 0.10) -> VariablesPlan:
    """Smallest exact plan through two points: returns `good` at most with `producer_risk`, accepts `bad` at most with
    `consumer_risk`.
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
    z_good, z_bad = -float(special.ndtri(good)), -float(special.ndtri(bad))

    def constant(n: int) -> float:
        """The largest k that keeps the producer's risk."""
        return float(stats.nct.ppf(producer_risk, n - 1, z_good * sqrt(n))) / sqrt(n)

    def kept(n: int) -> bool:
        """Whether that k keeps the consumer's risk as well."""
        return float(stats.nct.sf(constant(n) * sqrt(n), n - 1, z_bad * sqrt(n))) <= consumer_risk

    low, high = 2, 3
    while not kept(high):
        low, high = high, high * 2
        if high > LARGEST:
            raise UnusableData(
                f"no plan under {LARGEST} tells {good:.2%} from {bad:.2%} outside with these risks; set them further "
                "apart"
            )
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if kept(middle) else (middle, high)
    return VariablesPlan(high, constant(high))
