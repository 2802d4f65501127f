"""Sheets with a row a measurement: rows to visits, names to measurements, every row accounted for."""

import pytest

from ingest.reading.reader import read_log
from ingest.terms.questions import FileProblem
from ingest.terms.units import to_canonical
from tests.ingest.small_shop import csv, small_shop

HEADER = "Time,Serial,Bench,Who,Model,What,Side,Value,Unit,Result"
WORDS = {
    "what": {"Saitenlage": "action", "Halskrümmung": "relief", "Poti": "ignore"},
    "position": {"B": "bass", "D": "treble"},
    "outcome": {"gut": "pass", "NA": "send back"},
}
HEADINGS = {
    "Time": "started_at",
    "Bench": "stage",
    "Who": "tech",
    "What": "what",
    "Side": "position",
    "Result": "outcome",
}


def read(*rows, header=HEADER, **log):
    shop = small_shop(shape="measurement", headings=HEADINGS, words=WORDS, **log)
    return read_log(csv(header, *rows), "m.csv", shop)


def row(at, serial, what, side, value, unit="mm", result="gut", who="JR", bench="final_inspection"):
    return f"2026-03-02 {at},{serial},{bench},{who},LARK-25,{what},{side},{value},{unit},{result}"


def test_the_rows_of_one_visit_are_one_visit_with_all_its_readings():
    sheet = read(
        row("08:00", "A1", "Saitenlage", "B", "2.5"),
        row("08:01", "A1", "Saitenlage", "D", ".080", "in"),
        row("08:02", "A1", "Halskrümmung", "", "0.1"),
        row("08:02", "A1", "Poti", "", "7"),
        row("08:05", "A2", "Saitenlage", "B", "2.4"),
    )
    assert sheet.visits.select("line", "serial").rows() == [(2, "A1"), (6, "A2")]
    held = sheet.readings.select("serial", "characteristic", "position", "value").sort(
        "serial", "characteristic", "position"
    )
    assert held.rows() == [
        ("A1", "action", "bass", 2.5),
        ("A1", "action", "treble", to_canonical(0.08, "in", "length")),
        ("A1", "relief", "", 0.1),
        ("A2", "action", "bass", 2.4),
    ]
    assert (sheet.rows_read, sheet.rows_set_aside, sheet.cells_set_aside) == (5, 0, 0)


def test_the_same_thing_measured_again_or_an_hour_later_is_another_visit():
    sheet = read(
        row("08:00", "A1", "Saitenlage", "B", "2.5"),
        row("08:04", "A1", "Saitenlage", "B", "2.4"),
        row("11:00", "A1", "Halskrümmung", "", "0.1"),
        row("11:01", "A1", "Halskrümmung", "", "0.1", who="ME"),
    )
    assert sheet.visits["line"].to_list() == [2, 3, 4, 5]


@pytest.mark.parametrize(("second", "visits"), [("09:00:00", [2]), ("09:00:01", [2, 3])])
def test_rows_up_to_an_hour_apart_are_of_one_visit(second, visits):
    sheet = read(row("08:00:00", "A1", "Saitenlage", "B", "2.5"), row(second, "A1", "Halskrümmung", "", "0.1"))
    assert sheet.visits["line"].to_list() == visits


def test_a_row_says_by_its_own_words_whether_it_was_found_or_left():
    shop = small_shop(
        shape="measurement", headings=HEADINGS | {"When": "moment"}, words=WORDS | {"moment": {"nachher": "left"}}
    )
    rows = [
        f"{row('08:00', 'A1', 'Saitenlage', 'B', value)},{when}"
        for value, when in (("2.5", "before"), ("2.2", "nachher"), ("2.9", ""), ("2.1", "later"))
    ]
    sheet = read_log(csv(f"{HEADER},When", *rows), "m.csv", shop)
    told = sheet.readings.select("value", "moment").sort("value").rows()
    assert told == [(2.2, "left"), (2.5, "found"), (2.9, "found")]
    [question] = sheet.set_aside.select("line", "reason").rows()
    assert question == (5, "moment not known")


