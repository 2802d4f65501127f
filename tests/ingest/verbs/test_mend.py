"""Corrections and verdicts: laid over, said by somebody, reversible, and the same after the store is made again."""

import shutil

import polars as pl
import pytest

from ingest.store import book
from ingest.store.problems import StoreProblem
from ingest.store.store import open_snapshot
from ingest.terms.questions import FileProblem
from ingest.verbs.load import ensure, load, unload
from ingest.verbs.mend import correct, settle
from tests.ingest.bench import NOW, held, log, row, shop
from tests.ingest.verbs.test_load import same

RELIEF = pl.col("characteristic") == "relief"


@pytest.fixture
def folder(tmp_path):
    folder = shop(tmp_path)
    load(
        folder,
        [log(folder, "a.csv", [row("A1", relief="0.2"), row("A2", relief="25.0"), row("A3", relief="two or so")])],
        now=NOW,
    )
    return folder


def reliefs(folder):
    readings = open_snapshot(folder).table("readings").filter(RELIEF).sort("serial")
    return {
        serial: (value, raw, flag)
        for serial, value, raw, flag in readings.select("serial", "value", "raw", "flag").iter_rows()
    }


def survives_remaking(folder):
    before = held(folder)
    shutil.rmtree(folder / "store")
    ensure(folder, now=NOW)
    same(held(folder), before)


def test_a_correction_is_laid_over_the_original_and_marked(folder):
    before = {path.name: path.read_bytes() for path in (folder / "originals").iterdir()}
    correct(folder, "a.csv", 2, "relief (mm)", "0.35", who="T01", why="read off the wrong leaf", now=NOW)
    assert reliefs(folder)["A1"] == (0.35, "0.2", "corrected")
    assert reliefs(folder).keys() == {"A1"}
    assert {path.name: path.read_bytes() for path in (folder / "originals").iterdir()} == before
    line = book.read(folder)["corrections"].row(0, named=True)
    assert (line["who"], line["why"], line["line"], line["column"], line["value"]) == (
        "T01",
        "read off the wrong leaf",
        2,
        "relief (mm)",
        "0.35",
    )
    survives_remaking(folder)


def test_a_correction_can_be_taken_back(folder):
    before = held(folder)
    correct(folder, "a.csv", 2, "Relief (MM)", "0.35", who="T01", why="why", now=NOW)
    correct(folder, "a.csv", 2, "relief (mm)", None, who="T01", why="it was right", now=NOW)
    same(held(folder), before)
    assert book.read(folder)["corrections"].height == 2


def test_a_correction_of_a_cell_set_aside_brings_its_reading_in(folder):
    file = correct(folder, "a.csv", 4, "relief (mm)", "2.1", who="T01", why="asked the tech", now=NOW)
    assert reliefs(folder)["A3"] == (2.1, "2.1", "corrected")
    assert file.cells_set_aside == 1


def test_a_correction_of_a_row_keeps_it_known_as_the_row_it_came_as(folder):
    load(folder, [log(folder, "b.csv", [row("A1", relief="0.2"), row("A9")])], now=NOW)
    correct(folder, "a.csv", 2, "relief (mm)", "0.35", who="T01", why="why", now=NOW)
    assert open_snapshot(folder).table("visits").filter(pl.col("serial") == "A1").height == 1
    assert reliefs(folder)["A1"][0] == 0.35
    assert open_snapshot(folder).table("set_aside").filter(pl.col("column") == "").is_empty()
    survives_remaking(folder)


def test_a_correction_of_no_cell_is_refused_and_changes_nothing(folder):
    before, version = held(folder), open_snapshot(folder).version
    for line, column, wanted in (
        (99, "relief (mm)", "line 99 is no row"),
        (2, "releif", "did you mean 'relief'"),
        (2, "", "no one column"),
    ):
        with pytest.raises(FileProblem, match=wanted) as problem:
            correct(folder, "a.csv", line, column, "1", who="T01", why="why", now=NOW)
        assert "\n" not in str(problem.value)
    with pytest.raises(StoreProblem, match="--who"):
        correct(folder, "a.csv", 2, "relief (mm)", "1", who="", why="why", now=NOW)
    with pytest.raises(StoreProblem, match=r"No log 'z\.csv'"):
        correct(folder, "z.csv", 2, "relief (mm)", "1", who="T01", why="why", now=NOW)
    with pytest.raises(StoreProblem, match="no correction to take back"):
        correct(folder, "a.csv", 2, "relief (mm)", None, who="T01", why="why", now=NOW)
    same(held(folder), before)
    assert open_snapshot(folder).version == version
    assert book.read(folder)["corrections"].is_empty()


