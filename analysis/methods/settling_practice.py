"""Where practice settles: a curve of amounts against instruments done whose floor is what the amounts show, and what
may be said of tomorrow.

The log of an amount is a + b s(i), b 0 or more, with s one of many falling shapes: powers i^-k and the log itself, as
in `learning`; 1 / (1 + (i / knee)^k), which is level up to about the knee, then falls, and settles; and
exp(-i / knee). A power curve through two steep weeks has no floor where the amounts show one, and promises more where
nothing is left to learn; the shapes with a knee hold somebody who was shown the work and is as fast as anybody from
then on. a and b are least squares of each shape, and an interval holds what every shape says that the amounts do not
rule out.
Source: profile likelihood over a family of shapes, e.g. Seber & Wild 1989, Nonlinear Regression, chapter 5 (from
memory; held by tests and by the coverage in tests/trials/settling_practice.md).
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.methods.learning import Projection, check_in_sight
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

POWERS = np.array([0.0, 0.25, 0.5, 1.0, 2.0])  # 0: the log
KNEES = np.geomspace(0.02, 0.7, 24)  # shares of the units seen
STEEP = np.array([1.5, 2.5, 4.0, 8.0, 30.0])  # the last is all but a step
FURTHEST = 1.5  # times the units seen; as far as the trial goes
LEAST = 5  # amounts: a, b, the shape's two, and one for the scatter


@dataclass(frozen=True)
class Settling:
    """Fitted shapes, (g,) each; `best` is the place of the nearest."""

    n: int
    last: float  # the unit furthest along
    best: int
    power: Floats
    knee: Floats  # 0: a power of the number done
    level: Floats = field(repr=False)  # mean of the logs
    gain: Floats = field(repr=False)  # b
    middle: Floats = field(repr=False)  # mean of s
    apart: Floats = field(repr=False)  # sum of squares of s about its mean; 0 where b is held at 0
    misfit: Floats = field(repr=False)  # F of each shape against the best
    variance: float = field(repr=False)  # of one log about the curve
    nu: float = field(repr=False)

    def at(self, unit: npt.ArrayLike) -> Floats:
        """The nearest curve at these units."""
        i = np.atleast_1d(np.asarray(unit, dtype=np.float64))
        s = _shapes(i, self.power[[self.best]], self.knee[[self.best]])[0]
        return np.asarray(np.exp(self.level[self.best] + self.gain[self.best] * (s - self.middle[self.best])))

    def project(self, unit: float, confidence: float = 0.90) -> Projection:
        """The curve at `unit` with an interval: typical amounts there, not one instrument's.

        Raises UnusableData ("cannot be said yet") under 40 units or further than 1.5 times what was seen.
        """
        check_in_sight(unit, self.n, self.last, FURTHEST)
        critical = 2 * float(stats.f.isf(1 - confidence, 2, self.nu))  # level and shape are both looked for
        inside = self.misfit <= critical
        away = _shapes(np.array([float(unit)]), self.power[inside], self.knee[inside])[:, 0] - self.middle[inside]
        says = self.level[inside] + self.gain[inside] * away
        lean = np.divide(away**2, self.apart[inside], out=np.zeros(len(away)), where=self.apart[inside] > 0)
        reach = np.sqrt((critical - self.misfit[inside]) * self.variance * (1 / self.n + lean))
        return Projection(
            float(self.at(unit)[0]), float(np.exp((says - reach).min())), float(np.exp((says + reach).max()))
        )


def fit_settling(unit: npt.ArrayLike, amount: npt.ArrayLike) -> Settling:
    """Fit the shapes to amounts above 0 (minutes of a visit), errors even on the log scale.

    Parameters
    ----------
    unit : int, shape (n,)
        Which instrument of this tech at this stage it was, from 1; gaps are fine.
    amount : float, shape (n,)

    Raises
    ------
    UnusableData
        Under five units, an amount of 0 or less or missing, or a unit below 1.
    """
    i, y = np.asarray(unit, dtype=np.float64), np.asarray(amount, dtype=np.float64)
    if i.shape != y.shape or i.ndim != 1 or len(i) < LEAST:
        raise UnusableData(f"wanted {LEAST} instruments or more, one amount each; got {i.shape} and {y.shape}")
    if not bool((np.isfinite(i) & (i >= 1) & np.isfinite(y) & (y > 0)).all()):
        raise UnusableData("units are counted from 1 and amounts lie above 0; leave out visits without minutes")
    logs, n = np.log(y), len(i)
    knees, steep = (each.ravel() for each in np.meshgrid(KNEES * i.max(), STEEP, indexing="ij"))
    power = np.concatenate((POWERS, steep, 0 * KNEES))
    knee = np.concatenate((0 * POWERS, knees, KNEES * i.max()))
    s = _shapes(i, power, knee)
    middle = s.mean(axis=1)
    s -= middle[:, None]
    apart = (s**2).sum(axis=1)
    able = apart > 1e-12
    gain = np.where(able, s @ (logs - logs.mean()) / np.where(able, apart, 1.0), 0.0)
    falls = gain > 0  # getting slower with practice is no practice: then all shapes are one level
    gain, apart = np.where(falls, gain, 0.0), np.where(falls, apart, 0.0)
    rss = ((logs - logs.mean()) ** 2).sum() - gain**2 * apart
    best, nu = int(rss.argmin()), float(max(n - LEAST + 1, 1))
    variance = max(float(rss[best]) / nu, 1e-18)
    misfit = np.maximum(rss - rss[best], 0.0) / variance
    level = np.full(len(power), logs.mean())
    return Settling(n, float(i.max()), best, power, knee, level, gain, middle, apart, misfit, variance, nu)


def _shapes(i: Floats, power: Floats, knee: Floats) -> Floats:
    """Each shape (g,) at units i (m,), falling; shape (g, m)."""
    k, c, logs = power[:, None], knee[:, None], np.log(i)[None, :]
    plain = np.where(k > 0, np.exp(-k * logs), -logs)
    scaled = np.exp(np.minimum(np.where(k > 0, k, 1.0) * (logs - np.log(np.where(c > 0, c, 1.0))), 700.0))
    return np.asarray(np.where(c > 0, np.where(k > 0, 1 / (1 + scaled), np.exp(-scaled)), plain))