def test_the_worst_result_of_a_visit_is_its_outcome():
    sheet = read(
        row("08:00", "A1", "Saitenlage", "B", "2.5"), row("08:00", "A1", "Saitenlage", "D", "2.9", result="NA")
    )
    assert sheet.visits["outcome"].to_list() == ["send back"]


def test_what_is_not_known_is_a_question_at_its_own_line_and_the_rest_is_read():
    sheet = read(
        row("08:00", "A1", "Saitenlage", "B", "2.5"),
        row("08:00", "A1", "Kopfplatte", "", "3"),
        row("08:00", "A1", "Saitenlage", "X", "3"),
        row("08:00", "A1", "Saitenlage", "D", "3", "furlong"),
        row("08:00", "A1", "Halskrümmung", "", "2..6"),
    )
    assert sheet.readings["value"].to_list() == [2.5]
    assert sheet.set_aside.select("line", "column", "reason").rows() == [
        (3, "Value", "measurement not known"),
        (4, "Value", "position not known"),
        (5, "Value", "unit not known"),
        (6, "Value", "two points in a number"),
    ]


def test_a_visit_set_aside_takes_all_its_rows_with_it_and_each_is_accounted_for():
    sheet = read(
        row("08:00", "A1", "Saitenlage", "B", "2.5", bench="nowhere"),
        row("08:00", "A1", "Saitenlage", "D", "2.5", bench="nowhere"),
        row("08:00", "A2", "Saitenlage", "D", "2..5"),
    )
    assert (sheet.rows_read, sheet.rows_set_aside, sheet.cells_set_aside) == (3, 2, 1)
    assert sheet.set_aside.select("line", "column").rows() == [(2, ""), (3, ""), (4, "Value")]
    assert set(sheet.set_aside["reason"]) == {"stage 'nowhere' is not known", "two points in a number"}


def test_a_corrected_value_is_laid_over_its_own_row():
    shop = small_shop(shape="measurement", headings=HEADINGS, words=WORDS)
    data = csv(HEADER, row("08:00", "A1", "Saitenlage", "B", "2.5"), row("08:00", "A1", "Saitenlage", "D", "2.9"))
    sheet = read_log(data, "m.csv", shop, corrected={(3, "Value"): "2.4"})
    assert sheet.readings["value"].to_list() == [2.5, 2.4]


def test_where_an_instrument_went_back_to_may_stand_on_any_row_of_its_visit():
    header = f"{HEADER},Send to"
    shop = small_shop(shape="measurement", headings=HEADINGS | {"Send to": "sent_back_to"}, words=WORDS)
    rows = (
        row("08:00", "A1", "Saitenlage", "B", "2.5") + ",",
        row("08:01", "A1", "Halskrümmung", "", "0.4", result="NA") + ",nut_slotting",
    )
    sheet = read_log(csv(header, *rows), "m.csv", shop)
    assert sheet.visits.select("outcome", "sent_back_to").rows() == [("send back", "nut_slotting")]


TWO = "Time,Serial,Bench,Who,Model,What,Side,Vorher,Nachher,Unit,Result"
BOTH = HEADINGS | {"Vorher": "value found", "Nachher": "value left"}


def two(*rows, header=TWO, headings=BOTH, **words):
    shop = small_shop(shape="measurement", headings=headings, words=WORDS | words)
    return read_log(csv(header, *rows), "m.csv", shop)


def test_two_columns_of_values_are_what_was_found_and_what_was_left():
    sheet = two(
        "2026-03-02 08:00,A1,final_inspection,JR,LARK-25,Saitenlage,B,2.9,2.5,mm,gut",
        "2026-03-02 08:01,A1,final_inspection,JR,LARK-25,Saitenlage,D,,2.4,mm,gut",
        "2026-03-02 08:02,A1,final_inspection,JR,LARK-25,Halskrümmung,,0.1,-,mm,gut",
        "2026-03-02 08:03,A1,final_inspection,JR,LARK-25,Poti,,7,8,mm,gut",
    )
    assert sheet.visits.select("line", "serial").rows() == [(2, "A1")]
    held = sheet.readings.select("line", "characteristic", "position", "moment", "value")
    assert held.sort("characteristic", "position", "moment").rows() == [
        (2, "action", "bass", "found", 2.9),
        (2, "action", "bass", "left", 2.5),
        (2, "action", "treble", "left", 2.4),
        (2, "relief", "", "found", 0.1),
    ]
    assert sheet.cells_set_aside == sheet.rows_set_aside == 0
    told = sheet.columns.filter(sheet.columns["field"] == "value").select("heading", "filled").rows()
    assert told == [("Vorher", 3), ("Nachher", 3)]


