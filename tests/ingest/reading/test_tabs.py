"""Workbooks of several tabs, each a kind of its own, and headings that stand over several rows."""

import datetime as dt

import polars as pl
import pytest

from ingest.reading.as_typed import cell_of, headings_in, rows_in
from ingest.reading.heading_rows import headings_over, joined
from ingest.reading.reader import read_log
from ingest.shopfiles.shop import checked_shop
from ingest.terms.questions import FileProblem
from tests.ingest.small_shop import TABLE, csv, small_shop
from tests.ingest.strangers.sheets import workbook_bytes

DAY = dt.date(2026, 3, 2)
NUT = [["Serial", "Date", "Relief (mm)"], ["A1", DAY, 0.1], ["A2", DAY, 0.2]]
FINAL = [
    ["Serial", "Date", "Height (mm)", "", "Result"],
    ["", "", "Bass", "Treble", ""],
    ["A1", DAY, 2.5, 2.4, "ok"],
    ["A2", DAY, 2.6, 2.3, "ok"],
]
LEGEND = [["Code", "Meaning"], ["ok", "fine"]]
LOGS = [
    {"name": "nut", "files": "*.xlsx", "tab": "nut*", "stage": "nut_slotting"},
    {
        "name": "final",
        "files": "*.xlsx",
        "tab": "Final",
        "stage": "final_inspection",
        "headings": {"Height (mm) Bass": "action bass (mm)", "Height (mm) Treble": "action treble (mm)"},
        "words": {"outcome": {"ok": "pass"}},
    },
]


def shop(*logs):
    return checked_shop(TABLE | {"log": list(logs)})


def book(**tabs):
    return workbook_bytes(tabs)


def test_each_tab_is_read_by_its_own_log_and_a_tab_of_none_is_named_and_left():
    data = book(Legend=LEGEND, **{"Nut 2026": NUT, "Final": FINAL})
    sheet = read_log(data, "book.xlsx", shop(*LOGS))
    assert sheet.visits.select("line", "serial", "stage").rows() == [
        (4, "A1", "nut_slotting"),
        (5, "A2", "nut_slotting"),
        (8, "A1", "final_inspection"),
        (9, "A2", "final_inspection"),
    ]
    held = sheet.readings.group_by("characteristic", "position").len().sort("characteristic", "position")
    assert held.rows() == [("action", "bass", 2), ("action", "treble", 2), ("relief", "", 2)]
    assert "tabs that no [[log]] reads, left: 'Legend'" in sheet.notes
    assert sheet.rows_read == 4
    assert cell_of(data, "book.xlsx", shop(*LOGS), 9, "Height (mm) Treble") == ("Height (mm) Treble", "2.3")


def test_a_log_without_a_tab_reads_the_tabs_that_no_other_names():
    rest = {"name": "rest", "files": "*.xlsx", "stage": "play_test"}
    sheet = read_log(book(**{"Nut 2026": NUT, "Play": NUT}), "book.xlsx", shop(LOGS[0], rest))
    assert sheet.visits["stage"].to_list() == ["nut_slotting"] * 2 + ["play_test"] * 2


def test_a_workbook_without_the_tab_says_which_it_has():
    with pytest.raises(FileProblem, match=r"book.xlsx: it has the tabs 'Sheet1'; wanted one such as 'nut\*', 'Final'"):
        read_log(book(Sheet1=NUT), "book.xlsx", shop(*LOGS))


def test_a_tab_without_headings_beside_one_with_them_adds_no_rows():
    sheet = read_log(book(Log=NUT, Notes=[["a", "b"], ["c", "d"]]), "book.csv", small_shop(stage="play_test"))
    assert (sheet.rows_read, sheet.rows_set_aside) == (2, 0)
    assert "tab 'Notes' has no heading line of a log; it is left" in sheet.notes


def test_headings_over_two_rows_are_one_line_each():
    assert joined(["Serial", "Height", "", "Note"], ["", "Bass", "Treble", ""]) == [
        "Serial",
        "Height Bass",
        "Height Treble",
        "Note",
    ]
    assert headings_over([["Final", "", ""], ["Action", "", "Date"], ["B", "T", ""]]) == [
        "Final Action B",
        "Final Action T",
        "Final Date",
    ]


