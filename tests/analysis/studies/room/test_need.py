"""The need of a stream is its Ppk turned over; rows stand hungriest first; thin streams never count as needing more."""

import polars as pl
import pytest

from analysis.studies.room import room as rooms
from analysis.studies.room.need import needs

ROOM = {
    "characteristic": ["relief", "relief", "action", "action", "action"],
    "position": ["", "", "bass", "bass", "bass"],
    "model": ["A", "B", "A", "B", "C"],
    "ppk": [2.0, 1.0, 0.5, -0.1, None],
    "ppk_low": [1.6, 0.8, 0.4, -0.2, None],
    "ppk_high": [2.5, 1.2, 0.8, 0.1, None],
    "flags": ["", "coarse", "", "thin", ""],
    "mean": [0.2, 0.25, 2.0, 3.1, 2.0],
    "low": [0.1, 0.1, 1.0, 2.0, 1.0],
    "high": [0.3, 0.4, 3.0, 4.0, 3.0],
    "target": [0.2, None, None, None, None],
    "lower": [0.0, 0.0, 1.5, 1.5, None],
    "upper": [0.4, 0.4, 2.5, 2.5, None],
}


@pytest.fixture
def found(monkeypatch):
    monkeypatch.setattr("analysis.studies.room.need.room", lambda snapshot, when, **days: pl.DataFrame(ROOM))
    return {(row["characteristic"], row["model"]): row for row in needs(None, when="as set").iter_rows(named=True)}


def test_need_is_ppk_turned_over_with_its_interval(found):
    row = found["relief", "A"]
    assert (row["need"], row["need_low"], row["need_high"]) == (0.5, 0.4, 0.625)
    assert row["off"] == pytest.approx(0.0)
    assert row["widest"] == pytest.approx(0.5)
    assert found["relief", "B"]["off"] == pytest.approx(0.05)  # from the middle where no target is asked


def test_a_mean_beyond_its_limit_has_no_need_that_is_wide_enough(found):
    row = found["action", "B"]
    assert row["need"] is None
    assert row["need_high"] is None
    assert row["need_low"] == pytest.approx(10)
    assert not row["more"]  # thin


def test_more_is_said_of_a_whole_interval_and_streams_without_ppk_stand_nowhere(found):
    assert found["action", "A"]["more"]
    assert not found["relief", "B"]["more"]
    assert ("action", "C") not in found
    assert [row["promise"] for row in found.values()].count(False) == 2


def test_the_hungriest_row_stands_first_and_its_largest_need_too_but_no_thin_one(found):
    assert list(found) == [("action", "A"), ("action", "B"), ("relief", "B"), ("relief", "A")]


def test_a_thin_stream_places_no_row_before_another(monkeypatch):
    flags = ["", "", "thin", "thin", ""]  # all of action that has a need
    rows = pl.DataFrame({**ROOM, "flags": flags})
    monkeypatch.setattr("analysis.studies.room.need.room", lambda snapshot, when, **days: rows)
    told = needs(None, when="as set").select("characteristic", "model").rows()
    assert told == [("relief", "B"), ("relief", "A"), ("action", "B"), ("action", "A")]


def test_no_reading_is_no_row(monkeypatch):
    monkeypatch.setattr("analysis.studies.room.need.room", lambda snapshot, when, **days: pl.DataFrame())
    assert needs(None, when="as set").is_empty()
    assert rooms.KEY
