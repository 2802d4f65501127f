"""How far levels differ, where something moved for a while and came back, and where they really do."""

import numpy as np
import pytest

from analysis.methods.random_effects import FLOOR, WEEK, moment, spread

DAYS, EACH = 60, 30


def days(rng, *, apart=0.0, moved=0.0):
    """Days of thirty readings; twelve of them moved, one after another."""
    day = np.repeat(np.arange(DAYS), EACH)
    off = rng.normal(size=len(day)) + apart * rng.normal(size=DAYS)[day] + moved * ((day >= 20) & (day < 32))
    return day, off - off.mean()


def test_what_moved_for_a_while_is_no_spread_between_days():
    by_moments, near = [], []
    for seed in range(20):
        day, off = days(np.random.default_rng([61, seed]), moved=1.0)
        by_moments.append(moment(day, off))
        near.append(spread(day, off, apart=WEEK))
    assert np.mean(by_moments) > 0.12  # one part in five moved by one sigma
    assert np.mean(near) < 0.03


@pytest.mark.parametrize("apart", [0.0, 0.2, 0.5])
def test_days_that_differ_are_told_by_moments(apart):
    told = []
    for seed in range(40):
        day, off = days(np.random.default_rng([62, seed]), apart=apart)
        told.append((spread(day, off, apart=WEEK), moment(day, off)))
    assert sum(one == other for one, other in told) >= 38
    assert np.mean([one for one, _ in told]) == pytest.approx(apart**2, rel=0.15, abs=0.01)


def test_a_lot_after_another_is_held_against_its_neighbour_in_the_order_in_which_they_came():
    rng = np.random.default_rng(63)
    lot = np.repeat(rng.permutation(40), 25)  # their numbers say nothing of their order
    off = rng.normal(size=len(lot)) + 1.2 * (np.arange(len(lot)) // 25 >= 25)
    off -= off.mean()
    assert moment(lot, off) > 0.3
    assert spread(lot, off) < 0.05
    assert spread(lot[::-1], off[::-1]) == pytest.approx(spread(lot, off))  # the other way round in time


def test_few_levels_are_told_by_moments_and_none_is_below_the_floor():
    code, off = np.repeat(np.arange(8), 4), np.repeat([0.0, 0, 0, 0, 2, 2, 2, 2], 4)
    assert spread(code, off - 1) == moment(code, off - 1)
    assert spread(np.repeat(np.arange(30), 4), np.zeros(120)) == FLOOR
