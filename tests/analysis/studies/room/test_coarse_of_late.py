"""A stream read in steps as wide as its spread of late is told with the day it began; nothing else is."""

from datetime import datetime

import numpy as np
import polars as pl
import pytest

from analysis.review import review
from analysis.studies.drift import states
from analysis.studies.room import capability
from analysis.studies.room.coarse_of_late import LATE, coarse_of_late
from analysis.studies.room.room import room
from analysis.studies.room.steps import steps
from analysis.studies.story.conformity import SET
from tests.analysis.studies.measured import START, made, visit

FINE, COARSE, N, FROM = 0.05, 25.4 / 128, 200, 150
ACTION = {"key": "action", "quantity": "length", "set_at": "neck"}
GAUGE = {"key": "rule", "measures": ["action"], "resolution": "0.05 mm"}
SPEC = {"characteristic": "action", "target": 2.4, "lower": 2.0, "upper": 2.8}


def shop(late=COARSE, n=N, gauges=(GAUGE,)):
    rng = np.random.default_rng(1130)
    rows = []
    for k in range(n):
        step = FINE if k < FROM else late
        read = float(np.round((2.4 + 0.1 * rng.standard_normal()) / step) * step)
        rows += [
            visit(f"S{k:03}", 3 * k, "neck", tech="T1"),
            visit(f"S{k:03}", 3 * k + 1, "final", readings={"action": read}),
        ]
    return made(rows, [SPEC], characteristic=[ACTION], gauge=list(gauges))


@pytest.fixture(scope="module")
def read_anew():
    return shop()


def test_its_step_is_that_of_its_readings_and_it_began_with_the_first_of_them(read_anew):
    row = coarse_of_late(read_anew).row(0, named=True)
    assert row["step"] == pytest.approx(COARSE, rel=1e-6)
    assert row["declared"] == pytest.approx(FINE)
    assert row["step"] > row["sigma"] > row["declared"]
    first = START.timestamp() + 3600 * (3 * FROM + 1)
    assert abs(row["since"].timestamp() - first) <= 3 * 3 * 3600  # within three instruments


@pytest.mark.parametrize(("late", "n"), [(FINE, N), (COARSE, FROM + LATE // 2), (0.1, N)])
def test_fine_steps_too_few_of_the_new_and_steps_below_the_spread_are_not_told(late, n):
    snapshot = shop(late, n)
    assert coarse_of_late(snapshot).filter(pl.col("step") > 0.1001).is_empty()
    assert steps(snapshot)["declared"].null_count() == steps(snapshot).filter(pl.col("since").is_null()).height


def test_what_is_declared_coarse_is_not_told_twice():
    assert coarse_of_late(shop(gauges=[GAUGE | {"resolution": "1/128 in"}])).is_empty()


def test_without_a_gauge_it_is_told_as_well():
    snapshot = shop(gauges=[])
    assert coarse_of_late(snapshot)["declared"].to_list() == [None]
    assert steps(snapshot)["gauge"].to_list() == [states.COARSE]


def test_steps_room_and_the_review_call_it_coarse_and_the_figures_stay_those_of_the_gauge_declared(read_anew):
    told = steps(read_anew).row(0, named=True)
    assert told["gauge"] == states.COARSE
    assert told["steps_in_sigma"] < 1
    assert told["declared"] == pytest.approx(FINE)
    assert capability.COARSE in room(read_anew, when=SET)["flags"][0]
    before = START.date()
    assert (
        capability.COARSE not in room(read_anew, when=SET, first=before, last=datetime(2026, 3, 12).date())["flags"][0]
    )
    assert review(read_anew).coarse["step"].to_list() == [pytest.approx(COARSE, rel=1e-6)]
    figures = read_anew.once(states.stream_rows).filter(pl.col("tech") == "")
    assert figures["gauge"].to_list() == [states.UNTESTED]
    rows = read_anew.once(capability.capability_rows)
    assert not rows["flags"].str.contains(capability.COARSE).any()
