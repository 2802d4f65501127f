"""Slopes at the likeliest of several lags."""

import numpy as np
import pytest

from analysis.methods.lagged_slope import lagged_slopes

RNG = np.random.default_rng(20281205)
DAY = np.repeat(np.arange(60), 5)
AIR = RNG.normal(size=(60, 3))[DAY]
NOISE = RNG.normal(size=300)
ONE = np.zeros(300, dtype=np.int64)


def test_the_lag_that_is_followed_is_chosen_and_its_interval_holds_the_slope():
    found = lagged_slopes(NOISE + 0.8 * AIR[:, 1], AIR, ONE, DAY, least=25)
    assert found.lag[0] == 1
    assert found.shown[0]
    assert abs(found.slope[0] - 0.8) < found.half[0]


def test_the_unit_of_the_readings_changes_the_slope_and_nothing_else():
    y = NOISE + 0.3 * AIR[:, 0]
    mm, inches = (lagged_slopes(y * factor, AIR, ONE, DAY, least=25) for factor in (1.0, 1 / 25.4))
    assert inches.slope[0] * 25.4 == pytest.approx(mm.slope[0])
    assert inches.half[0] * 25.4 == pytest.approx(mm.half[0])
    assert inches.share[0] == pytest.approx(mm.share[0])


def test_what_drifts_over_weeks_is_no_slope():
    week = (DAY + 3) // 7
    still = lagged_slopes(NOISE, AIR, ONE, DAY, least=25)
    drifts = lagged_slopes(NOISE + 5.0 * week, AIR + week[:, None], ONE, DAY, least=25)
    assert drifts.slope[0] == pytest.approx(still.slope[0])


def test_few_days_tell_nothing_and_a_surer_interval_is_wider():
    assert not lagged_slopes(NOISE[:40], AIR[:40], ONE[:40], DAY[:40], least=25).told[0]
    usual, surer = (lagged_slopes(NOISE, AIR, ONE, DAY, least=25, level=level).half[0] for level in (0.95, 0.99))
    assert surer > usual