def test_an_implausible_value_that_is_real_is_accepted_with_who_and_why(folder):
    asked = open_snapshot(folder).table("set_aside").filter(pl.col("line") == 3).row(0, named=True)
    file = settle(folder, "a.csv", 3, asked["column"], "it is real", who="T01", why="a broken rod", now=NOW)
    assert reliefs(folder)["A2"] == (25.0, "25.0", "real")
    assert file.cells_set_aside == 1
    survives_remaking(folder)


def test_a_verdict_without_its_question_is_refused(folder):
    for line, column, verdict in (
        (2, "relief (mm)", "it is real"),
        (4, "relief (mm)", "it is real"),
        (3, "relief (mm)", "take new"),
    ):
        with pytest.raises(StoreProblem, match="no question is open"):
            settle(folder, "a.csv", line, column, verdict, who="T01", why="why", now=NOW)
    with pytest.raises(StoreProblem, match="No verdict"):
        settle(folder, "a.csv", 3, "relief (mm)", "maybe", who="T01", why="why", now=NOW)


@pytest.mark.parametrize("verdict", ["keep held", "take new"])
def test_a_conflict_is_settled_by_a_person(tmp_path, verdict):
    folder = shop(tmp_path)
    load(
        folder,
        [
            log(folder, "a.csv", [row("A1", relief="0.20"), row("A2"), row("A3")]),
            log(folder, "b.csv", [row("A1", relief="0.35"), row("A4"), row("A5")]),
        ],
        now=NOW,
    )
    [asked] = open_snapshot(folder).table("set_aside").rows(named=True)
    counted = reliefs(folder)["A1"][0]
    settle(folder, asked["name"], asked["line"], asked["column"], verdict, who="T01", why="looked at the card", now=NOW)
    assert open_snapshot(folder).table("set_aside").is_empty()
    assert (reliefs(folder)["A1"][0] == counted) == (verdict == "keep held")
    logs = open_snapshot(folder).table("logs")
    assert logs["accepted"].sum() == 5
    assert logs["already_held"].sum() == 1
    survives_remaking(folder)
    unload(folder, asked["name"], now=NOW)
    assert reliefs(folder)["A1"][0] == counted


MEASURED = """
[[log]]
name = "gauge by gauge"
files = "*.csv"
shape = "measurement"
[log.units]
relief = "mm"
action = "mm"
"""


@pytest.mark.long
@pytest.mark.parametrize("shape", ["visit", "measurement"])
def test_a_corrected_log_whose_rows_wait_on_disk_is_the_same_in_the_store(tmp_path, monkeypatch, shape):
    if shape == "visit":
        sheet = [row(f"A{n}", relief=("x", "0.2")[n % 7 > 0]) for n in range(60)]
        more, header, column = "", None, "relief (mm)"
    else:
        sheet = [
            f"A{n % 20},2026-03-02 {8 + n // 20:02d}:{n % 20:02d},play_test,LARK-25,{what},2.{n % 9}"
            for n, what in zip(range(60), ["relief", "action bass", "action bass"] * 20, strict=True)
        ]
        more, header, column = MEASURED, "serial,started_at,stage,model,what,value", "value"
    states = []
    for place in ("in memory", "on disk"):
        folder = shop(tmp_path / place, more)
        if place == "on disk":
            monkeypatch.setattr("ingest.reading.pieces.MANY", 20)
            monkeypatch.setattr("ingest.reading.files.PIECE", 1_000)
            monkeypatch.setattr("ingest.reading.reader.BUCKET", 1_200)
        load(folder, [log(folder, "a.csv", sheet, *([header] if header else []))], now=NOW)
        correct(folder, "a.csv", 9, column, "0.5", who="T01", why="read again", now=NOW)
        correct(folder, "a.csv", 30, "serial", "B7", who="T01", why="of another one", now=NOW)
        correct(folder, "a.csv", 50, column, "9999", who="T01", why="as it stands on the card", now=NOW)
        monkeypatch.undo()
        states.append(held(folder))
    same(*({name: table.sort(table.columns) for name, table in state.items()} for state in states))
    readings = states[1]["readings"]
    assert readings.filter(pl.col("flag").str.contains("corrected")).height >= 1
    assert "B7" in states[1]["visits"]["serial"]
