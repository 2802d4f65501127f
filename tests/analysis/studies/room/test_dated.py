"""What the readings did round a dated change, and where a stream lay of late."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.streams import streams
from analysis.studies.room.dated import AROUND, FEWEST, PART, dated_rows
from analysis.studies.room.levels import OF_LATE, level_rows
from tests.dashboard.pages.moving_shop import MOVED_BY

STREAM = {"characteristic": "action", "position": "treble", "model": "LARK-25", "stage": "final_inspection"}


def readings_of(held, stream):
    """When, on which day and what: the readings of a stream of all techs."""
    at = held.rows["tech"] == ""
    for name, value in stream.items():
        at &= held.rows[name] == value
    mine = held.readings.stream == np.flatnonzero(at.to_numpy())[0]
    return held.readings.taken_at.filter(mine), held.readings["day"].filter(mine), held.values[mine]


def test_new_blanks_that_moved_the_treble_action_are_dated_by_their_readings(moving_desk):
    row = dated_rows(moving_desk.snapshot()).filter(kind=PART, **STREAM).row(0, named=True)
    assert abs(row["size"] - MOVED_BY) < 4 * row["size_error"]
    assert row["read_from"] <= row["said_on"] <= row["read_to"]
    assert row["read_to"] - row["read_from"] < timedelta(days=7)
    assert row["size"] == pytest.approx(row["after"] - row["before"])


def test_before_and_after_are_the_means_of_the_weeks_on_either_side(moving_desk):
    snapshot = moving_desk.snapshot()
    row = dated_rows(snapshot).filter(kind=PART, **STREAM).row(0, named=True)
    taken, day, values = readings_of(snapshot.once(streams), STREAM)
    around = ((day - row["said_on"]).abs() <= AROUND).to_numpy()
    before = values[around & (day < row["said_on"]).to_numpy()]
    after = values[around & (day >= row["said_on"]).to_numpy()]
    assert len(taken) == len(values)
    assert (row["n_before"], row["n_after"]) == (len(before), len(after))
    assert (row["before"], row["after"]) == pytest.approx((before.mean(), after.mean()))


def test_streams_of_few_readings_on_a_side_are_left_out(moving_desk):
    rows = dated_rows(moving_desk.snapshot())
    assert not rows.is_empty()
    assert (rows.select(pl.min_horizontal("n_before", "n_after")).to_series() >= FEWEST).all()


def test_levels_are_the_mean_and_spread_of_the_last_weeks(moving_desk):
    snapshot = moving_desk.snapshot()
    rows = level_rows(snapshot)
    assert not rows.is_empty()
    for row in rows.iter_rows(named=True):
        taken, _, values = readings_of(snapshot.once(streams), {name: row[name] for name in STREAM})
        late = values[(taken > snapshot.as_of - OF_LATE).to_numpy()]
        told = (len(late), pytest.approx(late.mean()), pytest.approx(late.std(ddof=1)))
        assert (row["n"], row["mean"], row["sd"]) == told
        assert row["mean_error"] >= row["sd"] / np.sqrt(row["n"]) * (1 - 1e-9)  # what hangs together carries less
        assert row["freedom"] <= row["n"] - 1 + 1e-9
