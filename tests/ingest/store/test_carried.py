"""An instrument of two models, or two lots: said once with both values, file and line, and nothing is set aside for
it.
"""

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.sentences import logs as telling
from ingest.store import carried, draft
from ingest.store.store import open_snapshot
from ingest.terms import tables
from ingest.verbs import decisions
from ingest.verbs.again import again
from ingest.verbs.load import load, unload
from ingest.verbs.mend import correct
from tests.ingest.bench import HEADER, NOW, log, row, shop

LATER = {"start": "2026-03-04 09:00", "finish": "2026-03-04 09:20", "stage": "final_inspection"}
SAID = "A1: LARK-25 (a.csv, line 2), HERON (b.csv, line 3)"


def test_two_models_of_one_serial_in_two_logs_are_said_with_file_and_line_and_nothing_is_set_aside(tmp_path):
    folder = shop(tmp_path)
    later = log(folder, "b.csv", [row("A3"), row("A1", model="HERON", **LATER), row("A2", **LATER)])
    load(folder, [later], now=NOW)
    [came] = load(folder, [log(folder, "a.csv", [row("A1"), row("A2")])], now=NOW)
    assert list(carried.lines(came.two_values)) == [SAID]
    assert (came.accepted, came.set_aside, came.cells_set_aside) == (2, 0, 0)
    snapshot = open_snapshot(folder)
    assert list(carried.lines(carried.on_file(snapshot))) == [SAID]
    assert snapshot.table("visits").height == 5
    assert snapshot.table("set_aside").is_empty()
    unload(folder, "b.csv", now=NOW)
    assert carried.on_file(open_snapshot(folder)).is_empty()


def test_a_check_says_it_too_and_one_call_says_it_once(tmp_path):
    folder = shop(tmp_path)
    files = [log(folder, "a.csv", [row("A1")]), log(folder, "b.csv", [row("A3"), row("A1", model="HERON", **LATER)])]
    for came in (load(folder, files, check=True, now=NOW), load(folder, files, now=NOW)):
        told = list(telling.questions(came))
        assert told[1:] == ["  model (1)", f"    {SAID}"]
        assert "first in time order" in told[0]
        assert telling.exit_code(came) == 0


def test_a_correction_ends_it_and_trying_again_repeats_it(tmp_path):
    folder = shop(tmp_path)
    header = HEADER + ",lot"
    rows = [row("A1") + ",L-1", row("A1", **LATER) + ",L-2", row("A2", relief="x") + ",L-1"]
    load(folder, [log(folder, "a.csv", rows, header)], now=NOW)
    [came] = again(folder, now=NOW)
    assert list(carried.lines(came.two_values)) == ["A1: L-1 (a.csv, line 2), L-2 (a.csv, line 3)"]
    assert came.two_values["field"].to_list() == ["lot"]
    assert correct(folder, "a.csv", 3, "lot", "L-1", who="Mara", why="wrong label", now=NOW).two_values.is_empty()


def test_many_are_told_ten_at_a_time(tmp_path):
    folder = shop(tmp_path)
    rows = [each for n in range(13) for each in (row(f"A{n:02d}"), row(f"A{n:02d}", model="HERON", **LATER))]
    told = list(telling.questions(load(folder, [log(folder, "a.csv", rows)], now=NOW)))
    assert told[1] == "  model (13)"
    assert told[12] == "    and 3 more"
    assert "used again" in " ".join(told[13:])  # of two models: what may have come of it, once
    assert len(told) == 15


def test_a_row_set_aside_as_a_conflict_is_not_asked_about_twice(tmp_path):
    folder = shop(tmp_path)
    came = load(
        folder,
        [
            log(folder, "a.csv", [row("A1"), row("A2"), row("A3")]),
            log(folder, "b.csv", [row("A1", model="HERON"), row("A4"), row("A5")]),
        ],
        now=NOW,
    )
    assert open_snapshot(folder).table("set_aside").height == 1
    assert [file.two_values.height for file in came] == [0, 0]


ROW = st.tuples(
    st.sampled_from("ABC"), st.integers(0, 3), st.sampled_from(["", "x", "y", "z"]), st.sampled_from(["", "p", "q"])
)


@given(st.lists(ROW, max_size=12))
def test_what_is_found_is_what_reading_row_by_row_finds(rows):
    visits = pl.DataFrame(
        [
            {"serial": serial, "line": line, "started_at": NOW.replace(hour=hour), "model": model, "lot": lot}
            for line, (serial, hour, model, lot) in enumerate(rows)
        ],
        schema={"serial": pl.String, "line": pl.Int64, "started_at": tables.TIME, "model": pl.String, "lot": pl.String},
    )
    wanted = []
    for field, place in (("lot", 3), ("model", 2)):
        for serial in "ABC":
            said = sorted(
                (hour, line, row[place])
                for line, row in enumerate(rows)
                for hour in [row[1]]
                if row[0] == serial and row[place]
            )
            other = next((each for each in said if each[2] != said[0][2]), None)
            if other:
                wanted.append((field, serial, said[0][2], said[0][1], other[2], other[1]))
    found = carried.two_values(tables.shaped(visits, tables.VISITS).select(carried.COLUMNS))
    assert found.select("field", "serial", "value", "line", "other", "other_line").rows() == wanted


@pytest.mark.parametrize("few", [0, draft.FEW])
@pytest.mark.parametrize("seed", range(4))
def test_what_a_load_tells_is_what_looking_through_the_whole_shop_finds(few, seed, tmp_path, monkeypatch):
    monkeypatch.setattr(draft, "FEW", few)
    folder, random = shop(tmp_path), np.random.default_rng(seed)
    told = 0
    for number in range(6):
        files = []
        for name in (f"{number}a.csv", f"{number}b.csv"):
            rows = [
                row(
                    f"A{random.integers(12)}",
                    model=str(random.choice(["LARK-25", "LARK-25", "HERON"])),
                    start=f"2026-03-0{random.integers(1, 6)} 09:{random.integers(10, 60)}",
                    finish="2026-03-06 10:00",
                    stage=str(random.choice(["play_test", "final_inspection"])),
                )
                for _ in range(4)
            ]
            files.append(log(folder, name, rows))
        came = load(folder, files, now=NOW)
        if number == 3:
            unload(folder, "1a.csv", now=NOW)
            continue
        on_file = carried.on_file(open_snapshot(folder))
        for each in came:
            mine = (pl.col("log_id") == each.log_id) | (pl.col("other_log") == each.log_id)
            assert each.two_values.equals(on_file.filter(mine))
            told += each.two_values.height
    assert told


def test_nothing_is_carried_over_only_where_neither_kind_of_decision_is():
    line = ("Mo", "seen", pl.DataFrame())
    assert decisions.CarriedOver().is_empty()
    assert not decisions.CarriedOver(corrections=[line]).is_empty()
    assert not decisions.CarriedOver(settled=[line]).is_empty()
