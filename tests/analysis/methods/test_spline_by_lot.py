"""A bend through readings that came in lots: laws, and that an interval holds what was put in."""

import numpy as np
import pytest

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
