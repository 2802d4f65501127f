"""Which week is reviewed: the last that is over, by the readings on file."""

from datetime import date

import numpy as np
import pytest

from analysis.studies.week.arrived import arrived, review_week
from tests.analysis.studies.drifting import shop, snapshot
from tests.analysis.studies.rework.test_stage_weeks import weeks_of

RELIEF = ("relief", "")
FIRST, SECOND, THIRD = (date(2026, 1, day) for day in (5, 12, 19))  # Mondays; the readings begin with the first
FRIDAYS = [0, 2, 4, 7, 9, 11]  # days after START with readings: Mon, Wed, Fri; Mon, Wed, Fri


@pytest.mark.parametrize(
    ("days", "week"),
    [
        (FRIDAYS, SECOND),  # its Friday is there
        ([*FRIDAYS[:5]], FIRST),  # it goes on
        ([*FRIDAYS[:5], 14], SECOND),  # its Friday has none, and it is over all the same: a later week has readings
        ([*FRIDAYS, 14], SECOND),
        ([*FRIDAYS, 14, 16, 18], THIRD),
        ([0, 2], FIRST),  # the only one
    ],
)
def test_the_last_week_that_is_over_is_reviewed(days, week):
    hours = 24.0 * np.array(days, dtype=float)
    assert review_week(snapshot(shop(), {RELIEF: np.zeros(len(days))}, hours=hours)) == week


def test_in_a_week_without_work_no_stage_misses_a_sheet():
    here = weeks_of([(25, 2)] * 6)
    after = arrived(here, week=date(2026, 2, 16))
    assert after["usual"].max() == 1.0
    assert after["expected"].sum() == 0
    assert not after["question"].any()
