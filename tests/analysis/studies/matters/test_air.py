"""What the air did, and in which shapes readings may follow it."""

import numpy as np
import pytest

from analysis.studies.matters.air import Air, airs, raw_airs
from analysis.studies.matters.records import HUMIDITY
from analysis.studies.story.story import story
from tests.analysis.studies.drifting import shop, snapshot


@pytest.fixture(scope="module")
def columns():
    """Forty days of two instruments: the air about 45 % RH, then three damp days and a dry one."""
    rh = 45 + np.tile([-1.0, 1.0], 40)
    rh[[60, 61, 66, 67, 72, 73]], rh[78:] = 60, 30
    made = snapshot(shop(), {("relief", ""): np.full(80, 0.2)}, rh=rh)
    visits = made.once(story).visits
    rows = visits.filter(visits["stage"] == "final").select("visit", "finished_at").rename({"finished_at": "taken_at"})
    return airs(raw_airs(made, rows, visits))


def test_damp_days_and_dry_days_are_columns_of_their_own(columns):
    above, below = columns["humidity 0 above 2"].value, columns["humidity 0 below 2"].value
    assert np.flatnonzero(above).tolist() == [60, 61, 66, 67, 72, 73]
    assert above.max() == above[above != 0].min() == 1
    assert np.flatnonzero(below).tolist() == [78, 79]
    assert below[78] == -1


def test_each_shape_is_looked_at_as_followed_always_and_since_some_day(columns):
    assert {f"{name} since" for name in columns if not name.endswith(" since")} <= set(columns)
    assert sum(one.weight for one in columns.values()) == pytest.approx(1.0)


def test_a_few_damp_days_among_many_since_then_are_told_by_what_they_were():
    raw = np.full(200, 45.0)
    raw[[120, 150, 180]] = 59.0
    one = Air(HUMIDITY, 0, raw, (raw > 50).astype(float), True, 1.0)
    moved = one.moved(np.arange(200) < 100, np.arange(200) >= 100, 1)
    assert moved.by == 1
    assert moved.change == 14
    assert np.flatnonzero(moved.where).tolist() == [120, 150, 180]


def test_air_that_stayed_as_it_was_moved_nothing():
    raw = np.full(200, 45.0)
    one = Air(HUMIDITY, 0, raw, np.zeros(200), True, 1.0)
    assert one.moved(np.arange(200) < 100, np.arange(200) >= 100, 1).by == 0
