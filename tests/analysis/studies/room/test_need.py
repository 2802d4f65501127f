"""The need of a stream is its Ppk turned over; rows stand hungriest first; thin streams never count as needing more."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.room import capability
from analysis.studies.room import room as rooms
from analysis.studies.room.need import needs
from tests.analysis.studies.measured import made, visit

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
    "ppk_without": pl.Series([None] * 5, dtype=pl.Float64),
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


def test_a_slip_alone_makes_no_series_need_more_and_no_promise(monkeypatch):
    without = pl.Series([None, None, 0.9, None, None], dtype=pl.Float64)
    for ppk_without, more in ((0.9, False), (0.55, True)):
        rows = pl.DataFrame(ROOM | {"ppk_without": without.replace(0.9, ppk_without)})
        rows = rows.with_columns(flags=pl.when(pl.col("ppk") == 0.5).then(pl.lit(capability.SLIPS)).otherwise("flags"))
        monkeypatch.setattr("analysis.studies.room.need.room", lambda snapshot, when, rows=rows, **days: rows)
        row = needs(None, when="as set").filter(characteristic="action", model="A").row(0, named=True)
        assert (row["more"], row["promise"], row["need"]) == (more, False, 2.0)


def test_no_reading_is_no_row(monkeypatch):
    monkeypatch.setattr("analysis.studies.room.need.room", lambda snapshot, when, **days: pl.DataFrame())
    assert needs(None, when="as set").is_empty()
    assert rooms.KEY


def test_room_stands_with_the_ppk_it_would_have_without_a_slip():
    rng, spec = np.random.default_rng(14), {"characteristic": "relief", "target": 0.2, "lower": 0.1, "upper": 0.3}
    values = [*rng.normal(0.2, 0.02, 40), 2.0, *rng.normal(0.2, 0.02, 40)]

    def told(values):
        rows = [visit(f"S{k:03d}", k, "final", readings={"relief": float(v)}) for k, v in enumerate(values)]
        return rooms.room(made(rows, [spec]), when="as set").row(0, named=True)

    slipped, clean = told(values), told([v for v in values if v < 1])
    assert slipped["slips"] == ["S040"]
    assert capability.SLIPS in slipped["flags"].split(";")
    assert slipped["ppk_without"] == pytest.approx(clean["ppk"])
    assert slipped["outside"] == clean["outside"] + 1
    assert clean["ppk_without"] is None
    assert clean["slips"] == []
    assert capability.SLIPS not in clean["flags"]