def test_a_csv_with_headings_over_two_rows_is_read_whichever_row_names_the_serial():
    headings = {"Height Bass": "action bass (mm)", "Height Treble": "action treble (mm)"}
    for above, below in (("Serial,Date,Height,", ",,Bass,Treble"), (",,Height,", "Serial,Date,Bass,Treble")):
        data = csv("Book of 2026,,,", above, below, "A1,2026-03-02,2.5,2.4", "A2,2026-03-02,2.6,2.3")
        sheet = read_log(data, "a.csv", small_shop(stage="final_inspection", headings=headings))
        assert sheet.readings.height == 4
        assert (sheet.rows_read, sheet.passed_over) == (2, 2)


def test_the_second_of_two_like_headings_can_be_named():
    data = csv("Serial,Date,Relief,Relief", "A1,2026-03-02,.010,.012")
    known = small_shop(stage="final_inspection", headings={"Relief #2": "action bass (mm)"})
    assert read_log(data, "a.csv", known).readings["characteristic"].to_list() == ["relief"]


def test_what_a_tab_tells_is_told_of_its_own_stage():
    sheet = read_log(book(**{"Nut 2026": NUT, "Final": FINAL}), "book.xlsx", shop(*LOGS))
    told = sheet.columns.filter(pl.col("field").is_in(["outcome", "reading"])).select("heading", "stage", "filled")
    assert set(told.rows()) == {
        ("Relief (mm)", "nut_slotting", 2),
        ("Height (mm) Bass", "final_inspection", 2),
        ("Height (mm) Treble", "final_inspection", 2),
        ("Result", "final_inspection", 2),
    }


REWORK = [["Serial", "Date", "Relief (mm)"], ["A1", DAY, 0.3], ["A2", DAY, 0.4]]
BENCHES = [["Serial", "Date", "Stage", "Relief (mm)"], ["A1", DAY, "play_test", 0.1], ["A2", DAY, "play_test", 0.2]]


def test_a_tab_whose_stage_cannot_be_told_is_named_and_left_and_the_others_are_read():
    data = book(Benches=BENCHES, Rework=REWORK)
    kind = {"name": "all tabs", "files": "*.xlsx"}
    sheet = read_log(data, "book.xlsx", shop(kind))
    assert sheet.visits.select("serial", "stage").rows() == [("A1", "play_test"), ("A2", "play_test")]
    asked = sheet.set_aside.select("line", "column", "raw", "reason")
    assert asked.rows() == [(n, "", "tab 'Rework'", "no stage column") for n in (5, 6)]
    assert sheet.set_aside["wanted"][0].startswith('stage = "')
    assert "or such in the [[log]] 'all tabs' of shop.toml" in sheet.set_aside["wanted"][0]
    assert (sheet.rows_read, sheet.rows_set_aside) == (4, 2)
    assert any(note.startswith("tab 'Rework' is left, 2 rows: no stage column") for note in sheet.notes)
    assert not sheet.columns.filter(pl.col("heading") == "Relief (mm)").filter(pl.col("filled") != 2).height
    told = shop(kind | {"stage": "nut_slotting"})
    assert read_log(data, "book.xlsx", told).visits["stage"].to_list() == ["play_test"] * 2 + ["nut_slotting"] * 2
    assert cell_of(data, "book.xlsx", shop(kind), 5, "Relief (mm)") == ("Relief (mm)", "0.3")


def test_a_tab_of_a_log_of_its_own_that_has_no_headings_is_left_too():
    data = book(**{"Nut 2026": NUT, "Final": [["what", "we"], ["think", "of"], ["", ""], ["it", 3]]})
    sheet = read_log(data, "book.xlsx", shop(*LOGS))
    assert sheet.visits["serial"].to_list() == ["A1", "A2"]
    assert sheet.set_aside.select("line", "raw").rows() == [(n, "tab 'Final'") for n in (4, 5, 7)]
    assert sheet.rows_read == 5
    assert headings_in(data, "book.xlsx", shop(*LOGS))["Relief (mm)"] == "relief"
    assert rows_in(data, "book.xlsx", shop(*LOGS), [2])[2]["Serial"] == "A1"


@pytest.mark.parametrize("headings", [{}, {"Relief (mm)": "serial"}, {"Relief (mm)": "nonsense"}])
def test_a_workbook_none_of_whose_tabs_can_be_read_is_refused(headings):
    with pytest.raises(FileProblem, match=r"book\.xlsx: "):
        read_log(book(Rework=REWORK, Legend=LEGEND), "book.xlsx", shop({"files": "*.xlsx", "headings": headings}))
