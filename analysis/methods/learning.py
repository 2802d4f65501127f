"""How work gets better with practice: the learning curve of single instruments, with a floor, and what may be said of
tomorrow.

Minutes (or any positive measure) of unit i: first x (plateau + (1 - plateau) i^slope). With plateau 0 it is the plain
log-linear curve in its *unit* reading: doubling the number done multiplies the unit's time by `rate` = 2^slope (an 80 %
curve has slope -.322). Wright's own curve is of the cumulative average; `cumulative` sums units.
Source: Wright 1936, J. Aeronautical Sciences 3; unit reading after Crawford 1944; plateau De Jong 1957, Ergonomics 1.
"""

from dataclasses import dataclass, field
from math import log2

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

LEAST_UNITS = 40  # fewer say nothing of tomorrow
FURTHEST = 2.5  # times the units seen
SLOPES = -np.linspace(0.0, 1.5, 151)  # from no learning to a 35 % curve
PLATEAUS = np.linspace(0.0, 0.95, 20)
FIRST_SHARES = np.geomspace(0.005, 0.999, 90)  # share of the first unit, for counts


@dataclass(frozen=True)
class Projection:
    """What the curve says at some unit, with its interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Curve:
    """A fitted learning curve. `slope_low`, `slope_high`: interval of the slope at 95 %; slope and plateau trade off,
    so it is wide.
    """

    n: int  # units used
    last: float  # the unit furthest along
    first: float  # level of unit 1: typical minutes, or share sent back
    slope: float
    plateau: float  # share of the first unit's level that practice cannot take away
    slope_low: float
    slope_high: float
    misfit: Floats = field(
        repr=False
    )  # (g,) how much worse each curve of the grid fits: 2 log likelihood ratio, or its F
    grid: tuple[Floats, Floats, Floats] = field(repr=False)  # (g,) each: level of unit 1, slope, plateau
    level_variance: float = field(
        repr=False
    )  # of the log of the level about each curve; 0 where the grid holds the levels too
    nu: float = field(repr=False)  # degrees of freedom; infinite for shares

    @property
    def rate(self) -> float:
        """What doubling the number done multiplies the part above the plateau by."""
        return float(2.0**self.slope)

    def at(self, unit: npt.ArrayLike) -> Floats:
        """The fitted curve at these units."""
        return level(unit, self.first, self.slope, self.plateau)

    def project(self, unit: float, confidence: float = 0.90) -> Projection:
        """The curve at `unit` with an interval: typical minutes or the share expected there, not one instrument's.

        Raises UnusableData ("cannot be said yet") under 40 units or further than 2.5 times what was seen.
        """
        check_in_sight(unit, self.n, self.last)
        curves = level(unit, *self.grid)
        critical = float(stats.t.isf((1 - confidence) / 2, self.nu)) ** 2
        inside = self.misfit <= critical
        stretch = np.exp(np.sqrt((critical - self.misfit[inside]) * self.level_variance))
        return Projection(
            float(self.at(unit)), float((curves[inside] / stretch).min()), float((curves[inside] * stretch).max())
        )


def check_in_sight(unit: float, n: int, last: float, furthest: float = FURTHEST) -> None:
    """Raises UnusableData ("cannot be said yet") under 40 units seen, or where `unit` lies further than `furthest`
    times the last of them.
    """
    if n < LEAST_UNITS:
        raise UnusableData(f"cannot be said yet: {n} instruments seen, {LEAST_UNITS} are needed; wait for more")
    if not 1 <= unit <= furthest * last:
        raise UnusableData(
            f"cannot be said yet: {unit:g} lies beyond {furthest} times the {last:g} seen; ask for a nearer number"
        )


def level(unit: npt.ArrayLike, first: npt.ArrayLike, slope: npt.ArrayLike, plateau: npt.ArrayLike = 0.0) -> Floats:
    """The curve at unit `unit` >= 1; all arguments broadcast."""
    i = np.asarray(unit, dtype=np.float64)
    if not bool((i >= 1).all()):
        raise UnusableData("units are counted from 1, the first instrument of this tech at this stage")
    floor = np.asarray(plateau, dtype=np.float64)
    return np.asarray(np.asarray(first) * (floor + (1 - floor) * i ** np.asarray(slope)), dtype=np.float64)


def slope_of(rate: float) -> float:
    """Slope of a curve that falls to `rate` with every doubling: .8 gives -.322."""
    if not 0 < rate <= 1:
        raise UnusableData(f"the rate of a learning curve lies above 0 and at most at 1; got {rate}")
    return log2(rate)


def cumulative(units: int, slope: float, plateau: float = 0.0) -> Floats:
    """Sum of the first 1, 2 ... `units` units as multiples of the first one, shape (units,)."""
    return np.cumsum(level(np.arange(1, units + 1), 1.0, slope, plateau))


def fit(unit: npt.ArrayLike, amount: npt.ArrayLike) -> Curve:
    """Fit the curve with plateau to amounts above 0 (minutes of a visit, s of a block of readings), errors even on the
    log scale.

    Parameters
    ----------
    unit : int, shape (n,)
        Which instrument of this tech at this stage it was, from 1; gaps are fine.
    amount : float, shape (n,)

    Returns
    -------
    Curve
        `first` is the typical (median) amount of unit 1. Intervals by profile likelihood over a grid of slopes from 0
        to a 35 % curve and plateaus from 0 to .95; getting slower with practice is outside the grid and shows as slope
        0.

    Raises
    ------
    UnusableData
        Under four units, an amount of 0 or less, or a unit below 1.
    """
    i, y = _rows(unit, amount)
    if not bool((y > 0).all()):
        raise UnusableData("a learning curve of minutes needs amounts above 0; leave out visits without minutes")
    n, logs = len(i), np.log(y)
    slope, plateau = _mesh(SLOPES, PLATEAUS)
    shape = np.log(level(i[None, :], 1.0, slope[:, None], plateau[:, None]))
    centre = (logs[None, :] - shape).mean(axis=1)
    rss = ((logs[None, :] - shape - centre[:, None]) ** 2).sum(axis=1)
    best = int(rss.argmin())
    nu = float(n - 3)
    variance = max(float(rss[best]) / nu, 1e-18)
    misfit = (rss - rss[best]) / variance
    return _curve(i, best, misfit, (np.exp(centre), slope, plateau), variance / n, nu)


def fit_share(unit: npt.ArrayLike, bad: npt.ArrayLike) -> Curve:
    """Fit the curve to 0/1 results (sent back or not), by likelihood; `first` is the share of unit 1.

    Arguments, intervals and errors as in `fit`; a run without a single 1 still has an upper bound.
    """
    i, y = _rows(unit, bad)
    if not bool(np.isin(y, [0.0, 1.0]).all()):
        raise UnusableData("a learning curve of shares needs 0 (held) and 1 (came back) for each instrument")
    slope, plateau = _mesh(SLOPES[::5], PLATEAUS[::2])
    shape = level(i[None, :], 1.0, slope[:, None], plateau[:, None])
    sent, held = shape[:, y == 1], shape[:, y == 0]
    likelihood = np.stack(
        [np.log(share * sent).sum(axis=1) + np.log1p(-share * held).sum(axis=1) for share in FIRST_SHARES]
    )  # (shares, curves)
    grid = (np.repeat(FIRST_SHARES, len(slope)), np.tile(slope, len(FIRST_SHARES)), np.tile(plateau, len(FIRST_SHARES)))
    misfit = 2 * (likelihood.max() - likelihood).ravel()
    return _curve(i, int(misfit.argmin()), misfit, grid, 0.0, float("inf"))


def _curve(
    i: Floats, best: int, misfit: Floats, grid: tuple[Floats, Floats, Floats], level_variance: float, nu: float
) -> Curve:
    first, slope, plateau = (float(column[best]) for column in grid)
    likely = grid[1][misfit <= float(stats.t.isf(0.025, nu)) ** 2]
    return Curve(
        len(i),
        float(i.max()),
        first,
        slope,
        plateau,
        float(likely.min()),
        float(likely.max()),
        misfit,
        grid,
        level_variance,
        nu,
    )


def _rows(unit: npt.ArrayLike, amount: npt.ArrayLike) -> tuple[Floats, Floats]:
    i, y = np.asarray(unit, dtype=np.float64), np.asarray(amount, dtype=np.float64)
    if i.shape != y.shape or i.ndim != 1:
        raise UnusableData(f"wanted one amount a unit, both (n,); got {i.shape} units and {y.shape} amounts")
    if len(i) < 4:
        raise UnusableData(
            f"a learning curve needs four instruments or more; there {'is' if len(i) == 1 else 'are'} {len(i)} so far"
        )
    if not bool((np.isfinite(i) & np.isfinite(y) & (i >= 1)).all()):
        raise UnusableData("units are counted from 1 and no amount may be missing; leave out visits without one")
    return i, y


def _mesh(slopes: Floats, plateaus: Floats) -> tuple[Floats, Floats]:
    """All pairs; without learning a plateau means nothing, so slope 0 stands once."""
    slope, plateau = (a.ravel() for a in np.meshgrid(slopes, plateaus, indexing="ij"))
    once = (slope != 0) | (plateau == 0)
    return slope[once], plateau[once]
