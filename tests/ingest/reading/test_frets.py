"""Notes at frets: those a string does not have are set aside, a choked note is a reading, a slip a question."""

import copy

import pytest

from ingest.reading.reader import read_log
from ingest.shopfiles.shop import checked_shop
from tests.ingest.small_shop import TABLE, csv


def read(heading, cell, *, model="DRAY-5"):
    table = copy.deepcopy(TABLE)
    table["characteristic"][2]["positions"] = ["1", "2", "3", "4", "5"]
    table["model"][2] |= {"strings": 5, "short_string": {"string": 5, "starts_at": 5}}
    header = f"serial,model,stage,date,outcome,{heading}"
    return read_log(csv(header, f"A1,{model},play_test,2026-03-02,pass,{cell}"), "a.csv", checked_shop(table))


def values(sheet):
    return {(row["position"], row["value"]) for row in sheet.readings.iter_rows(named=True)}


@pytest.mark.parametrize("fret", [1, 3, 5])
def test_frets_before_the_short_string_begins_are_set_aside_with_what_is_wanted(fret):
    sheet = read(f"intonation 5 fret {fret}", "2")
    assert values(sheet) == set()
    (asked,) = sheet.set_aside.iter_rows(named=True)
    assert (asked["reason"], asked["wanted"]) == (
        "no such fret",
        "a fret after 5, where string 5 begins, or 0 for open",
    )
    assert sheet.cells_set_aside == 1


@pytest.mark.parametrize(
    ("heading", "model"),
    [("intonation 5 fret 6", "DRAY-5"), ("intonation 5 fret 0", "DRAY-5"), ("intonation 4 fret 3", "DRAY-5"),
     ("intonation 4 fret 3", "LARK-25")],
)  # fmt: skip
def test_frets_that_are_there_are_read(heading, model):
    sheet = read(heading, "2", model=model)
    assert values(sheet) == {(heading.removeprefix("intonation "), 2.0)}
    assert sheet.set_aside.is_empty()


def test_no_model_has_a_thirtieth_fret():
    sheet = read("intonation 1 fret 30", "2")
    assert values(sheet) == set()
    assert sheet.set_aside["wanted"].to_list() == ["a fret from 1 to 24, or 0 for open"]


def test_a_choked_note_is_a_reading_and_a_slip_is_still_a_question():
    assert values(read("intonation 1 fret 7", "95")) == {("1 fret 7", 95.0)}
    for heading, cell in (("intonation 1 fret 7", "-95"), ("intonation 1 fret 7", "400"), ("intonation 1 fret 0", "95"),
                          ("intonation 1", "95")):  # fmt: skip
        sheet = read(heading, cell)
        assert values(sheet) == set()
        assert sheet.set_aside["reason"].to_list() == ["implausible"]
