"""How many to measure before anything is measured: to see a shift, to show a Ppk, to tell two means apart, to judge a
gauge.

All counts are exact for normal readings: noncentral t where a mean is tested, noncentral t for a one-sided Ppk, chi
squared mean squares for a gauge study. Tables of the trade use normal approximations and differ by an instrument or
two.
Source: Cohen 1988, Statistical Power Analysis for the Behavioral Sciences, chapter 2 (from memory; held by a printed
case); Owen 1968, Technometrics 10; NIST/SEMATECH e-Handbook, section 7.2.2.2.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.methods.problems import UnusableData

RISK, CHANCE = 0.05, 0.90
MOST = 100_000
DRAWS = 100_000


@dataclass(frozen=True)
class Lots:
    """How many lots of each supplier, at so many necks each, tell two suppliers apart."""

    lots: int
    each: int

    @property
    def necks(self) -> int:
        """Of one supplier."""
        return self.lots * self.each


def to_see(shift: float, sigma: float, *, chance: float = CHANCE, risk: float = RISK, groups: int = 1) -> int:
    """Readings (a group) whose mean tells a shift from none: one group against a known mean, or two against each
    other.

    shift, sigma : in one unit, sigma above 0; risk is two-sided. At least 2.
    """
    if not (sigma > 0 and shift != 0 and np.isfinite(shift)) or groups not in (1, 2):
        raise UnusableData("a size needs a shift other than 0, a spread above 0 and one or two groups")
    _chances(chance, risk)

    def enough(n: int) -> bool:
        free = groups * (n - 1)
        return _power(abs(shift) / sigma * np.sqrt(n / groups), free, risk) >= chance

    return _least(enough, 2)


def lots_to_tell(
    difference: float, within: float, between: float, each: int, *, chance: float = CHANCE, risk: float = RISK
) -> Lots:
    """Lots of each of two suppliers whose lot means tell their necks apart by `difference`, `each` necks a lot.

    within, between : standard deviations inside lots and between lots of a supplier. More necks of one lot do not help
    once the lots differ; more lots do.
    """
    if not (difference != 0 and within >= 0 and between >= 0 and within + between > 0 and each >= 1):
        raise UnusableData(
            "two suppliers are told apart by a difference, spreads of at least 0 and a neck a lot or more"
        )
    _chances(chance, risk)
    spread = float(np.sqrt(between**2 + within**2 / each))

    def enough(n: int) -> bool:
        return _power(abs(difference) / spread * np.sqrt(n / 2), 2 * (n - 1), risk) >= chance

    return Lots(_least(enough, 2), each)


def ppk_bound(ppk: float, n: int) -> float:
    """The lower 95 % bound that stands beside a Ppk of n independent readings (Bissell 1990, Applied Statistics 39)."""
    return ppk - 1.96 * float(np.sqrt(1 / (9 * n) + ppk**2 / (2 * (n - 1))))


def to_show_ppk(true: float, asked: float, *, chance: float = CHANCE) -> int:
    """Independent readings after which the lower bound of the Ppk lies at `asked` or above with that chance, where the
    true one-sided Ppk is `true`, above `asked`. At least 5.
    """
    if not 0 < asked < true:
        raise UnusableData(f"a Ppk of {asked} can be shown only where the true one is higher; got {true}")
    _chances(chance, RISK)
    return _least(lambda n: chance_to_show_ppk(true, asked, n) >= chance, 5)


def chance_to_show_ppk(true: float, asked: float, n: int) -> float:
    """Chance that n independent readings of a process with that one-sided Ppk show the one asked for."""
    low, high = asked, 50.0 * asked
    for _ in range(80):  # the Ppk whose bound lies just at what is asked
        middle = (low + high) / 2
        low, high = (middle, high) if ppk_bound(middle, n) < asked else (low, middle)
    return float(stats.nct.sf(3 * np.sqrt(n) * high, n - 1, 3 * np.sqrt(n) * true))


def readings_to_show_ppk(seen: float, asked: float) -> int | None:
    """Readings from which on a Ppk seen to be `seen` has its bound at `asked`; None where no number does."""
    return _least(lambda n: ppk_bound(seen, n) >= asked, 5) if seen > asked else None


def gauge_chance(
    share: float, limit: float, *, parts: int, people: int, trials: int, by_people: float = 0.5, seed: int = 20261130
) -> float:
    """Chance that a crossed gauge study finds R&R under `limit` of the spread where it truly is `share` of it.

    share, limit : as standard deviations over the whole spread, 0 to 1. by_people : part of the R&R variance that lies
    between people. parts, people >= 2, trials >= 2. Mean squares are chi squared; the study's estimates are those of
    analysis of variance, negative ones 0.
    """
    if not (0 < share < 1 and 0 < limit < 1 and 0 <= by_people <= 1) or min(parts, people, trials) < 2:
        raise UnusableData("a gauge study needs shares between 0 and 1 and two parts, people and trials or more")
    rng = np.random.default_rng(seed)
    error, person, part = share**2 * (1 - by_people), share**2 * by_people, 1 - share**2
    free = {"e": parts * people * (trials - 1), "po": (parts - 1) * (people - 1), "o": people - 1, "p": parts - 1}
    mean = {"e": error, "po": error, "o": error + parts * trials * person, "p": error + people * trials * part}
    square = {name: mean[name] * rng.chisquare(free[name], DRAWS) / free[name] for name in mean}
    across = np.maximum((square["po"] - square["e"]) / trials, 0)
    between = np.maximum((square["o"] - square["po"]) / (parts * trials), 0)
    found = square["e"] + across + between
    of_parts = np.maximum((square["p"] - square["po"]) / (people * trials), 0)
    return float((np.sqrt(found / (found + of_parts)) <= limit).mean())


def _power(away: float, free: int, risk: float) -> float:
    """Chance that a two-sided t test sees a mean `away` standard errors from none."""
    line = stats.t.isf(risk / 2, free)
    return float(stats.nct.sf(line, free, away) + stats.nct.cdf(-line, free, away))


def _least(enough: Callable[[int], bool], start: int) -> int:
    """The least number from `start` on for which `enough` holds, which holds for all larger ones."""
    high = start
    while not enough(high):
        high *= 2
        if high > MOST:
            raise UnusableData(f"over {MOST:,} would be needed; ask for something larger or be content with less")
    low = max(high // 2, start - 1)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _chances(chance: float, risk: float) -> None:
    if not (0 < chance < 1 and 0 < risk < 1):
        raise UnusableData(f"chances lie between 0 and 1; got {chance} and {risk}")
