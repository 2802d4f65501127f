"""A smooth bend through readings that came in lots: what goes with x, within a mix, where lots differ of themselves.

A natural cubic spline in x, everything compared within its mix; what comes with a lot is a random part of all its
pieces, so that a lot that alone reaches far out in x does not vouch for itself. Least squares on values less a share of
their lot's mean (the random part taken out); intervals by t, with Satterthwaite's degrees of freedom between those of
lots beyond what the curve asks and those of pieces.

Source: Fuller & Battese 1973, J. American Statistical Association 68 (the share of the mean); Swamy & Arora 1972,
Econometrica 40 (the two variances); natural splines by patsy's `cr`, after Wood 2006, Generalized Additive Models,
section 4.1.2 (from memory; coverage is shown by simulation, tests/trials/cost_of_lots.md).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.methods.problems import UnusableData
from analysis.methods.random_lots import halves, kept_share, means, variances
from analysis.methods.segments import Floats, Ints

WIDTH = 4  # degrees of freedom of the spline
LEAST_LOTS = 5
FLAT = 1e-9  # in the unit of x: what varies less does not vary


@dataclass(frozen=True)
class Bent:
    """A fitted curve; `more` and `total` tell differences along it."""

    design: Any  # patsy's memory of the knots
    effect: Floats  # (k,)
    covariance: Floats  # (k, k)
    alone: Floats  # (k, k) the covariance were lots alike
    lots_left: int  # lots beyond what the curve asks
    pieces_left: int  # pieces beyond what curve, mix and lots ask
    bends: float  # p that a straight line would do
    between: float  # sd that comes with a lot, in the unit of y
    within: float  # sd from piece to piece

    def more(self, at: npt.ArrayLike, than: npt.ArrayLike) -> tuple[Floats, Floats, Floats]:
        """How much higher the curve lies at each of `at` (m,) than on average over `than`, with its 95 % interval."""
        turn = self._basis(at) - self._basis(than).mean(axis=0)
        return self._told(turn)

    def total(self, at: npt.ArrayLike, than: npt.ArrayLike) -> tuple[float, float, float]:
        """The sum of `more` over all of `at`, with its interval."""
        turn = (self._basis(at) - self._basis(than).mean(axis=0)).sum(axis=0)
        mean, low, high = self._told(turn[None, :])
        return float(mean[0]), float(low[0]), float(high[0])

    def _basis(self, x: npt.ArrayLike) -> Floats:
        from patsy import build_design_matrices

        return _matrix(build_design_matrices([self.design], {"x": np.atleast_1d(np.asarray(x, dtype=np.float64))})[0])

    def _told(self, turn: Floats) -> tuple[Floats, Floats, Floats]:
        half = halves(turn, self.covariance, self.alone, (self.lots_left, self.pieces_left))
        mean = turn @ self.effect
        return mean, mean - half, mean + half


def bent(y: npt.ArrayLike, x: npt.ArrayLike, mix: npt.ArrayLike, lot: npt.ArrayLike) -> Bent:
    """The curve of y (n,) against x (n,) within mix (n,), lots (n,) differing of themselves.

    Raises UnusableData from under five lots, or where x hardly varies within the mix.
    """
    import statsmodels.api as sm  # here, not above: both load pandas, which no other method needs
    from patsy import dmatrix

    value, at = np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)
    kinds, lots = (np.unique(np.asarray(each), return_inverse=True)[1] for each in (mix, lot))
    groups = int(lots.max(initial=-1)) + 1
    if groups < LEAST_LOTS:
        raise UnusableData(f"{groups} lots; a curve that tells lots from bow needs {LEAST_LOTS}: load more logs")
    width = min(WIDTH, len(np.unique(at)) - 2)
    formula = f"cr(x, df={width}, constraints='center') - 1" if width >= 3 else "x - 1"
    basis = dmatrix(formula, {"x": at})
    curve = _matrix(basis)
    dummies = (kinds[:, None] == np.arange(kinds.max() + 1)[None, :]).astype(np.float64)
    columns = np.column_stack([curve, dummies])
    inside = _less(curve, kinds)
    if float(np.abs(inside).max()) < FLAT or np.linalg.matrix_rank(inside) < curve.shape[1]:
        raise UnusableData("x hardly varies within a mix; there is nothing for a curve to follow")
    within, between = variances(value, columns, lots)
    share = kept_share(within, between, lots)
    less = np.column_stack([value, columns])
    less -= share[lots][:, None] * means(less, lots)[lots]
    fitted = sm.OLS(less[:, 0], less[:, 1:]).fit(method="pinv")
    k = curve.shape[1]
    straight = np.column_stack([at - share[lots] * means(at[:, None], lots)[lots, 0], less[:, 1 + k :]])
    plain = sm.OLS(less[:, 0], straight).fit(method="pinv")
    freedom = max(groups - k - 1, 1)
    scale = max(float(fitted.mse_resid), 1e-300)
    f = max(float(plain.ssr - fitted.ssr), 0.0) / max(k - 1, 1) / scale
    bends = float(stats.f.sf(f, k - 1, freedom)) if k > 1 else 1.0
    covariance = np.asarray(fitted.cov_params(), dtype=np.float64)[:k, :k]
    effect = np.asarray(fitted.params, dtype=np.float64)[:k]
    alone = within * np.linalg.pinv(columns.T @ columns)[:k, :k]
    left = max(len(value) - groups - columns.shape[1], 1)
    return Bent(
        basis.design_info,
        effect,
        covariance,
        alone,
        freedom,
        left,
        bends,
        float(np.sqrt(between)),
        float(np.sqrt(within)),
    )


def _less(columns: Floats, kinds: Ints) -> Floats:
    return np.asarray(columns - means(columns, kinds)[kinds], dtype=np.float64)


def _matrix(design: Any) -> Floats:
    return np.asarray(design, dtype=np.float64)
