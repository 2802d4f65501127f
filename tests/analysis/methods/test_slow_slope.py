"""Slopes from week to week: found where the air dries once, with an interval that other drifts do not fool."""

import numpy as np
import pytest

from analysis.methods.lagged_slope import lagged_slopes
from analysis.methods.slow_slope import slow_slopes
from tests.trials.slow_air import AIRS, FIRST_DAY, KINDS, one

WEEKS, PER_WEEK = 18, 60
DAY = FIRST_DAY + np.arange(WEEKS * PER_WEEK) * 7 // PER_WEEK
ROW = np.zeros(len(DAY), dtype=np.int64)
DRIES = 50 - 16 * np.clip((np.arange(len(DAY)) / PER_WEEK - 6) / 6, 0, 1)  # over six weeks, once
NOISE = 0.03 * np.random.default_rng(41).normal(size=len(DAY))


def test_what_follows_air_that_dries_slowly_is_found_where_within_weeks_nothing_is():
    y = 0.2 + NOISE + 0.004 * (DRIES - 50)
    found = slow_slopes(y, DRIES, ROW, DAY, least=25)
    assert found.slope[0] == pytest.approx(0.004, abs=found.half[0])
    assert found.half[0] < 0.003
    assert 0.2 < found.share[0] < 0.6
    assert found.weeks[0] == WEEKS
    within = lagged_slopes(y, DRIES[:, None], ROW, DAY, least=25)
    assert within.share[0] < 0.05


def test_the_slope_is_that_of_the_changes_of_weekly_means():
    y = 0.2 + NOISE + 0.004 * (DRIES - 50)
    week = (DAY - FIRST_DAY) // 7
    means = [[float(each[week == w].mean()) for w in range(WEEKS)] for each in (DRIES, y)]
    by_hand = np.polyfit(*(np.diff(each) for each in means), 1)[0]
    found = slow_slopes(y, DRIES, ROW, DAY, least=25)
    assert found.slope[0] == pytest.approx(by_hand, rel=1e-9)
    assert found.share[0] == pytest.approx(np.corrcoef(DRIES, y)[0, 1] ** 2, rel=1e-9)


def test_one_step_of_both_or_few_weeks_or_few_readings_tell_nothing():
    step = np.where(np.arange(len(DAY)) < len(DAY) // 2, 50.0, 34.0)
    assert np.isnan(slow_slopes(NOISE + 0.004 * step, step, ROW, DAY, least=25).slope[0])
    few = slice(0, 7 * PER_WEEK)
    assert np.isnan(slow_slopes(NOISE[few], DRIES[few], ROW[few], DAY[few], least=25).slope[0])
    thin = slice(0, None, 60)
    assert np.isnan(slow_slopes(NOISE[thin], DRIES[thin], ROW[thin], DAY[thin], least=25).slope[0])
    still = np.full(len(DAY), 0.2)
    assert np.isnan(slow_slopes(still, DRIES, ROW, DAY, least=25).slope[0])


def test_rows_are_judged_each_by_itself_and_units_change_the_slope_alone():
    y = 0.2 + NOISE + 0.004 * (DRIES - 50)
    alone = slow_slopes(y, DRIES, ROW, DAY, least=25)
    twice = slow_slopes(
        np.concatenate([y / 25.4, NOISE]),
        np.concatenate([DRIES, DRIES]),
        np.concatenate([ROW, ROW + 1]),
        np.concatenate([DAY, DAY]),
        least=25,
    )
    assert (twice.slope[0], twice.half[0]) == pytest.approx((alone.slope[0] / 25.4, alone.half[0] / 25.4))
    assert twice.share[0] == pytest.approx(alone.share[0])
    assert twice.share[1] < 0.05


@pytest.mark.promise
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("air", AIRS)
def test_the_interval_holds_the_true_slope_whatever_air_and_readings_do_else(air, kind):
    rng = np.random.default_rng([20270312, AIRS.index(air), KINDS.index(kind)])
    found = [one(rng, air, kind, days, n) for days in (90, 126) for n in (6, 25) for _ in range(15)]
    held, told = np.sum(found, axis=0)
    assert held >= 50  # of 60; at .95 fewer come less than once in a thousand
    if kind != "follows":
        assert told <= 10
