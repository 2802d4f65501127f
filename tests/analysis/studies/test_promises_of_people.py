"""Promises to techs and suppliers, at a tenth of the size of their trials (tests/trials: fair_techs, cost_of_bow,
variance_split).
"""

import numpy as np
import pytest

from analysis.studies.people.targets import lasting_test
from tests.trials import cost_of_bow, ever_shown, fair_techs, ratio_bounds, variance_split

pytestmark = pytest.mark.promise


def test_techs_of_equal_skill_are_left_alone_while_the_raw_comparison_flags_them():
    flagged, outside, raw, *_ = fair_techs.equal(
        np.random.default_rng(fair_techs.SEED), techs=5, visits=400, share=0.03, runs=40
    )
    assert flagged <= 0.10  # 200 techs at 5 %: 20 or fewer in 99.8 of 100 cases
    assert outside <= 0.02
    assert raw > flagged + 0.05


@pytest.mark.parametrize(("others", "times"), [(4, 4.0), (1, 10.0)])
def test_a_tech_twice_as_bad_is_seen_also_with_two_at_the_stage(others, times):
    flagged, *_ = fair_techs.twice(np.random.default_rng(fair_techs.SEED + 1), others=others, times=times, runs=60)
    assert flagged >= 0.78  # 60 at 90 %


def test_the_cost_of_bow_lies_within_its_interval():
    held, *_ = cost_of_bow.covered(
        np.random.default_rng(cost_of_bow.SEED), runs=60, lots=40, a_tenth=2.0, lot_minutes=1.0
    )
    assert held >= 0.85


def test_the_split_of_the_variance_is_unbiased():
    off = variance_split.errors(
        np.random.default_rng(variance_split.SEED), suppliers=3, sds=(0.02, 0.02, 0.05), runs=200
    )
    assert (np.abs(off.mean(axis=0)) < 4 * off.std(axis=0, ddof=1) / np.sqrt(200)).all()


@pytest.mark.parametrize("others_hard", [None, 0.03])
def test_bounds_of_a_ratio_hold_one_for_equals_a_specialist_among_them(others_hard):
    rng = np.random.default_rng(ratio_bounds.SEED)
    table = ratio_bounds.held(rng, runs=25, techs=4, visits=400, share=0.05, others_hard=others_hard)
    ratio = table[table[:, 1] == 0]
    assert len(ratio) >= 75
    assert ratio[:, 2].mean() >= 0.89  # 100 at 95 %: 89 or more in 99.6 of 100 cases
    assert ratio[:, 4].mean() <= 0.12
    assert ratio[:, 3].mean() < ratio[:, 2].mean()


def test_of_work_that_one_alone_does_nothing_is_said():
    rng = np.random.default_rng(ratio_bounds.SEED + 1)
    table = ratio_bounds.held(rng, runs=10, techs=4, visits=400, share=0.05, others_hard=0.0)
    assert (table[table[:, 0] == 0, 1] == 1).all()
    assert (table[table[:, 0] > 0, 1] == 0).all()


@pytest.mark.parametrize(("share", "least", "most"), [(0.05, 0.90, 1.0), (0.20, 0.0, 0.10)])
def test_shown_is_told_at_any_time_to_most_who_hold_a_target_and_to_few_who_do_not(share, least, most):
    rng = np.random.default_rng(ever_shown.SEED)
    ever, *_ = ever_shown.told(lasting_test(0.05, 0.20).test, share, 2000, rng)
    assert least <= ever <= most + 3 * np.sqrt(0.1 * 0.9 / 2000)
