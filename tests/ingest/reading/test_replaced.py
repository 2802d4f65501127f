"""Rows that replace an earlier one: by its number, by the line of the file, by a mark."""

from ingest.reading.reader import read_log
from tests.ingest.small_shop import csv, small_shop

HEADER = "No,Time,Serial,Bench,Who,What,Side,Value,Corrects"
HEADINGS = {"Time": "started_at", "Bench": "stage", "Who": "tech", "Side": "position", "No": "other"}


def read(*rows, header=HEADER, headings=HEADINGS):
    shop = small_shop(shape="measurement", headings=headings)
    return read_log(csv(header, *rows), "m.csv", shop)


def row(no, at, side, value, corrects="", what="action", who="JR"):
    return f"{no},2026-03-{at},A1,final_inspection,{who},{what},{side},{value},{corrects}"


def held(sheet):
    return sheet.readings.sort("position", "value").select("position", "value").rows()


def test_a_row_is_replaced_by_the_one_that_names_its_number_and_stands_where_it_stood():
    sheet = read(
        row(501, "02 08:00", "bass", "25"),
        row(502, "02 08:01", "treble", "1.9"),
        row(509, "03 10:00", "bass", "2.6", "501", who="AO"),
        row(510, "03 10:05", "bass", "2.5", "509", who="AO"),
    )
    assert held(sheet) == [("bass", 2.5), ("treble", 1.9)]
    assert sheet.visits.select("line", "tech").rows() == [(3, "T07")]
    assert sheet.readings["taken_at"].dt.day().unique().to_list() == [2]
    assert (sheet.rows_read, sheet.rows_held, sheet.set_aside.height) == (4, 2, 0)
    assert "2 rows are replaced by others that say so, and do not count" in sheet.notes


def test_without_a_column_of_numbers_the_line_of_the_file_is_meant_if_the_same_thing_stands_there():
    header, headings = HEADER.removeprefix("No,"), {k: v for k, v in HEADINGS.items() if k != "No"}
    rows = [row(0, "02 08:00", "bass", "25"), row(0, "02 08:01", "treble", "1.9")]
    right = read(
        *(each[2:] for each in (*rows, row(0, "02 08:09", "bass", "2.5", "2"))), header=header, headings=headings
    )
    assert held(right) == [("bass", 2.5), ("treble", 1.9)]
    wrong = read(
        *(each[2:] for each in (*rows, row(0, "02 08:09", "bass", "2.5", "3"))), header=header, headings=headings
    )
    assert wrong.set_aside.filter(wrong.set_aside["column"] == "Corrects")["raw"].to_list() == ["3"]


def test_a_mark_means_the_last_of_the_same_thing_on_that_day_and_else_is_asked_about():
    same = read(row(1, "02 08:00", "bass", "2.9"), row(2, "02 08:03", "bass", "2.5", "x"))
    assert held(same) == [("bass", 2.5)]
    other = read(row(1, "01 08:00", "bass", "2.9"), row(2, "02 08:03", "bass", "2.5", "x"))
    assert held(other) == [("bass", 2.5), ("bass", 2.9)]
    assert other.set_aside.select("line", "raw", "reason").rows() == [(3, "x", "no row that it replaces")]


def test_a_number_that_no_row_has_is_asked_about_and_nothing_is_lost():
    sheet = read(row(501, "02 08:00", "bass", "2.9"), row(502, "02 08:30", "bass", "2.5", "499"))
    assert len(held(sheet)) == 2
    assert sheet.set_aside.select("line", "column", "raw").rows() == [(3, "Corrects", "499")]


def test_a_row_of_a_visit_is_replaced_as_well():
    shop = small_shop(headings={"Bench": "stage"})
    rows = ("7,2026-03-02,A1,play_test,0.1,", "8,2026-03-02,A1,play_test,0.2,7")
    sheet = read_log(csv("No,Date,Serial,Bench,relief (mm),Replaces", *rows), "v.csv", shop)
    assert sheet.readings.select("line", "value").rows() == [(3, 0.2)]
    assert (sheet.rows_read, sheet.visits.height, sheet.rows_held) == (2, 1, 1)