def test_a_second_value_of_the_same_thing_stays_with_its_own_row():
    row = "2026-03-02 08:0{},A1,final_inspection,JR,LARK-25,Saitenlage,B,{},{},mm,gut"
    sheet = two(row.format(0, "2.9", ""), row.format(4, "2.8", "2.5"))
    assert sheet.visits["line"].to_list() == [2, 3]
    assert sorted(sheet.readings.select("line", "moment", "value").rows()) == [
        (2, "found", 2.9),
        (3, "found", 2.8),
        (3, "left", 2.5),
    ]


def test_each_filled_cell_of_two_values_that_cannot_be_read_is_asked_about_under_its_own_heading():
    sheet = two(
        "2026-03-02 08:00,A1,final_inspection,JR,LARK-25,Saitenlage,B,2.9,2..5,mm,gut",
        "2026-03-02 08:01,A1,final_inspection,JR,LARK-25,Klang,B,,3,mm,gut",
        "2026-03-02 08:02,A1,final_inspection,JR,LARK-25,Glanz,B,,,mm,gut",
    )
    asked = sheet.set_aside.select("line", "column", "reason").sort("line").rows()
    assert asked == [
        (2, "Nachher", asked[0][2]),
        (3, "Nachher", "measurement not known"),
        (4, "Vorher", "measurement not known"),
    ]
    assert sheet.readings.select("moment", "value").rows() == [("found", 2.9)]


def test_columns_that_say_found_and_left_go_before_a_name_or_a_column_that_says_it():
    row = "2026-03-02 08:00,A1,final_inspection,JR,LARK-25,Saitenlage zuletzt,B,2.9,2.5,mm,gut,later"
    what = WORDS["what"] | {"Saitenlage zuletzt": "action left"}
    sheet = two(row, header=f"{TWO},When", headings=BOTH | {"When": "moment"}, what=what)
    assert sorted(sheet.readings.select("moment", "value").rows()) == [("found", 2.9), ("left", 2.5)]
    assert "'When' is not asked for found or left: 'Vorher' and 'Nachher' say it themselves" in sheet.notes


def test_a_single_column_may_say_that_its_values_are_what_was_left():
    sheet = read(row("08:00", "A1", "Saitenlage", "B", "2.5"), header=HEADER.replace("Value", "Value left"))
    assert sheet.readings["moment"].to_list() == ["left"]


def test_two_columns_of_values_that_say_the_same_are_refused():
    with pytest.raises(FileProblem, match="'Vorher' and 'Nachher' both mean value"):
        two(
            "2026-03-02 08:00,A1,final_inspection,JR,LARK-25,Saitenlage,B,2.9,2.5,mm,gut",
            headings=BOTH | {"Nachher": "value"},
        )


def test_a_row_that_repeats_an_earlier_one_to_the_letter_is_one_row():
    first = [row("08:00", "A1", "Saitenlage", "B", "2.5"), row("08:01", "A1", "Saitenlage", "D", "2.1")]
    sheet = read(
        *first, row("08:02", "A1", "Halskrümmung", "", "0.1"), *first[:1], row("08:09", "A2", *["A", "B", "1"])
    )
    assert sheet.visits["line"].to_list() == [2, 6]
    assert (sheet.readings.height, sheet.rows_read, sheet.rows_held) == (3, 5, 1)
    again = read(*first, row("08:03", "A1", "Saitenlage", "B", "2.5"))  # measured again, a moment later
    assert again.visits.height == 2
    by_day = [each.replace(" 08:00", "").replace(" 08:01", "") for each in first]
    assert read(*by_day, *by_day).visits.height == 2
