"""The grid of readings: found with strays and rounding, none of uneven leaves, and moved with its unit."""

import numpy as np
import pytest

from analysis.methods.grid import grid
from analysis.methods.problems import UnusableData

HALF_64TH = 25.4 / 128


def rounded(step, n=30, sigma=0.1, seed=20261130):
    true = 2.4 + sigma * np.random.default_rng(seed).standard_normal(n)
    return np.round(true / step) * step


def test_a_rule_of_half_64ths_is_found_by_its_steps():
    found = grid(rounded(HALF_64TH))
    assert found.step == pytest.approx(HALF_64TH, rel=1e-9)
    assert found.on(HALF_64TH * np.arange(5, 20)).all()


def test_one_slip_in_thirty_changes_nothing_and_two_tell_no_grid():
    read = rounded(HALF_64TH)
    read[7] += 0.07
    assert grid(read).step == pytest.approx(HALF_64TH, rel=1e-9)
    read[9] -= 0.06
    told = grid(read)
    assert told is None or told.step < HALF_64TH / 2


def test_marks_written_to_a_hundredth_of_a_millimetre_are_still_a_grid():
    assert grid(np.round(rounded(HALF_64TH), 2)).step == pytest.approx(HALF_64TH, abs=0.006)


@pytest.mark.parametrize("step", [0.01, 0.05])
def test_a_finer_gauge_never_seems_as_coarse_as_its_spread(step):
    for seed in range(300):
        found = grid(rounded(step, seed=seed))
        assert found is None or found.step < 0.1


def test_uneven_leaves_and_readings_all_alike_tell_none():
    assert grid(np.repeat([0.20, 0.25, 0.33, 0.40], 8)) is None
    assert grid(np.full(30, 2.4)) is None


def test_in_another_unit_the_step_is_that_of_the_other_unit_and_order_does_not_matter():
    read = rounded(HALF_64TH)
    assert grid(read / 25.4).step * 25.4 == pytest.approx(grid(read[::-1]).step, rel=1e-9)


def test_a_missing_reading_is_refused():
    with pytest.raises(UnusableData, match="1 of 2 readings are missing"):
        grid([1.0, np.nan])
