"""How much of the spread is the gauge's and its readers': repeatability and reproducibility.

Studies are cubes of shape (parts, operators, trials). The standard deviations come out in the unit of the readings.
Source: AIAG Measurement Systems Analysis, 4th ed., chapter III B; NIST/SEMATECH e-Handbook, section 2.4.
"""

from dataclasses import dataclass
from math import floor, inf, sqrt

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.methods import constants
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

DISTINCT = 1.41  # as printed; square root of 2
SIGMAS_OF_TOLERANCE = 6.0
DOUBT = 0.05  # an interaction less sure than this is pooled with repeatability


@dataclass(frozen=True)
class Study:
    """Standard deviations in the unit of the readings, and what they are a share of."""

    repeatability: float  # the same reader again
    reproducibility: float  # between readers, interaction with parts included where it is real
    rr: float  # both
    part: float
    total: float

    @property
    def ndc(self) -> int | None:
        """Number of distinct categories the gauge tells apart; None where no reading ever differed, so that there is no
        limit to it.
        """
        return floor(DISTINCT * self.part / self.rr) if self.rr > 0 else None

    @property
    def share_of_spread(self) -> float:
        """rr over total, standard deviation to standard deviation; nan where nothing varied."""
        return self.rr / self.total if self.total > 0 else float("nan")

    def share_of_tolerance(self, width: float) -> float:
        """6 rr over the width between two limits; nan for a width that is not known (nan)."""
        return SIGMAS_OF_TOLERANCE * self.rr / width


@dataclass(frozen=True)
class Line:
    """One line of an analysis of variance; f and p are nan where there is nothing to divide by."""

    ss: float
    df: int
    ms: float
    f: float
    p: float


@dataclass(frozen=True)
class Crossed:
    """The study and its analysis of variance."""

    study: Study
    table: dict[str, Line]  # part, operator, interaction, repeatability, total
    pooled: bool  # the interaction went into repeatability


def cube(values: npt.ArrayLike, parts: npt.ArrayLike, operators: npt.ArrayLike) -> Floats:
    """Rows of a study as a cube (parts, operators, trials), in the order of their sorted names; trials in the order
    they came.

    Raises UnusableData unless every operator measured every part equally often.
    """
    x = np.asarray(values, dtype=np.float64)
    part, which_part = np.unique(np.asarray(parts), return_inverse=True)
    operator, which_operator = np.unique(np.asarray(operators), return_inverse=True)
    cell = which_part * len(operator) + which_operator
    seen = np.bincount(cell, minlength=len(part) * len(operator))
    if len(x) == 0 or seen.min() != seen.max():
        raise UnusableData(
            f"a study needs every reader to measure every part equally often; got {seen.min(initial=0)} to "
            f"{seen.max(initial=0)} readings "
            f"of {len(part)} parts by {len(operator)} readers: measure what is missing, or leave that part or reader "
            "out"
        )
    return x[np.argsort(cell, kind="stable")].reshape(len(part), len(operator), int(seen[0]))


def crossed(readings: npt.ArrayLike) -> Crossed:
    """R&R by analysis of variance where every operator measured every part, parts and operators random.

    Parameters
    ----------
    readings : float, shape (parts, operators, trials)
        Two parts or more; with one operator there is no reproducibility; with one trial the interaction stands for
        repeatability.

    Returns
    -------
    Crossed
        The interaction is pooled with repeatability where its p is above 0.05, and repeatability alone then divides the
        others. A variance that comes out below 0 is 0.
    """
    x = _cube(readings)
    p, o, r = x.shape
    mean = x.mean()
    by_part, by_operator, by_cell = x.mean(axis=(1, 2)), x.mean(axis=(0, 2)), x.mean(axis=2)
    ss_part = o * r * float(((by_part - mean) ** 2).sum())
    ss_operator = p * r * float(((by_operator - mean) ** 2).sum())
    ss_both = r * float(((by_cell - by_part[:, None] - by_operator[None, :] + mean) ** 2).sum())
    ss_error = float(((x - by_cell[:, :, None]) ** 2).sum())
    df_part, df_operator, df_both, df_error = p - 1, o - 1, (p - 1) * (o - 1), p * o * (r - 1)
    if df_error + df_both == 0:
        raise UnusableData(
            "a study needs each part measured at least twice; one reader and one trial tell no repeatability"
        )
    both = _line(ss_both, df_both, ss_error, df_error)
    pooled = df_error == 0 or df_both == 0 or not both.p < DOUBT
    df_inside, ss_inside = (df_error + df_both, ss_error + ss_both) if pooled else (df_error, ss_error)
    ms_inside = ss_inside / df_inside
    ss_under, df_under = (ss_inside, df_inside) if pooled else (ss_both, df_both)
    ms_under = ss_under / df_under
    table = {
        "part": _line(ss_part, df_part, ss_under, df_under),
        "operator": _line(ss_operator, df_operator, ss_under, df_under),
        "interaction": both,
        "repeatability": _line(ss_error, df_error, 0.0, 0),
        "total": _line(float(((x - mean) ** 2).sum()), p * o * r - 1, 0.0, 0),
    }
    between = max(0.0, (ss_operator / df_operator - ms_under) / (p * r)) if o > 1 else 0.0
    interaction = 0.0 if pooled else max(0.0, (ms_under - ms_inside) / r)
    parts = max(0.0, (ss_part / df_part - ms_under) / (o * r))
    return Crossed(_study(ms_inside, between + interaction, parts), table, pooled)


