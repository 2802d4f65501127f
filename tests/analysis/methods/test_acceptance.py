import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.methods.acceptance import (
    Plan,
    accepted,
    inspected,
    outgoing,
    share_accepted,
    through,
    verdict,
    worst_outgoing,
)
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

plans = st.integers(1, 200).flatmap(lambda n: st.builds(Plan, st.just(n), st.integers(0, n)))


def test_the_handbook_plan_has_its_printed_curves():
    # NIST/SEMATECH e-Handbook, sections 6.2.3.1 and 6.2.3.2: n = 52, c = 3, lots of 10,000; some printed ATI are
    # truncated.
    printed = case("nist-oc-52-3")
    data, want = printed.data, printed.published
    plan = Plan(data["n"], data["c"])
    assert accepted(plan, data["p"]) == pytest.approx(want["Pa"], abs=tolerance(printed, "Pa"))
    assert outgoing(plan, data["p"], data["N"]) == pytest.approx(want["AOQ"], abs=tolerance(printed, "AOQ"))
    assert inspected(plan, data["p"], data["N"]) == pytest.approx(want["ATI"], abs=tolerance(printed, "ATI"))


def test_the_shares_at_which_lots_pass_are_the_printed_ones():
    # MIL-STD-105E, table X-J-1: n = 80, per cent to three significant digits.
    printed = case("mil105-oc-letter-J-ac0-ac3-ac10")
    for name, points in printed.published.items():
        plan = Plan(printed.data["n"], int(name.removeprefix("Ac")))
        for chance, percent in points.items():
            assert float(f"{100 * share_accepted(plan, float(chance)):.3g}") == percent, (name, chance)


def test_the_worst_outgoing_share_is_the_top_of_the_curve():
    plan = Plan(52, 3)
    at, most = worst_outgoing(plan, 10_000)
    assert most == pytest.approx(0.0372, abs=1e-4)  # NIST prints .0370 at p = .06 as the largest in its table
    assert at == pytest.approx(0.056, abs=1e-3)


def test_a_plan_through_two_points_keeps_both_risks_and_no_smaller_one_does():
    for good, bad in ((0.01, 0.06), (0.01, 0.05), (0.02, 0.20)):
        plan = through(good, bad)
        assert accepted(plan, good) >= 0.95
        assert accepted(plan, bad) <= 0.10
        smaller = [Plan(n, c) for n in range(1, plan.n) for c in range(min(n, plan.c + 2))]
        assert not any(accepted(p, good) >= 0.95 and accepted(p, bad) <= 0.10 for p in smaller)
    assert through(0.01, 0.05) == Plan(132, 3)  # the usual printed answer for these risks (from memory)


@given(plans, st.floats(0.001, 0.999), st.floats(0.001, 0.999))
def test_worse_lots_pass_less_often_and_the_sentence_turns_back(plan, p, q):
    low, high = sorted((p, q))
    assert accepted(plan, high) <= accepted(plan, low) + 1e-12
    if plan.c < plan.n:
        assert accepted(plan, share_accepted(plan, p)) == pytest.approx(p, abs=1e-9)


@given(plans)
def test_a_whole_lot_is_judged_without_chance(plan):
    bad = np.arange(plan.n + 1)
    assert accepted(plan, bad / plan.n, lot=plan.n).tolist() == (bad <= plan.c).tolist()


def test_a_small_lot_counts_without_replacement():
    assert accepted(Plan(20, 0), 0.10, lot=40) == pytest.approx(stats.hypergeom.pmf(0, 40, 4, 20))
    assert accepted(Plan(20, 0), 0.10, lot=40) < accepted(Plan(20, 0), 0.10)


def test_a_verdict_waits_for_the_whole_sample_unless_it_is_already_lost():
    plan = Plan(50, 2)
    assert [verdict(plan, *seen) for seen in ((50, 2), (50, 3), (49, 2), (12, 3))] == [
        "accept",
        "reject",
        "too few",
        "reject",
    ]


@settings(max_examples=30)
@given(plans, st.floats(0, 1))
def test_goods_sorted_after_rejection_are_between_the_sample_and_the_lot(plan, p):
    assert plan.n <= inspected(plan, p, 1000) <= 1000
    assert 0 <= outgoing(plan, p, 1000) <= p


@pytest.mark.parametrize(
    "call",
    [
        lambda: Plan(0, 0),
        lambda: Plan(3, 4),
        lambda: accepted(Plan(5, 1), 1.5),
        lambda: accepted(Plan(5, 1), 0.1, lot=4),
        lambda: share_accepted(Plan(3, 3), 0.5),
        lambda: through(0.05, 0.01),
        lambda: verdict(Plan(5, 1), 3, 4),
    ],
)
def test_plans_that_cannot_be_are_refused(call):
    with pytest.raises(UnusableData):
        call()
