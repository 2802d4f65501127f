"""What crept on between two openings of its chart never came back: it is one time, since the first."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.studies.matters.came_again import last_times
from analysis.studies.matters.signalled import Signalled

A_DAY = 6
TIMES = ((20, 29), (40, 49))  # and since day 60


def signal(*, side=1, turn=1.0, between=(0.0, 0.0), within=1.2, seed=0):
    """Readings of eighty days, up in each of three times, and in between by what is given."""
    rng = np.random.default_rng([20310201, seed])
    day = np.repeat(np.arange(80), A_DAY)
    level = np.zeros(80)
    for first, over in (*TIMES, (60, 79)):
        level[first : over + 1] = within
    level[30:40], level[50:60] = between
    found = SimpleNamespace(values=turn * (level[day] + rng.normal(size=len(day))), day=day)
    touched = np.ones(len(day), dtype=bool)
    one = Signalled(7, touched, 60, 58, 62, 63, side, open=True, back=80, again=63, times=TIMES, floor=52)
    return last_times(found, [one])[0]


@pytest.mark.parametrize("seed", range(5))
def test_readings_that_were_back_part_two_times(seed):
    one = signal(seed=seed)
    assert (one.times, one.since, one.floor) == (TIMES, 60, 52)


@pytest.mark.parametrize("seed", range(5))
def test_readings_that_stayed_off_join_them(seed):
    one = signal(between=(0.9, 0.9), seed=seed)
    assert (one.times, one.since) == ((), 20)
    assert one.floor <= 20
    last = signal(between=(0.0, 0.9), seed=seed)
    assert (last.times, last.since) == (TIMES[:1], 40)
    assert 29 < last.floor <= 40


def test_turning_all_signs_changes_nothing():
    for between in ((0.0, 0.0), (0.9, 0.9)):
        up, down = signal(between=between), signal(between=between, side=-1, turn=-1.0)
        assert (up.times, up.since) == (down.times, down.since)
