"""A target tested for as long as somebody works: the test begun anew after each `not shown`, and what it says *ever*.

A test that errs once in ten errs far more often when it is begun again and again. Here the line of `shown` lies so far
out that somebody who does not hold the target is told `shown` at any time within so many instruments in one case of ten
at most, however often they are told `not shown` before. The chances are exact: one test by walking its counts
(`sequential`), the row of tests by renewal.
Source: Wald 1947, Sequential Analysis; renewal: Feller 1968, An Introduction to Probability Theory I, chapter XIII.
"""

from dataclasses import dataclass, field
from math import exp, log

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints
from analysis.methods.sequential import SequentialPlan, wald_lines

WITHIN = 300  # instruments
STRICTEST = 1e-6  # risk of one test
HALF = 0.5  # of those who hold the target: a test that shows it of fewer says nothing


@dataclass(frozen=True)
class Ever:
    """The chance of having been told `shown` by each instrument, (within,), of somebody with one share bad."""

    by: Floats = field(repr=False)

    @property
    def at_all(self) -> float:
        """Within all the instruments."""
        return float(self.by[-1])

    def half_by(self) -> int | None:
        """Instruments by which half of such people have been told, None where fewer ever are."""
        return self.until(0.5)

    def until(self, share: float) -> int | None:
        """Instruments by which that share of such people have been told."""
        found = np.flatnonzero(self.by >= share)
        return int(found[0]) + 1 if len(found) else None


def lasting_plan(
    good: float, poor: float, *, risk_good: float = 0.05, ever_poor: float = 0.10, within: int = WITHIN
) -> SequentialPlan:
    """The test whose row of renewals ever tells `poor` shown within so many instruments in at most `ever_poor` cases.

    risk_good : of calling `good` not shown in one test, as Wald's line gives it. The plan's `risk_poor` is that of one
    test. UnusableData where the shares lie so close that no line keeps the risk.
    """
    if not 0 < good < poor < 1 or not 0 < risk_good < 0.5 or not 0 < ever_poor < 0.5 or within < 1:
        raise UnusableData(
            "a lasting test needs 0 < good < poor < 1, risks under a half and an instrument or more; got "
            f"{good}, {poor}, {risk_good}, {ever_poor}, {within}"
        )
    low, high = log(STRICTEST), log(ever_poor)
    if ever_shown(_plan(good, poor, risk_good, exp(high), within), good).at_all < HALF:
        raise UnusableData(
            f"no test tells {good:.1%} from {poor:.1%} for {within} instruments; set the shares further apart"
        )
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (
            (middle, high)
            if ever_shown(_plan(good, poor, risk_good, exp(middle), within), poor).at_all <= ever_poor
            else (low, middle)
        )
    made = _plan(good, poor, risk_good, exp(low), within)
    if ever_shown(made, good).at_all < HALF:
        raise UnusableData(f"{good:.1%} and {poor:.1%} are too near to be told apart within {within} instruments")
    return made


def ever_shown(made: SequentialPlan, p: float) -> Ever:
    """The chance of `shown` in a row of tests, of somebody with share bad `p`; each test begins with the instrument
    after the last one's `not shown`.
    """
    shown, not_shown = ends(made, p)
    begun = np.zeros(made.longest + 1)  # chance that a test begins after so many instruments
    begun[0] = 1.0
    for n in range(1, made.longest + 1):
        begun[n] = begun[:n] @ not_shown[n - 1 :: -1]
    return Ever(np.cumsum([begun[:n] @ shown[n - 1 :: -1] for n in range(1, made.longest + 1)]))


def ends(made: SequentialPlan, p: float) -> tuple[Floats, Floats]:
    """Chance that one test ends shown, and not shown, with each of its instruments, (longest,) each."""
    if not 0 <= p <= 1:
        raise UnusableData("a share bad lies between 0 and 1; per cent must be divided by 100")
    top = int(np.minimum(made.not_shown_at, np.arange(1, made.longest + 1) + 1).max()) + 1
    alive = np.zeros(top + 1)
    alive[0] = 1.0
    d = np.arange(top + 1)
    shown, not_shown = np.zeros(made.longest), np.zeros(made.longest)
    for n in range(1, made.longest + 1):
        bad = alive * p
        alive = alive - bad
        alive[1:] += bad[:-1]
        good_end, bad_end = d <= made.shown_at[n - 1], d >= made.not_shown_at[n - 1]
        shown[n - 1], not_shown[n - 1] = alive[good_end].sum(), alive[bad_end].sum()
        alive[good_end | bad_end] = 0.0
    return shown, not_shown


def _plan(good: float, poor: float, risk_good: float, risk_poor: float, within: int) -> SequentialPlan:
    h1, h2, slope = wald_lines(good, poor, risk_good, risk_poor)
    n: Ints = np.arange(1, within + 1)
    below = np.maximum(np.floor(slope * n - h1 + 1e-9), -1).astype(np.int64)
    above = np.ceil(slope * n + h2 - 1e-9).astype(np.int64)
    return SequentialPlan(good, poor, risk_good, risk_poor, below, np.where(above > n, n + 1, above))


def chances(made: SequentialPlan, shares: npt.ArrayLike) -> Floats:
    """Chance of ever being told shown for each share bad, (m,)."""
    return np.array([ever_shown(made, float(p)).at_all for p in np.atleast_1d(np.asarray(shares, dtype=np.float64))])
