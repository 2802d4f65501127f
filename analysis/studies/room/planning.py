"""How many to measure, on the page where the question arises: to see a shift, to show a Ppk, to judge a gauge."""

from dataclasses import dataclass
from functools import lru_cache

from analysis.methods.study_size import gauge_chance, readings_to_show_ppk, to_see, to_show_ppk

ASKED = 1.33
TRUE = (1.50, 1.67, 2.00)
SHIFTS = (0.5, 1.0, 1.5)  # standard deviations
STUDIES = ((5, 2, 2), (10, 2, 2), (10, 3, 2), (10, 3, 3))  # parts, people, trials
GOOD, POOR, LIMIT = 0.20, 0.40, 0.30  # R&R as shares of the spread: one that passes, one that must not, the line


@dataclass(frozen=True)
class PpkPlan:
    """Instruments that show a Ppk above ASKED."""

    ppk: float
    nine_in_ten: int  # where the true one is `ppk`: shown with a chance of 90 %
    seen: int | None  # where the readings themselves give `ppk`: from so many on


@dataclass(frozen=True)
class ShiftPlan:
    """Readings whose mean tells a shift from none in nine of ten, two-sided at 5 %."""

    shift: float  # canonical unit
    readings: int


@dataclass(frozen=True)
class GaugePlan:
    """A gauge study, and how often it says `fit` (R&R of 30 % of the spread or less) of a good and of a poor gauge."""

    parts: int
    people: int
    trials: int
    good: float
    poor: float


@lru_cache(maxsize=1)
def ppk_plans() -> tuple[PpkPlan, ...]:
    """How many instruments show a Ppk above 1.33: one-sided, independent readings, the 95 % bound of these pages."""
    return tuple(PpkPlan(true, to_show_ppk(true, ASKED), readings_to_show_ppk(true, ASKED)) for true in TRUE)


@lru_cache(maxsize=64)
def shift_plans(sigma: float) -> tuple[ShiftPlan, ...]:
    """How many readings see a shift of half a sigma, one, and one and a half."""
    return tuple(ShiftPlan(times * sigma, to_see(times, 1.0)) for times in SHIFTS)


@lru_cache(maxsize=1)
def gauge_plans() -> tuple[GaugePlan, ...]:
    """What gauge studies of usual sizes can say, half of the R&R lying between people."""
    told = []
    for parts, people, trials in STUDIES:
        size = {"parts": parts, "people": people, "trials": trials}
        told.append(
            GaugePlan(parts, people, trials, gauge_chance(GOOD, LIMIT, **size), gauge_chance(POOR, LIMIT, **size))
        )
    return tuple(told)
