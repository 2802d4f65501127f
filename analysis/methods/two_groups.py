"""How far apart two groups lie, with the uncertainty of the difference; over several strata at the same mix.

Source: Welch 1947, Biometrika 34 (unequal variances), degrees of freedom after Satterthwaite 1946, Biometrics Bulletin
2; NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.3.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.methods.problems import UnusableData


@dataclass(frozen=True)
class Difference:
    """The first group's mean less the second's, in the unit of the means."""

    difference: float
    low: float
    high: float  # nan, as low, where no reading differs from another: nothing says how sure it is
    error: float  # standard error
    dof: float

    @property
    def sure(self) -> bool:
        """Does its interval leave 0 out?"""
        return bool(self.low * self.high > 0)


def difference(
    mean: npt.ArrayLike, sd: npt.ArrayLike, n: npt.ArrayLike, *, dof: npt.ArrayLike | None = None, level: float = 0.95
) -> Difference:
    """The difference of two groups, stratum by stratum, weighed by how surely each stratum knows it.

    Parameters
    ----------
    mean, sd : float, shape (2,) or (k, 2)
        Of the readings of each group, in each of k strata (one where there is no k).
    n : float, shape as mean
        Independent readings that the mean carries as much as; at most as many as there are.
    dof : float, shape as mean
        Degrees of freedom of each sd; n - 1 where not given.
    level : float
        Confidence of the interval.

    Raises
    ------
    UnusableData
        Under two readings in a group, an sd below 0, no stratum.
    """
    means, spreads, counts = (np.atleast_2d(np.asarray(each, dtype=np.float64)) for each in (mean, sd, n))
    free = counts - 1 if dof is None else np.atleast_2d(np.asarray(dof, dtype=np.float64))
    if means.shape[1:] != (2,) or not len(means) or not means.shape == spreads.shape == counts.shape == free.shape:
        raise UnusableData(f"two groups are compared; got means of shape {np.shape(mean)}")
    if not (bool((counts > 1).all()) and bool((free > 0).all()) and bool((spreads >= 0).all())):
        raise UnusableData("each group wants two readings at least, and a spread of 0 or more")
    weight = counts.prod(axis=1) / counts.sum(axis=1)
    share = (weight / weight.sum())[:, None]
    parts = share**2 * spreads**2 / counts
    variance = float(parts.sum())
    apart = float((share[:, 0] * (means[:, 0] - means[:, 1])).sum())
    if variance <= 0:
        return Difference(apart, np.nan, np.nan, 0.0, np.nan)
    nu = variance**2 / float((parts**2 / free).sum())
    error = float(np.sqrt(variance))
    reach = float(stats.t.isf((1 - level) / 2, nu)) * error
    return Difference(apart, apart - reach, apart + reach, error, nu)
