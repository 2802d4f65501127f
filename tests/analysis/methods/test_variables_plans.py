import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods.acceptance import through as by_attributes
from analysis.methods.problems import UnusableData
from analysis.methods.variables_plans import (
    VariablesPlan,
    accepted,
    accepts,
    estimated_outside,
    outside,
    share_accepted,
    through,
)
from tests.published.cases import case, tolerance


def test_the_standard_s_own_example_is_judged_as_printed():
    # MIL-STD-414 (1957), examples B-1 and B-3; its s of 8.81 is a slip, sqrt(310/4) = 8.803.
    printed = case("mil414-example-B1-B3")
    data, want, close = printed.data, printed.published, tolerance(printed, "")
    x = np.array(data["x"], dtype=float)
    plan, mean, s = VariablesPlan(len(x), data["k"]), x.mean(), x.std(ddof=1)
    assert (x.sum(), (x**2).sum(), mean) == (want["sum"], want["sum_sq"], want["mean"])
    assert (data["U"] - mean) / s == pytest.approx(want["Q_U"], abs=close)
    share = outside(mean, s, len(x), upper=data["U"])
    assert 100 * estimated_outside(want["Q_U"], len(x)) == pytest.approx(
        want["p_U_pct"], abs=close
    )  # the standard looks up Q as rounded
    assert 100 * share == pytest.approx(want["p_U_pct"], abs=0.011)
    assert accepts(plan, mean, s, upper=data["U"]) == want["accept_k"]
    assert (100 * share <= data["M_pct"]) == want["accept_M"]


def test_k_and_m_of_the_tables_belong_together():
    # MIL-STD-414, tables B-1 and B-3; k is printed to two decimals, which moves M by up to .12.
    printed = case("mil414-k-M-table-DFG")
    for cell, (n, k) in printed.data["n_k"].items():
        plan = VariablesPlan(n, k)
        assert 100 * plan.m == pytest.approx(printed.published["k_to_M"][cell], abs=tolerance(printed, cell)), cell
        aql = float(cell.split("@")[1]) / 100
        assert 0.89 < accepted(plan, aql) < 0.95


@given(st.integers(3, 60), st.floats(0.3, 2.5), st.floats(-2, 6), st.floats(0.1, 3), st.floats(0.5, 6))
def test_form_k_and_form_m_agree_with_one_limit_and_mirror_each_other(n, k, mean, s, reach):
    plan, upper = VariablesPlan(n, k), mean + reach
    quality = (upper - mean) / s
    if (
        abs(quality - k) > 1e-9 and abs(quality) < (n - 1) / np.sqrt(n) and k < (n - 1) / np.sqrt(n)
    ):  # beyond, both estimates are 0
        assert accepts(plan, mean, s, upper=upper) == (outside(mean, s, n, upper=upper) <= plan.m)
    assert accepts(plan, mean, s, upper=upper) == accepts(plan, -mean, s, lower=-upper)
    both = outside(mean, s, n, lower=mean - 2 * reach, upper=upper)
    assert both == pytest.approx(outside(mean, s, n, upper=upper) + outside(mean, s, n, lower=mean - 2 * reach))


def test_the_estimate_is_unbiased():
    rng = np.random.default_rng(3)
    x = rng.standard_normal((40_000, 8))
    found = estimated_outside((1.5 - x.mean(axis=1)) / x.std(axis=1, ddof=1), 8)
    assert found.mean() == pytest.approx(0.0668, abs=4 * found.std() / 200)  # share of a normal curve beyond 1.5


def test_a_plan_through_two_points_keeps_both_risks_and_needs_fewer_than_counting():
    plan = through(0.01, 0.06)
    assert accepted(plan, 0.01) >= 0.95 - 1e-9
    assert accepted(plan, 0.06) <= 0.10
    assert plan.n < by_attributes(0.01, 0.06).n
    smaller = through(0.01, 0.06, consumer_risk=float(accepted(plan, 0.06)))
    assert smaller.n == plan.n
    assert share_accepted(plan, [0.95, 0.5]) == pytest.approx([0.01, 0.0293], abs=1e-4)


@given(st.integers(3, 80), st.floats(0.5, 2.5), st.floats(0.02, 0.98))
def test_the_sentence_turns_back(n, k, chance):
    plan = VariablesPlan(n, k)
    share = share_accepted(plan, chance)
    if 1e-6 < share < 1 - 1e-6:
        assert accepted(plan, share) == pytest.approx(chance, abs=1e-5)


@pytest.mark.promise
def test_lots_pass_as_often_as_the_curve_says():
    rng = np.random.default_rng(20260906)
    plan = through(0.02, 0.15)
    share = 0.07
    upper = 1.4757910  # a normal curve has 7 % beyond it
    x = rng.standard_normal((40_000, plan.n))
    passed = (upper - x.mean(axis=1)) / x.std(axis=1, ddof=1) >= plan.k
    assert passed.mean() == pytest.approx(float(accepted(plan, share)), abs=0.01)


@pytest.mark.parametrize(
    "call",
    [
        lambda: VariablesPlan(2, 1.0),
        lambda: outside(1.0, 0.0, 5, upper=2.0),
        lambda: outside(1.0, 1.0, 5),
        lambda: accepted(VariablesPlan(5, 1.0), 0.0),
        lambda: through(0.1, 0.05),
        lambda: estimated_outside(1.0, 2),
    ],
)
def test_plans_that_cannot_be_are_refused(call):
    with pytest.raises(UnusableData):
        call()


def test_a_share_outside_two_limits_is_the_sum_of_both_and_does_not_hang_on_the_unit():
    both = outside(10.0, 2.0, 12, lower=7.0, upper=14.5)
    assert both == pytest.approx(outside(10.0, 2.0, 12, lower=7.0) + outside(10.0, 2.0, 12, upper=14.5))
    assert outside(10.0, 2.0, 12, lower=7.0) == pytest.approx(float(estimated_outside(1.5, 12)))
    assert outside(10.0, 2.0, 12, upper=14.5) == pytest.approx(float(estimated_outside(2.25, 12)))
    assert outside(25.4 * 10 + 3, 50.8, 12, lower=25.4 * 7 + 3) == pytest.approx(outside(10.0, 2.0, 12, lower=7.0))
