"""Promises to techs and suppliers, at a tenth of the size of their trials (tests/trials: fair_techs, cost_of_bow,
variance_split).
"""

import numpy as np
import pytest

from tests.trials import cost_of_bow, fair_techs, variance_split

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