def nested(readings: npt.ArrayLike) -> Study:
    """R&R where each operator measured parts of their own (a test that uses the part up, or a part too large to pass
    on).

    `readings` of shape (operators, parts of that operator, trials), two trials and two parts each at least. Parts of
    one operator must be as good as those of another: what differs between their batches counts as reproducibility.
    """
    x = _cube(readings)
    o, p, r = x.shape
    if r < 2 or p < 2:
        raise UnusableData(f"a nested study needs two parts a reader and two trials a part; got {p} and {r}")
    by_operator, by_part = x.mean(axis=(1, 2)), x.mean(axis=2)
    ms_error = float(((x - by_part[:, :, None]) ** 2).sum()) / (o * p * (r - 1))
    ms_part = r * float(((by_part - by_operator[:, None]) ** 2).sum()) / (o * (p - 1))
    ms_operator = p * r * float(((by_operator - x.mean()) ** 2).sum()) / (o - 1) if o > 1 else ms_part
    return _study(ms_error, max(0.0, (ms_operator - ms_part) / (p * r)), max(0.0, (ms_part - ms_error) / r))


def by_range(readings: npt.ArrayLike) -> Study:
    """R&R by average and range, as on a report form: `readings` of shape (parts, operators, trials), two trials at
    least.
    """
    x = _cube(readings)
    p, o, r = x.shape
    if r < 2:
        raise UnusableData("the range method needs two trials or more; a single trial has no range")
    repeat = float(np.ptp(x, axis=2).mean()) * k1(r, p * o)
    spread = float(np.ptp(x.mean(axis=(0, 2)))) * k2(o) if o > 1 else 0.0
    return _study(
        repeat**2, max(0.0, spread**2 - repeat**2 / (p * r)), (float(np.ptp(x.mean(axis=(1, 2)))) * k3(p)) ** 2
    )


def d2_star(n: int, groups: float = inf) -> float:
    """Root mean square of the mean of `groups` ranges of n readings: sqrt(d2^2 + d3^2 / groups). Source: Duncan
    1955.
    """
    return sqrt(constants.d2(n) ** 2 + constants.d3(n) ** 2 / groups)


def k1(trials: int, ranges: int = 16) -> float:
    """Repeatability from the mean range of the trials; more than 15 ranges count as infinitely many, as the printed
    factors have it.
    """
    return 1 / d2_star(trials, ranges if ranges <= 15 else inf)


def k2(operators: int) -> float:
    """Spread between operators from the range of their means."""
    return 1 / d2_star(operators, 1)


def k3(parts: int) -> float:
    """Spread of parts from the range of their means."""
    return 1 / d2_star(parts, 1)


def _cube(readings: npt.ArrayLike) -> Floats:
    x = np.asarray(readings, dtype=np.float64)
    if x.ndim != 3 or x.shape[0] < 2 or min(x.shape) < 1:
        raise UnusableData(f"a study needs two parts or more, a reader and a trial; got an array of shape {x.shape}")
    if not bool(np.isfinite(x).all()):
        raise UnusableData(
            f"{int((~np.isfinite(x)).sum())} of {x.size} study readings are missing; measure them, or leave that part "
            "out"
        )
    return x


def _line(ss: float, df: int, ss_under: float, df_under: int) -> Line:
    ms = ss / df if df else float("nan")
    under = ss_under / df_under if df_under else 0.0
    f = ms / under if under > 0 and df else (inf if ms > 0 and df_under else float("nan"))
    return Line(ss, df, ms, f, float(stats.f.sf(f, df, df_under)) if f == f else float("nan"))


def _study(repeat: float, between: float, part: float) -> Study:
    rr = repeat + between
    return Study(sqrt(repeat), sqrt(between), sqrt(rr), sqrt(part), sqrt(rr + part))
