"""Two groups: the printed case, and what holds whatever the numbers."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.methods.problems import UnusableData
from analysis.methods.two_groups import Difference, difference
from tests.published.cases import case, tolerance

MEAN, SD, N = [[1.2, 1.0], [3.4, 3.5]], [[0.2, 0.3], [0.5, 0.4]], [[20, 30], [8, 12]]


def test_the_difference_of_two_groups_is_that_of_the_handbook():
    # NIST/SEMATECH e-Handbook, 1.3.5.3: unequal variances
    told = case("nist-two-sample-t")
    found = difference(**{name: np.array(values) for name, values in told.data.items()})
    wanted = told.published
    assert found.difference == pytest.approx(wanted["difference"], abs=tolerance(told, "difference"))
    assert found.error == pytest.approx(wanted["error"], abs=tolerance(told, "error"))
    assert found.difference / found.error == pytest.approx(wanted["t"], abs=tolerance(told, "t"))
    assert found.dof == pytest.approx(wanted["dof"], abs=tolerance(told, "dof"))


def test_another_unit_scales_it_and_a_constant_leaves_it_alone():
    plain = difference(MEAN, SD, N)
    inches = difference(np.array(MEAN) / 25.4, np.array(SD) / 25.4, N)
    assert np.array([inches.difference, inches.low, inches.high]) * 25.4 == pytest.approx(
        [plain.difference, plain.low, plain.high]
    )
    moved = difference(np.array(MEAN) + 7, SD, N)
    assert (moved.low, moved.high) == pytest.approx((plain.low, plain.high))


def test_changing_sides_changes_the_sign_only_and_the_order_of_strata_nothing():
    plain = difference(MEAN, SD, N)
    turned = difference(*(np.array(each)[:, ::-1] for each in (MEAN, SD, N)))
    assert (turned.difference, turned.low, turned.high) == pytest.approx((-plain.difference, -plain.high, -plain.low))
    assert turned.dof == pytest.approx(plain.dof)
    again = difference(*(np.array(each)[::-1] for each in (MEAN, SD, N)))
    assert again.error == pytest.approx(plain.error)


def test_strata_that_differ_by_a_constant_say_what_one_of_them_says():
    # the same difference in two models of unlike means is the difference, whatever the mix
    found = difference([[1.2, 1.0], [9.2, 9.0]], [[0.2, 0.2], [0.2, 0.2]], [[40, 5], [5, 40]])
    assert found.difference == pytest.approx(0.2)


def test_where_no_reading_differs_nothing_says_how_sure():
    found = difference([1.0, 2.0], [0.0, 0.0], [5, 5])
    assert found.difference == -1.0
    assert np.isnan(found.low)
    assert not found.sure


@pytest.mark.parametrize(
    "given", [([1.0, 2.0], [0.1, 0.1], [1, 5]), ([1.0, 2.0], [-0.1, 0.1], [3, 5]), ([1.0], [0.1], [3]), ([], [], [])]
)
def test_what_cannot_be_compared_is_refused(given):
    with pytest.raises(UnusableData):
        difference(*given)


def test_an_interval_that_ends_at_nought_does_not_leave_it_out():
    told = Difference(-1.0, -2.0, 0.0, 0.5, 9.0)
    assert not told.sure
    assert [replace(told, high=high).sure for high in (-0.1, 0.1)] == [True, False]
    assert replace(told, low=0.1, high=2.0).sure
    assert not replace(told, low=np.nan, high=np.nan).sure
