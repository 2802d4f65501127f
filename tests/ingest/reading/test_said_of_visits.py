"""Rows of a measurement-a-row sheet that say the result of a visit, its fault, a note or where it went back to."""

from ingest.reading.reader import read_log
from tests.ingest.small_shop import csv, small_shop

HEADER = "Time,Serial,Bench,Who,Model,What,Side,Value"
HEADINGS = {"Time": "started_at", "Bench": "stage", "Who": "tech", "Side": "position"}
WORDS = {
    "what": {"judged": "outcome", "Mangel": "fault"},
    "outcome": {"good": "pass", "bad": "send back", "bad:nut": "send back", "bad - slots": "send back"},
    "stage": {"nut": "nut_slotting", "slots": "nut_slotting"},
}


def read(*rows, header=HEADER, headings=HEADINGS, words=WORDS):
    log = csv(header, *(f"2026-03-02 {each}" for each in rows))
    return read_log(log, "m.csv", small_shop(shape="measurement", headings=headings, words=words))


def row(at, serial, what, value, side=""):
    return f"{at},{serial},final_inspection,JR,LARK-25,{what},{side},{value}"


def test_a_row_that_says_the_result_is_the_outcome_of_its_visit_and_no_measurement():
    sheet = read(
        row("08:00", "A1", "relief", "0.01"),
        row("08:01", "A1", "judged", "bad"),
        row("08:01", "A1", "sent back to", "nut"),
        row("08:02", "A1", "Mangel", "buzz open", "3 fret 7"),
        row("08:02", "A1", "remark", "twice"),
        row("09:00", "A2", "judged", "good"),
    )
    told = sheet.visits.select("line", "serial", "outcome", "sent_back_to", "note").rows()
    assert told == [(2, "A1", "send back", "nut_slotting", "twice"), (7, "A2", "pass", "", "")]
    assert sheet.faults.select("line", "fault", "fault_at").rows() == [(2, "open-string buzz", "3 fret 7")]
    assert sheet.readings.select("serial", "characteristic").rows() == [("A1", "relief")]
    assert (sheet.rows_read, sheet.rows_set_aside, sheet.cells_set_aside) == (6, 0, 0)
    assert {"outcome", "fault", "sent_back_to"} <= {*sheet.columns["field"]}


def test_a_result_stands_with_what_was_measured_last_before_it():
    sheet = read(
        row("08:00", "A1", "relief", "0.02"),
        row("08:01", "A1", "judged", "bad"),
        row("08:20", "A1", "relief", "0.01"),
        row("08:21", "A1", "judged", "good"),
    )
    assert sheet.visits.select("line", "outcome").rows() == [(2, "send back"), (4, "pass")]


def test_an_outcome_may_say_behind_its_sign_where_it_went_back_to():
    sheet = read(
        row("08:00", "A1", "judged", "bad:nut"),
        row("08:00", "A2", "judged", "bad - slots"),
        row("08:00", "A3", "judged", "bad"),
        row("08:00", "A4", "judged", "good"),
    )
    assert sheet.visits["sent_back_to"].to_list() == ["nut_slotting", "nut_slotting", "", ""]
    assert "outcome 'bad:nut' is read as sent back to nut_slotting" in sheet.notes


def test_a_column_for_the_place_goes_before_the_words_of_the_outcome():
    header, headings = "Time,Serial,Bench,Result,Back to", {"Time": "started_at", "Bench": "stage"}
    shop = small_shop(headings=headings, words=WORDS)
    rows = ("2026-03-02 08:00,A1,play_test,bad:nut,receiving", "2026-03-02 08:00,A2,play_test,bad:nut,")
    assert read_log(csv(header, *rows), "v.csv", shop).visits["sent_back_to"].to_list() == ["receiving", "nut_slotting"]


def test_a_result_nobody_has_explained_is_asked_about_with_its_visit():
    sheet = read(row("08:00", "A1", "relief", "0.01"), row("08:01", "A1", "judged", "so so"))
    assert (sheet.visits.height, sheet.readings.height) == (0, 0)
    assert sheet.set_aside.select("line", "reason").rows() == [
        (2, "outcome 'so so' is not known"),
        (3, "outcome 'so so' is not known"),
    ]


def test_a_row_may_say_the_lot_and_the_supplier_of_its_instrument():
    words = WORDS | {"what": {**WORDS["what"], "Charge": "lot"}}
    sheet = read(
        row("08:00", "A1", "relief", "0.01"),
        row("08:00", "A1", "Charge", "NL-31"),
        row("08:01", "A1", "supplier", "Elm"),
        row("09:00", "A2", "neck lot", "NL-32"),
        words=words,
    )
    assert sheet.visits.select("serial", "lot", "supplier").rows() == [("A1", "NL-31", "Elm"), ("A2", "NL-32", "")]
    assert sheet.cells_set_aside == 0
