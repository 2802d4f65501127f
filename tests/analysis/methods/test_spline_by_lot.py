"""A bend through readings that came in lots: laws, and that an interval holds what was put in."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from patsy import build_design_matrices, dmatrix
from scipy import stats

from analysis.methods.problems import UnusableData
from analysis.methods.spline_by_lot import bent
from tests.trials.cost_of_lots import covered, necks


def test_unit_order_and_what_the_mix_adds_change_nothing():
    y, x, mix, lot = necks(np.random.default_rng(5), lots=12, shape="bend", lot_minutes=1.0, far=False)
    one = bent(y, x, mix, lot).total(x[lot == 0], x[x < 0.1])
    order = np.random.default_rng(6).permutation(len(y))
    assert bent(y[order], x[order], mix[order], lot[order]).total(x[lot == 0], x[x < 0.1]) == pytest.approx(one)
    inches = bent(60 * y, x / 25.4, mix, lot).total(x[lot == 0] / 25.4, x[x < 0.1] / 25.4)
    assert inches == pytest.approx([60 * part for part in one], rel=1e-6)
    paced = bent(y + 100.0 * mix, x, mix, lot).total(x[lot == 0], x[x < 0.1])
    assert paced == pytest.approx(one, rel=1e-6, abs=1e-6)


def test_a_straight_line_is_followed_and_not_said_to_bend():
    y, x, mix, lot = necks(np.random.default_rng(7), lots=20, shape="flat", lot_minutes=0.0, far=False)
    found = bent(20 * x + 1e-6 * y, x, mix, lot)
    more, low, high = found.more([0.3], [0.1])
    assert more[0] == pytest.approx(4.0, abs=1e-3)
    assert low[0] < 4.0 < high[0]


def test_under_five_lots_or_without_any_difference_no_curve_is_drawn():
    y, x, mix, lot = necks(np.random.default_rng(8), lots=6, shape="flat", lot_minutes=0.0, far=False)
    with pytest.raises(UnusableData, match="load more logs"):
        bent(y, x, mix, lot % 4)
    with pytest.raises(UnusableData, match="hardly varies"):
        bent(y, np.full(len(x), 0.1), mix, lot)


@pytest.mark.promise
@pytest.mark.parametrize("far", [False, True])
def test_what_a_lot_cost_is_held_by_its_interval(far):
    held = covered(np.random.default_rng(20261129), runs=60, lots=20, shape="bend", lot_minutes=2.0, far=far)
    assert held >= 0.87  # 60 shops: .95 less 2.8 standard errors


def test_the_two_variances_are_those_of_least_squares_and_their_expected_sums():
    y, x, mix, lot = necks(np.random.default_rng(9), lots=14, shape="bend", lot_minutes=2.0, far=False)
    found = bent(y, x, mix, lot)
    frame = pd.DataFrame({"y": y, "x": x, "mix": mix, "lot": lot})
    curve = "cr(x, df=4, constraints='center') + C(mix)"
    whole = smf.ols(f"y ~ {curve}", frame).fit()
    dummies = pd.get_dummies(frame["lot"]).to_numpy(float)
    every = np.column_stack([whole.model.exog, dummies])  # the lots tell some of the mixes
    rest = y - every @ np.linalg.lstsq(every, y)[0]
    within = rest @ rest / (len(y) - np.linalg.matrix_rank(every))
    assert found.within**2 == pytest.approx(within)
    hat = whole.model.exog @ np.linalg.pinv(whole.model.exog)
    told = np.trace(dummies.T @ (np.eye(len(y)) - hat) @ dummies)  # by which lots' variance is multiplied in the rest
    assert found.between**2 == pytest.approx((whole.ssr - within * whole.df_resid) / told)


def test_the_curve_its_errors_and_its_bend_are_those_of_weighted_least_squares():
    y, x, mix, lot = necks(np.random.default_rng(10), lots=14, shape="bend", lot_minutes=2.0, far=False)
    found = bent(y, x, mix, lot)
    columns = np.column_stack(
        [dmatrix("cr(x, df=4, constraints='center') - 1", {"x": x}), pd.get_dummies(mix).to_numpy(float)]
    )
    straight = np.column_stack([x, columns[:, 4:]])
    same = lot[:, None] == lot
    root = np.linalg.cholesky(np.linalg.inv(found.within**2 * np.eye(len(y)) + found.between**2 * same)).T
    fit, line = (sm.OLS(root @ y, root @ held).fit(method="pinv") for held in (columns, straight))
    assert found.effect == pytest.approx(fit.params[:4])
    assert found.covariance == pytest.approx(fit.cov_params()[:4, :4])
    assert found.alone == pytest.approx((found.within**2 * np.linalg.pinv(columns.T @ columns))[:4, :4])
    lots = len(np.unique(lot))
    assert (found.lots_left, found.pieces_left) == (lots - 5, len(y) - lots - columns.shape[1])
    f = (line.ssr - fit.ssr) / 3 / fit.mse_resid
    assert found.bends == pytest.approx(stats.f.sf(f, 3, lots - 5))


def test_an_interval_has_the_degrees_of_freedom_of_its_two_variances():
    y, x, mix, lot = necks(np.random.default_rng(11), lots=14, shape="bend", lot_minutes=2.0, far=False)
    found = bent(y, x, mix, lot)
    knots = np.asarray(build_design_matrices([found.design], {"x": np.array([0.05, 0.1, 0.3])})[0])
    turn = knots[2] - knots[:2].mean(axis=0)
    error = turn @ found.covariance @ turn
    pieces = turn @ found.alone @ turn
    freedom = error**2 / ((error - pieces) ** 2 / found.lots_left + pieces**2 / found.pieces_left)
    more, low, high = found.more([0.3], [0.05, 0.1])
    assert more[0] == pytest.approx(turn @ found.effect)
    assert high[0] - more[0] == pytest.approx(stats.t.ppf(0.975, freedom) * np.sqrt(error))
    assert more[0] - low[0] == pytest.approx(high[0] - more[0])
    same, least, most = found.more([0.1], [0.1])
    assert same[0] == least[0] == most[0] == 0
