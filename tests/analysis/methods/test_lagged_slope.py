"""Slopes at the likeliest of several lags."""

import numpy as np
import pytest
from scipy import stats

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


def by_loop(y, x, day, level=0.95):
    """Slope, error before the choice, and groups of one row and lag, week by week."""
    week = (day + 3) // 7
    off = [np.array([v[week == w].mean() for w in week]) for v in (y, x)]
    y, x = y - off[0], x - off[1]
    slope = (x @ y) / (x @ x)
    push = x * (y - slope * x)
    weeks = len(np.unique(week))
    by = week if weeks >= 8 else day
    sums = [push[by == each].sum() for each in np.unique(by)]
    error = np.sqrt(sum(each**2 for each in sums) * len(sums) / (len(sums) - 1)) / (x @ x)
    plain = np.sqrt(((y - slope * x) ** 2).sum() / (len(y) - weeks - 1) / (x @ x))
    return slope, max(error, plain) * stats.t.ppf(0.5 + level / 2, len(sums) - 2), (slope * (x @ y)) / (y @ y)


@pytest.mark.parametrize("weeks", [7, 8, 20])
@pytest.mark.parametrize("level", [0.95, 0.8])
def test_a_slope_at_one_lag_is_that_of_a_loop_over_weeks_or_from_under_eight_over_days(weeks, level):
    rng = np.random.default_rng([20281203, weeks])
    day = 20_000 + np.repeat(np.arange(7 * weeks), 3)
    day = day - (day[0] + 3) % 7  # from a Monday on
    x = rng.normal(size=day.max() + 1)[day] + rng.normal(size=len(day)) / 4
    y = 0.5 * x + rng.normal(size=day.max() + 1)[day] + np.arange(len(day)) / 50
    found = lagged_slopes(y, x[:, None], np.zeros(len(day), dtype=np.int64), day, least=10, level=level)
    slope, half, share = by_loop(y, x, day, level)
    assert (found.slope[0], found.half[0]) == (pytest.approx(slope), pytest.approx(half))
    assert (found.share[0], found.days[0], found.lag[0]) == (pytest.approx(share), 7 * weeks, 0)
    assert found.shown[0] == (abs(slope) > half)


def test_rows_of_too_few_readings_or_days_and_what_does_not_move_are_not_told():
    rng = np.random.default_rng(20281204)
    day, row = np.arange(30) + 20_000, np.zeros(30, dtype=np.int64)
    x, y = rng.normal(size=30), rng.normal(size=30)

    def told(y, x, day, least=30):
        return bool(lagged_slopes(y, x[:, None], row[: len(y)], day, least=least).told[0])

    assert told(y, x, day)
    assert not told(y, x, day, least=31)
    assert [told(y[:n], x[:n], day[:n], least=5) for n in (10, 9)] == [True, False]  # ten days
    assert not told(y, np.ones(30), day)
    assert not told(np.ones(30), x, day)


def test_two_lags_that_say_the_same_cost_no_more_than_one_and_two_that_do_not_cost_a_choice():
    rng = np.random.default_rng(20281205)
    day, row = np.arange(100) + 20_000, np.zeros(100, dtype=np.int64)
    x, other, y = rng.normal(size=(3, 100))
    one, twice, two = (
        lagged_slopes(y + x, np.column_stack(held), row, day, least=9) for held in ([x], [x, 2 * x], [x, other])
    )
    assert twice.half[0] == pytest.approx(one.half[0])
    week = (day + 3) // 7
    off = [v - np.array([v[week == w].mean() for w in week]) for v in (x, other)]
    r = off[0] @ off[1] / np.sqrt((off[0] @ off[0]) * (off[1] @ off[1]))
    values = np.linalg.eigvalsh(np.array([[1, r], [r, 1]]))
    worth = sum((value >= 1) + value - np.floor(value) for value in values)
    groups = len(np.unique(week))
    ratio = stats.t.isf(0.5 * (1 - 0.95 ** (1 / worth)), groups - 2) / stats.t.isf(0.025, groups - 2)
    assert two.half[0] == pytest.approx(one.half[0] * ratio)
