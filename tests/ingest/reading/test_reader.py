"""One log file to a sheet: what each row and cell becomes, and that nothing is unaccounted for."""

import io
from datetime import UTC, datetime

import polars as pl
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.reading.reader import Sheet, log_id, read_log
from ingest.reading.sheet import VISIT_ROWS
from ingest.reading.stamps import TWO_DAYS
from ingest.terms import tables
from ingest.terms.questions import FileProblem
from tests.ingest.small_shop import csv, small_shop

HEADER = (
    "serial,model,stage,tech,started_at,finished_at,minutes,outcome,fault,fault_at,sent_back_to,cause,relief,action "
    "bass (mm),intonation 1,note"
)
FIELDS = HEADER.split(",")


def row(**cells: str) -> str:
    usual = {
        "serial": "A1",
        "model": "LARK-25",
        "stage": "final_inspection",
        "tech": "T07",
        "started_at": "2026-03-02 08:00",
        "outcome": "pass",
    }
    given_cells = usual | {
        name.replace("_bass", " bass (mm)").replace("intonation_1", "intonation 1"): text
        for name, text in cells.items()
    }
    return ",".join(given_cells.get(name, "") for name in FIELDS)


def read(
    *rows: str,
    header: str = HEADER,
    name: str = "a.csv",
    limit: datetime | None = None,
    settled: pl.DataFrame | None = None,
    **log: object,
) -> Sheet:
    return read_log(csv(header, *rows), name, small_shop(**log), as_of_limit=limit, settled=settled)


def adds_up(sheet: Sheet) -> bool:
    whole = sheet.set_aside.filter(pl.col("column") == "")
    lines = sheet.visits["line"].n_unique() if sheet.visits.height else sheet.gauge_trials.height
    return (
        sheet.rows_read == lines + sheet.rows_set_aside
        and sheet.rows_set_aside == whole.height == whole["line"].n_unique()
        and sheet.cells_set_aside == sheet.set_aside.height - whole.height
        and not set(whole["line"]) & set(sheet.visits["line"])
    )


def whole_row(sheet: Sheet) -> tuple[str, str]:
    """Reason and wanted of the one row set aside."""
    ((reason, wanted),) = sheet.set_aside.filter(pl.col("column") == "").select("reason", "wanted").rows()
    return reason, wanted


def cell(sheet: Sheet) -> tuple[str, str, str, str]:
    """Column, raw, reason, wanted of the one cell set aside; the visit stays."""
    ((column, raw, reason, wanted),) = sheet.set_aside.select("column", "raw", "reason", "wanted").rows()
    assert sheet.visits.height == 1
    return column, raw, reason, wanted


def test_a_regular_row_becomes_a_visit_with_its_readings_and_faults():
    sheet = read(
        row(
            tech="JR",
            finished_at="2026-03-02 08:09",
            minutes="8.5",
            outcome="ok",
            fault="buzz open; high fret",
            fault_at="1;2 fret 7",
            sent_back_to="Nut slotting",
            cause="supplier",
            relief=".010",
            action_bass="2.4",
            intonation_1="+3",
            note="slot deep",
        )
    )
    visit = sheet.visits.row(0, named=True)
    assert list(sheet.visits.schema.items()) == list(VISIT_ROWS.items())
    wanted = {
        "line": 2,
        "serial": "A1",
        "model": "LARK-25",
        "stage": "final_inspection",
        "tech": "T07",
        "started_at": datetime(2026, 3, 2, 8, 0, tzinfo=UTC),
        "finished_at": datetime(2026, 3, 2, 8, 9, tzinfo=UTC),
        "time_known": True,
        "minutes": 8.5,
        "minutes_from": "typed",
        "outcome": "pass",
        "sent_back_to": "nut_slotting",
        "cause": "supplier",
        "note": "slot deep",
        "other": "",
        "ordinal": 0,
        "part": "",
    }
    assert {name: visit[name] for name in wanted} == wanted
    assert sheet.readings.select("characteristic", "position", "moment", "value", "raw", "unit", "flag").rows() == [
        ("relief", "", "found", 0.254, ".010", "in", ""),
        ("action", "bass", "found", 2.4, "2.4", "mm", ""),
        ("intonation", "1", "found", 3.0, "+3", "cents", ""),
    ]
    assert set(sheet.readings["taken_at"]) == {visit["finished_at"]}
    assert sheet.faults.select("line", "stage", "fault", "fault_at", "raw").rows() == [
        (2, "final_inspection", "open-string buzz", "1", "buzz open; high fret"),
        (2, "final_inspection", "high fret", "2 fret 7", "buzz open; high fret"),
    ]
    assert sheet.set_aside.is_empty()
    assert list(sheet.readings.schema.items()) == list(tables.READINGS.items())
    assert adds_up(sheet)


def test_the_log_id_is_the_start_of_the_files_sha_256():
    # FIPS 180-4 example: SHA-256 of 'abc' is ba7816bf 8f01cfea ...
    assert log_id(b"abc") == "ba7816bf8f01cfea"


@pytest.mark.parametrize(
    ("cells", "reason", "wanted"),
    [
        ({"serial": ""}, "no serial", "a part at receiving"),
        ({"serial": "1.2E+11"}, "serial damaged by a spreadsheet", "format the column as text"),
        ({"serial": '"'}, "ditto mark", "never copied"),
        ({"stage": ""}, "no stage", "the stage"),
        (
            {"stage": "final inspektion"},
            "stage 'final inspektion' is not known",
            'words = { stage = { "final inspektion" = "final_inspection" } }',
        ),
        ({"model": "LARK-26"}, "model 'LARK-26' is not known", 'key = "LARK-26"'),
        ({"outcome": "maybe"}, "outcome 'maybe' is not known", "send back"),
        ({"started_at": ""}, "no date", "the day"),
        (
            {"started_at": "31/02/2026"},
            "a time that cannot be read",
            "year-month-day and hour:minute under 'started_at'; found '31/02/2026'",
        ),
        ({"finished_at": "later"}, "a time that cannot be read", "found 'later'"),
        ({"started_at": "2026-03-29 01:30"}, "a time that does not exist", "Europe/Dublin"),
        ({"finished_at": "2026-03-02 07:59"}, "finished before started", "after the start"),
        ({"started_at": "08:15"}, "a time of day without a date", "a date"),
        ({"started_at": "2026-03-02 12:01"}, "the future", "2026-03-02 12:00 UTC"),
        ({"started_at": "2026-03-03"}, "the future", ""),
    ],
)
def test_a_row_without_its_keys_is_set_aside_whole(cells, reason, wanted):
    sheet = read(row(**cells), row(serial="A2", relief=".010"), limit=datetime(2026, 3, 2, 12, 0, tzinfo=UTC))
    got, said = whole_row(sheet)
    assert got == reason
    assert wanted in said
    assert sheet.visits["serial"].to_list() == ["A2"]
    assert set(sheet.readings["line"]) == {3}
    assert adds_up(sheet)


@pytest.mark.parametrize(
    ("cells", "column", "reason", "wanted"),
    [
        ({"relief": "soon"}, "relief", "cannot be read", "a length"),
        ({"relief": '"'}, "relief", "ditto mark", "never copied"),
        ({"relief": "9"}, "relief", "implausible", "-1 to 3 mm; read as 228.6 mm: is it real?"),
        ({"relief": "23468"}, "relief", "a date where a number was meant", "was 4/64 meant?"),
        ({"action_bass": "2.0/1.5"}, "action bass (mm)", "several numbers in a column for one", "bass/treble"),
        ({"minutes": "soon"}, "minutes", "cannot be read", "a number"),
        ({"minutes": "-5"}, "minutes", "implausible", "0 to 100000"),
        ({"sent_back_to": "nut"}, "sent_back_to", "sent_back_to is no stage of the shop", "nut_slotting"),
        ({"cause": "gremlins"}, "cause", "cause is no stage of the shop", "handling"),
        ({"tech": "do"}, "tech", "ditto mark", "never copied"),
    ],
)
def test_a_cell_that_cannot_be_read_or_believed_is_set_aside_and_its_visit_stays(cells, column, reason, wanted):
    sheet = read(row(**cells))
    got = cell(sheet)
    assert got[0] == column
    assert got[1] == next(iter(cells.values()))
    assert got[2] == reason
    assert wanted in got[3]
    assert sheet.readings.is_empty()
    assert adds_up(sheet)


def test_a_cell_that_somebody_has_said_is_real_is_kept_and_flagged():
    data = csv(HEADER, row(relief="9"), row(serial="A2", relief="9"))
    rows = [(1, datetime(2026, 3, 5, tzinfo=UTC), "MB", "measured twice", log_id(data), 2, "relief", "9", "it is real")]
    settled = pl.DataFrame(rows, schema=tables.SETTLED, orient="row")
    sheet = read_log(data, "a.csv", small_shop(), settled=settled)
    assert sheet.readings.select("line", "value", "flag").rows() == [(2, 228.6, "real")]
    assert sheet.set_aside["line"].to_list() == [3]


def test_a_number_without_a_unit_anywhere_is_a_question_and_a_fraction_is_inches():
    sheet = read(row(relief=".010"), row(serial="A2", relief="1/64"), units={})
    assert sheet.set_aside.select("line", "reason").rows() == [(2, "a number without a unit")]
    assert sheet.readings.select("line", "value", "unit").rows() == [(3, 0.396875, "in")]


def test_the_unit_of_the_heading_comes_before_that_of_the_sheet():
    sheet = read("A1,2026-03-02,packing,0.25", header="serial,date,stage,relief (mm)")
    assert sheet.readings["value"].to_list() == [0.25]


def test_found_and_left_are_two_readings_of_one_visit():
    sheet = read(row(relief=".012 -> .008"))
    assert sheet.readings.select("moment", "value").rows() == [("found", 0.3048), ("left", 0.2032)]


def test_a_class_is_a_reading_without_a_value():
    sheet = read(row(relief="BB"))
    assert sheet.readings.select("value", "raw", "flag").rows() == [(None, "BB", "class")]


def test_a_pair_and_a_list_fill_their_positions():
    sheet = read("A1,2026-03-02,packing,2.0/1.5,86 87 85 88", header="serial,date,stage,action treble/bass (mm),head")
    assert sheet.readings.select("characteristic", "position", "value").rows() == [
        ("action", "treble", 2.0),
        ("action", "bass", 1.5),
        ("head", "1", 86.0),
        ("head", "2", 87.0),
        ("head", "3", 85.0),
        ("head", "4", 88.0),
    ]


def test_marks_for_no_reading_are_counted_once_for_the_file():
    sheet = read(row(relief="-", intonation_1="n/a"), row(serial="A2", relief="ok"))
    assert "3 cells say that no reading was taken (-, n/a, ok or a tick)" in sheet.notes
    assert sheet.readings.is_empty()
    assert sheet.set_aside.is_empty()


def test_of_two_days_without_a_clock_the_later_counts_and_it_is_said():
    days = {"started_at": "2026-03-02", "relief": "0.2 mm"}
    sheet = read(row(**days, finished_at="2026-03-04"), row(**days, serial="A2", finished_at="2026-03-02"))
    assert sheet.visits["started_at"].dt.date().to_list() == [datetime(2026, 3, day).date() for day in (4, 2)]
    told = [note for note in sheet.notes if "two days" in note]
    assert told == [f"1 {TWO_DAYS}"]
    assert sheet.readings["taken_at"].to_list() == sheet.visits["started_at"].to_list()


def test_what_came_in_stands_on_its_own_day_where_a_row_has_two_and_no_clock():
    header = "serial,started_at,finished_at,relief (mm),relief left (mm),action bass (mm)"
    rows = ["A1,2026-03-02,2026-03-04,0.3,0.2,2.4", "A2,2026-03-02,2026-03-04,0.4 -> 0.1,,2.5"]
    sheet = read(*rows, "A3,2026-03-03,2026-03-03,0.3,0.2,2.6", header=header, stage="nut_slotting")
    when = pl.col("taken_at").dt.convert_time_zone("Europe/Dublin").dt.day()
    told = sheet.readings.select("serial", "characteristic", "value", "moment", when).sort("serial", "characteristic")
    assert told.filter(pl.col("characteristic") == "relief").sort("serial", "taken_at", "moment").rows() == [
        ("A1", "relief", 0.3, "found", 2),
        ("A1", "relief", 0.2, "left", 4),
        ("A2", "relief", 0.4, "found", 2),
        ("A2", "relief", 0.1, "left", 4),
        ("A3", "relief", 0.3, "found", 3),
        ("A3", "relief", 0.2, "left", 3),
    ]
    assert told.filter(pl.col("characteristic") == "action")["taken_at"].to_list() == [4, 4, 3]


def test_a_date_only_is_local_midnight_without_a_known_time_and_counted_in_the_file():
    day = row(started_at="2026-07-02")
    sheet = read(day, row(started_at="2026-07-02", relief="0.1"), row(started_at="2026-07-02", tech="T08"), row())
    assert sheet.visits.select("started_at", "finished_at", "time_known", "ordinal").rows() == [
        (datetime(2026, 7, 1, 23, tzinfo=UTC), None, False, 1),
        (datetime(2026, 7, 1, 23, tzinfo=UTC), None, False, 2),
        (datetime(2026, 7, 1, 23, tzinfo=UTC), None, False, 1),
        (datetime(2026, 3, 2, 8, tzinfo=UTC), None, True, 0),
    ]


def test_a_row_that_says_the_same_as_the_one_above_is_that_row_once_more():
    same, other = row(started_at="2026-07-02", relief="0.1"), row(started_at="2026-07-02", relief="0.2")
    assert read(same, same, other, same).visits["ordinal"].to_list() == [1, 1, 2, 3]
    assert read(same, "", same).visits["ordinal"].to_list() == [1, 2]  # not right below it
    parts = ["2026-07-02,receiving,HA-1,0.1"] * 2  # of many necks two may read alike
    assert read(*parts, header="date,stage,lot,relief").visits["ordinal"].to_list() == [1, 2]


def test_a_date_and_clocks_in_columns_of_their_own_are_put_together():
    sheet = read(
        "A1,02/07/2026,8:05,8:20,packing",
        "A2,02/07/2026,,,packing",
        header="serial,date,start,finish,stage",
        date_order="dmy",
    )
    assert sheet.visits.select("started_at", "finished_at", "time_known").rows() == [
        (datetime(2026, 7, 2, 7, 5, tzinfo=UTC), datetime(2026, 7, 2, 7, 20, tzinfo=UTC), True),
        (datetime(2026, 7, 1, 23, tzinfo=UTC), None, False),
    ]


def test_a_time_that_exists_twice_is_the_earlier_and_flagged():
    sheet = read(row(started_at="2026-10-25 01:30", relief=".010"))
    assert sheet.visits["started_at"].to_list() == [datetime(2026, 10, 25, 0, 30, tzinfo=UTC)]
    assert sheet.readings["flag"].to_list() == ["clock twice"]
    assert any("twice" in note for note in sheet.notes)


def test_no_visit_sends_back_to_its_own_stage():
    own = {"outcome": {"fail": "send back"}}
    rows = [row(serial=f"A{n}", outcome=word) for n, word in enumerate(["fail final inspection", "fail nut slotting"])]
    sheet = read(*rows, words=own)
    assert sheet.visits["stage"].to_list() == ["final_inspection"] * 2
    assert sheet.visits["outcome"].to_list() == ["send back"] * 2
    assert sheet.visits["sent_back_to"].to_list() == ["", "nut_slotting"]
    assert [note for note in sheet.notes if "sent back" in note] == [
        "outcome 'fail nut slotting' is read as sent back to nut_slotting"
    ]


def test_a_code_with_a_zero_too_many_is_said():
    sheet = read(row(serial="A1", tech="0204"), words={"outcome": {"ok": "pass"}, "tech": {"0204": "204"}})
    assert sheet.visits["tech"].to_list() == ["204"]
    assert "tech '0204' is read as '204'" in sheet.notes


def test_unlisted_techs_and_faults_are_kept_as_typed_and_asked_about_once():
    sheet = read(*[row(serial=f"A{n}", tech="Jo", fault="buzz opan") for n in range(300)])
    assert set(sheet.visits["tech"]) == {"Jo"}
    assert set(sheet.faults["fault"]) == {"buzz opan"}
    assert [note for note in sheet.notes if "'Jo'" in note] == [
        "tech 'Jo' is not listed; kept as typed. To list it: [[tech]] key = \"Jo\""
    ]
    (fault,) = [note for note in sheet.notes if "buzz opan" in note]
    assert "If it is 'open-string buzz', add \"buzz opan\" to its words" in fault


def test_two_names_in_one_cell_are_looked_up_one_by_one():
    assert read(row(tech="JR/AO")).visits["tech"].to_list() == ["T07/T08"]


def test_unknown_headings_are_kept_as_json_and_empty_cells_are_not():
    sheet = read(
        "A1,2026-03-02,packing,red,",
        "A2,2026-03-02,packing,,",
        'A3,2026-03-02,packing,"a ""b""",é',
        header="serial,date,stage,Colour,Shelf",
    )
    assert sheet.visits["other"].to_list() == ['{"Colour":"red"}', "", '{"Colour":"a \\"b\\"","Shelf":"é"}']
    assert sum("Colour" in note for note in sheet.notes) == 1


def test_a_part_at_receiving_has_a_lot_in_place_of_a_serial():
    shop_rows = ["N-17,L9,2026-03-02,0.1,0.2", "N-18,L9,2026-03-02,0.1,0.2", ",,2026-03-02,0.1,0.2"]
    sheet = read(*shop_rows, header="neck,lot,date,neck_bow bass (mm),neck_bow treble (mm)", stage="receiving")
    assert sheet.visits.select("serial", "part", "neck", "lot", "ordinal").rows() == [
        ("", "L9/N-17", "N-17", "L9", 1),
        ("", "L9/N-18", "N-18", "L9", 1),
    ]
    assert whole_row(sheet)[0] == "no serial"
    assert adds_up(sheet)


def test_the_gauge_of_a_row_belongs_to_what_it_can_measure():
    sheet = read("A1,2026-03-02,packing,feeler,.010,2.4", header="serial,date,stage,gauge,relief,action bass")
    assert sheet.readings.select("characteristic", "gauge").rows() == [("relief", "leaves"), ("action", "")]


def test_serials_that_look_alike_or_were_shortened_and_instruments_in_two_places_are_listed():
    rows = [row(serial=f"{n:06d}") for n in range(30)] + [row(serial="31"), row(serial="AO1"), row(serial="A01")]
    rows += [
        row(serial="B1", finished_at="2026-03-02 09:00"),
        row(serial="B1", stage="packing", started_at="2026-03-02 08:30", finished_at="2026-03-02 08:40"),
    ]
    notes = " ".join(read(*rows).notes)
    assert "look alike" in notes
    assert "A01 / AO1" in notes
    assert "may have lost zeros in a spreadsheet (6 digits are usual): 31" in notes
    assert "one serial at two stages at once: B1 (final_inspection and packing" in notes


def test_the_usual_length_of_a_serial_is_that_of_most_and_what_has_more_about_it_is_named():
    notes = " ".join(
        read(*(row(serial=f"1{n:04d}") for n in range(60)), row(serial="#10061"), row(serial="010062")).notes
    )
    assert "lost zeros" not in notes
    assert "more about them than the usual 5 digits, each taken for an instrument of its own: #10061, 010062" in notes
    notes = " ".join(read(*(row(serial=f"1{n:04d}") for n in range(60)), row(serial="123")).notes)
    assert "may have lost zeros in a spreadsheet (5 digits are usual): 123" in notes


def test_a_year_long_past_and_a_letter_in_a_number_are_said_as_what_they_are():
    sheet = read(row(started_at="1926-09-21"), row(serial="A2", relief="1.7O"), row(serial="A3", relief="1.7l"))
    asked = dict(sheet.set_aside.select("raw", "wanted").iter_rows())
    assert next(iter(asked.values())) == "a year from 1970 to 2099 under 'started_at'; found '1926-09-21'"
    assert asked["1.7O"] == "figures alone: a letter O for a nought?"
    assert asked["1.7l"] == "figures alone: a letter L for a one?"


def test_numbers_that_would_be_plausible_in_another_unit_are_asked_about_once():
    rows = [row(serial=f"A{n}", action_bass=text) for n, text in enumerate(["0.094"] * 4 + ["0.083", "2.4", "17"])]
    sheet = read(*rows)
    assert [note for note in sheet.notes if "plausible inches" in note] == [
        "5 cells are no plausible millimetres and would be plausible inches, or the other way round; were they read "
        "so? Then write the unit behind the number"
    ]
    assert sheet.cells_set_aside == 6
    assert not [note for note in read(*rows[1:]).notes if "inches" in note]


def test_an_empty_outcome_is_what_the_sheet_says():
    assert read(row(outcome="")).visits["outcome"].to_list() == ["open"]
    assert read(row(outcome=""), empty_outcome="pass").visits["outcome"].to_list() == ["pass"]


def test_a_sheet_without_models_in_a_shop_of_one_model_tells_of_that_model():
    rows = csv("serial,date,stage", "A1,2026-03-02,packing")
    shop = small_shop()
    one = shop.model_copy(update={"models": shop.models[:1]})
    assert read_log(rows, "a.csv", one).visits["model"].to_list() == ["LARK-25"]
    assert read_log(rows, "a.csv", shop).visits["model"].to_list() == [""]


def test_an_empty_model_in_a_shop_of_one_model_is_that_model():
    models = {"A1": "", "A2": "-", "A3": "L25", "A4": "X9"}
    rows = csv("serial,date,stage,model", *(f"{serial},2026-03-02,packing,{model}" for serial, model in models.items()))
    shop = small_shop()
    sheet = read_log(rows, "a.csv", shop.model_copy(update={"models": shop.models[:1]}))
    assert sheet.visits.select("serial", "model").rows() == [("A1", "LARK-25"), ("A2", "LARK-25"), ("A3", "LARK-25")]
    assert whole_row(sheet)[0] == "model 'X9' is not known"
    assert read_log(rows, "a.csv", shop).visits["model"].to_list() == ["", "", "LARK-25"]


def test_a_heading_may_be_a_bare_number():
    own = {"0": "intonation 1 fret 0", "12": "intonation 1 fret 12"}
    sheet = read("A1,2026-03-02,packing,1,+2,9", header="serial,date,stage,0,12,13", headings=own)
    assert sheet.readings.select("position", "value").rows() == [("1 fret 0", 1.0), ("1 fret 12", 2.0)]
    assert sheet.visits["other"].to_list() == ['{"13":"9"}']


def test_a_sheet_of_one_stage_needs_no_stage_column():
    sheet = read("A1,2026-03-02", header="serial,date", stage="packing")
    assert sheet.visits["stage"].to_list() == ["packing"]


@pytest.mark.parametrize(
    ("header", "name", "words"),
    [
        ("model,started_at,stage", "a.csv", "serial"),
        ("serial,model,stage", "a.csv", "date"),
        ("serial,date", "a.csv", "no stage column"),
        ("serial,date,stage,S/N", "a.csv", "both mean serial"),
        ("serial,date,stage", "a.txt", "no [[log]] of shop.toml matches"),
    ],
)
def test_a_file_that_is_no_log_is_refused_in_one_line(header, name, words):
    with pytest.raises(FileProblem) as problem:
        read("1,2,3,4", header=header, name=name)
    assert words in str(problem.value)
    assert str(problem.value).startswith(f"{name}: ")
    assert "\n" not in str(problem.value)


INSTRUMENT = "Serial,Model,Date,Nut tech,Nut bass,Relief,Action B,Result"
MAPPED = {
    "Nut tech": "tech @ nut_slotting",
    "Nut bass": "action bass @ nut_slotting (mm)",
    "Relief": "relief @ final_inspection (in)",
    "Action B": "action bass @ final_inspection (mm)",
    "Result": "outcome @ final_inspection",
}


def test_a_row_an_instrument_gives_a_visit_for_each_stage_with_a_value():
    sheet = read(
        "A1,LARK-25,2026-03-02 14:00,JR,0.6,.010,2.4,pass",
        "A2,LARK-25,2026-03-02,,,.010,x,pass",
        "A3,LARK-25,2026-03-02,,,,,",
        "A4,LARK-25,,JR,,,,",
        "A5,LARK-99,2026-03-02,JR,0.6,.010,,",
        header=INSTRUMENT,
        shape="instrument",
        headings=MAPPED,
        empty_outcome="pass",
    )
    assert sheet.visits.select("line", "serial", "stage", "tech", "time_known", "outcome").sort("line").rows() == [
        (2, "A1", "nut_slotting", "T07", False, "pass"),
        (2, "A1", "final_inspection", "", False, "pass"),
        (3, "A2", "final_inspection", "", False, "pass"),
    ]
    assert sheet.readings.select("line", "stage", "characteristic", "value").sort(
        "line", "stage", "characteristic"
    ).rows() == [
        (2, "final_inspection", "action", 2.4),
        (2, "final_inspection", "relief", 0.254),
        (2, "nut_slotting", "action", 0.6),
        (3, "final_inspection", "relief", 0.254),
    ]
    reasons = dict(sheet.set_aside.select("line", "reason").rows())
    assert reasons == {3: "cannot be read", 4: "no value at any stage", 5: "no date", 6: "model 'LARK-99' is not known"}
    assert adds_up(sheet)


def test_a_stages_own_date_counts_in_an_instrument_sheet():
    sheet = read(
        "A1,2026-03-02,2026-03-03 09:00,.010",
        header="serial,date,finished_at @ final_inspection,relief @ final_inspection (in)",
        shape="instrument",
    )
    assert sheet.visits.select("stage", "finished_at", "time_known").rows() == [
        ("final_inspection", datetime(2026, 3, 3, 9, tzinfo=UTC), True)
    ]


def test_an_empty_day_of_one_stage_loses_neither_its_readings_nor_the_row():
    header = "serial,model,date @ nut_slotting,relief @ nut_slotting (mm),date @ play_test,tech @ play_test,"
    header += "date @ final_inspection,relief @ final_inspection (mm)"
    lines = [
        "A1,LARK-40,,0.4,2026-03-03,T07,2026-03-04,0.2",
        "A2,LARK-40,2026-03-02 09:15,0.4,,T07,2026-03-04,0.2",
        "A3,LARK-40,2026-03-02,0.4,2026-03-03,T07,,0.2",
        "A4,LARK-40,,0.4,,T07,,0.2",
    ]
    sheet = read(*lines, header=header, shape="instrument")
    days = {
        (serial, stage): at.date().isoformat()
        for serial, stage, at in sheet.visits.select("serial", "stage", "finished_at").iter_rows()
        if at is not None
    } | {
        (serial, stage): at.date().isoformat()
        for serial, stage, at in sheet.visits.select("serial", "stage", "started_at").iter_rows()
        if at is not None
    }
    assert days["A1", "nut_slotting"] == "2026-03-03"  # none before it has one: that of the next
    assert days["A2", "play_test"] == "2026-03-02"
    assert days["A3", "final_inspection"] == "2026-03-03"
    assert not sheet.visits.filter((pl.col("serial") == "A2") & (pl.col("stage") == "play_test"))["time_known"].any()
    assert sheet.readings.height == 6
    assert sheet.set_aside["line"].to_list() == [5]  # no day at all
    said = "1 rows have no day under 'date @ play_test': they stand on that of the stage before or after"
    assert said in sheet.notes


def test_a_changed_cell_of_one_stage_leaves_the_other_visits_of_an_instrument_row_as_they_were():
    header = "serial,model,date,tech,relief,relief @ nut_slotting,tech @ nut_slotting,note"

    def hashes(line: str) -> dict[str, int]:
        sheet = read(line, header=header, shape="instrument", stage="final_inspection", units={"relief": "mm"})
        return dict(sheet.visits.select("stage", "text_hash").iter_rows())

    before = hashes("A1,LARK-25,2026-03-02,T07,0.2,0.3,T08,dull")
    changed = {
        "nut_slotting": [
            hashes("A1,LARK-25,2026-03-02,T07,0.2,0.4,T08,dull"),
            hashes("A1,LARK-25,2026-03-02,T07,0.2,0.3,T09,dull"),
        ],
        "final_inspection": [
            hashes("A1,LARK-25,2026-03-02,T07,0.1,0.3,T08,dull"),
            hashes("A1,LARK-25,2026-03-02,T08,0.2,0.3,T08,dull"),
        ],
    }
    for stage, others in changed.items():
        for after in others:
            assert {name for name in before if before[name] != after[name]} == {stage}
    whole_instrument = hashes("A1,LARK-40,2026-03-02,T07,0.2,0.3,T08,dull")
    assert {name for name in before if before[name] != whole_instrument[name]} == {"nut_slotting", "final_inspection"}


def test_a_gauge_study_gives_trials_in_canonical_units():
    sheet = read(
        "S1,relief,P1,JR,1,.010,in",
        "S1,relief,P1,JR,2,10,thou",
        "S1,relief,P1,JR,3,0.254,",
        "S1,bend,P1,JR,1,1,mm",
        "S1,relief,P1,,1,1,mm",
        "S1,relief,P1,JR,1,x,mm",
        header="study,characteristic,part,tech,trial,value,unit",
        shape="study",
        units={"relief": "mm"},
    )
    assert sheet.gauge_trials.select("line", "tech", "trial", "value", "unit").rows() == [
        (2, "T07", "1", 0.254, "in"),
        (3, "T07", "2", 0.254, "thou"),
        (4, "T07", "3", 0.254, "mm"),
    ]
    assert sheet.set_aside.select("line", "reason").rows() == [
        (5, "characteristic not known"),
        (6, "no tech"),
        (7, "cannot be read"),
    ]
    assert list(sheet.gauge_trials.schema.items()) == list(tables.GAUGE_TRIALS.items())
    assert adds_up(sheet)


def test_the_position_of_a_study_belongs_to_its_part():
    sheet = read(
        "S1,action bass,,P1,JR,1,2.4",
        "S1,action,treble,P1,JR,1,2.1",
        "S1,Action,,P2,JR,1,2.1",
        header="study,characteristic,position,part,tech,trial,value",
        shape="study",
    )
    assert sheet.gauge_trials.select("characteristic", "part", "value").rows() == [
        ("action", "P1 bass", 2.4),
        ("action", "P1 treble", 2.1),
        ("action", "P2", 2.1),
    ]


def test_the_text_hash_minds_neither_column_order_nor_separator_and_sees_every_cell():
    one = read("A1,2026-03-02,packing,x", header="serial,date,stage,note").visits["text_hash"][0]
    assert read("x;packing;2026-03-02;A1", header="note;stage;date;serial").visits["text_hash"][0] == one
    assert read("A1,2026-03-02,packing,y", header="serial,date,stage,note").visits["text_hash"][0] != one


def test_a_workbook_is_read_like_a_csv_file():
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    sheet = book.add_worksheet("March")
    day = book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
    sheet.write_row(0, 0, ["Bench cards, March"])
    sheet.write_row(2, 0, ["Serial", "Started", "Stage", "Relief"])
    sheet.write_row(3, 0, ["A1", "", "packing", 0.01])
    sheet.write_datetime(3, 1, datetime(2026, 3, 2, 8, 15), day)
    book.close()
    read_sheet = read_log(out.getvalue(), "a.xlsx", small_shop(files="*.xlsx"))
    assert read_sheet.visits.select("line", "serial", "started_at").rows() == [
        (4, "A1", datetime(2026, 3, 2, 8, 15, tzinfo=UTC))
    ]
    assert read_sheet.readings["value"].to_list() == [0.254]


CELLS = {
    "serial": ["A1", "A2", "", "1.2E+11", '"'],
    "model": ["LARK-25", "", "L25", "LARK-99"],
    "stage": ["final_inspection", "Final inspection", "fin", ""],
    "tech": ["T07", "JR", "JR/AO", "Jo", "do"],
    "started_at": ["2026-03-02 08:00", "2026-03-02", "31/02/2026", "2026-03-29 01:30", "", "2026-10-25 01:30"],
    "finished_at": ["", "2026-03-02 08:10", "2026-03-02 07:00", "soon"],
    "minutes": ["", "5", "x"],
    "outcome": ["pass", "ok", "", "maybe"],
    "fault": ["", "buzz open;high fret", "-", "odd; ;x"],
    "fault_at": ["", "1;2", "3"],
    "sent_back_to": ["", "nut_slotting", "nut"],
    "cause": ["", "unknown", "?"],
    "relief": [".010", "4/64", "BB", "", "-", "9", ".012 -> .008", "1,5"],
    "action bass (mm)": ["2.4", "5/64", "soon"],
    "intonation 1": ["+3", "441 Hz / 440", '"'],
    "note": ["", "a, b", "x"],
}
ROWS = st.lists(st.tuples(*(st.sampled_from(CELLS[name]) for name in FIELDS)), min_size=1, max_size=12)
DAMAGE = st.one_of(
    st.none(), st.tuples(st.integers(0, 2000), st.sampled_from(['"', ",", "\n", "\x00", "é", "x", "", ";"]))
)


@pytest.mark.long
@given(ROWS, st.lists(DAMAGE, max_size=4))
def test_every_row_of_a_damaged_log_is_accounted_for(rows, damage):
    text = pl.DataFrame(rows, schema=FIELDS, orient="row").write_csv()
    head = len(text.split("\n", 1)[0]) + 1
    for hit in damage:
        if hit:
            place = head + hit[0] % max(1, len(text) - head)
            text = text[:place] + hit[1] + text[place + 1 :]
    sheet = read_log(text.encode(), "a.csv", small_shop())
    assert adds_up(sheet)
    assert sheet.readings.filter(pl.col("value").is_null() & ~pl.col("flag").str.contains("class")).is_empty()
    keys = ["log_id", "line", "stage"]
    for frame in (sheet.readings, sheet.faults):
        assert frame.join(sheet.visits, on=keys, how="anti").is_empty()
    if '"' not in text:
        assert sheet.rows_read + sheet.passed_over == len(text.rstrip("\n").split("\n")) - 1 + text.endswith("\n\n")


@pytest.mark.long
@settings(max_examples=25)
@given(ROWS)
def test_a_log_reads_the_same_row_by_row_and_all_at_once(rows):
    def facts(sheet: Sheet) -> list[tuple[object, ...]]:
        visits = sheet.visits.drop("log_id", "line", "ordinal").rows()
        return [
            *visits,
            *sheet.readings.drop("log_id", "line").sort(pl.all()).rows(),
            *sheet.faults.drop("log_id", "line").rows(),
        ]

    def log(some: list[tuple[str, ...]]) -> bytes:
        return pl.DataFrame(some, schema=FIELDS, orient="row").write_csv().encode()

    whole = read_log(log(rows), "a.csv", small_shop())
    single = [read_log(log([each]), "a.csv", small_shop()) for each in rows]
    assert sorted(map(repr, facts(whole))) == sorted(repr(fact) for sheet in single for fact in facts(sheet))
    assert whole.cells_set_aside == sum(sheet.cells_set_aside for sheet in single)


def test_a_remark_behind_an_outcome_leaves_the_row_and_its_readings():
    rows = ["A1,2026-03-02,final_inspection,pass - see note,0.1", "A2,2026-03-02,final_inspection,pass (then hold),0.1"]
    read = read_log(csv("serial,date,stage,outcome,relief (mm)", *rows), "a.csv", small_shop())
    assert read.visits.select("serial", "outcome").rows() == [("A1", "pass")]
    assert read.readings.height == 1
    assert "outcome 'pass - see note' is read as 'pass'" in read.notes
    assert read.set_aside["reason"].to_list() == ["outcome 'pass (then hold)' is not known"]


def test_a_heading_that_nothing_comes_near_is_never_said_to_be_a_note():
    read = read_log(csv("serial,date,stage,Zq7", "A1,2026-03-02,final_inspection,4.1"), "a.csv", small_shop())
    (note,) = [note for note in read.notes if "Zq7" in note]
    assert '"note"' not in note
    assert 'ignore = ["Zq7"]' in note


@pytest.mark.parametrize(
    ("unit", "texts", "inches"),
    [
        (
            "thou",
            [".003", "3", "0.012", "1.5", "-.004", ".5", "2 1/2"],
            [0.003, 0.003, 0.012, 0.0015, -0.004, 0.0005, 0.0025],
        ),
        ("64ths", ["6", ".078", "5½", ".5"], [6 / 64, 0.078, 5.5 / 64, 0.5 / 64]),
        ("1/100 mm", ["12", ".05", ".05 mm"], [0.12 / 25.4, 0.05 / 25.4, 0.05 / 25.4]),
    ],
)
def test_so_small_a_part_of_a_counted_unit_is_the_larger_unit_and_it_is_said(unit, texts, inches):
    rows = [f"A{n},2026-03-02,packing,{text}" for n, text in enumerate(texts)]
    sheet = read(*rows, header=f"serial,date,stage,relief ({unit})")
    assert sheet.readings["value"].to_list() == pytest.approx([each * 25.4 for each in inches], abs=1e-8)
    assert any("are read in the larger one" in note for note in sheet.notes)


def test_between_a_tenth_and_a_half_of_a_counted_unit_is_asked():
    rows = [f"A{n},2026-03-02,packing,{text}" for n, text in enumerate([".125", "0.2", "8", ".125 thou", "0"])]
    sheet = read(*rows, header="serial,date,stage,relief (thou)")
    assert sheet.set_aside.select("line", "reason").rows() == [
        (2, "less than half of thou"),
        (3, "less than half of thou"),
    ]
    assert sheet.readings["value"].to_list() == pytest.approx([0.2032, 0.003175, 0])


@pytest.mark.parametrize("quoted", [False, True], ids=["regular", "careful"])
def test_units_below_the_headings_and_a_count_of_the_rows_are_passed_over(quoted):
    header = "serial,date,stage,relief,head 1,note"
    note = '"a b"' if quoted else "a b"
    rows = [f"A{n},2026-03-0{n},packing,0.0{n},{n - 3},{note}" for n in range(1, 8)]
    hints = [",yyyy-mm-dd,,thou,cent,"]
    sheet = read(*hints, *rows, "Lines: 7,,,,,", "Zeilen,8,,,,", header=header)
    assert (sheet.rows_read, sheet.passed_over, sheet.set_aside.height) == (7, 3, 0)
    other = read(*rows, "Lines,,88,,,", "A9,,packing,0.03,1,", header=header)  # another number; a row without its day
    assert other.set_aside["line"].to_list() == [9, 10]


def test_hints_below_the_headings_are_no_row_though_a_digit_stands_where_the_day_does_nor_when_a_page_repeats_them():
    header = "row,stamp,serial,stage,tech,corrects"
    rows = [f"{n},2026-03-{n:02d} 08:00,A{n},packing,T08," for n in range(1, 15)]
    page = [header, "#,ISO 8601,,bench,login,row #"]  # nothing is corrected in the first rows
    log = {"headings": {"row": "other", "stamp": "finished_at", "corrects": "other"}}
    sheet = read(page[1], *rows[:12], *page, *rows[12:], header=header, **log)
    assert (sheet.rows_read, sheet.passed_over, sheet.set_aside.height) == (14, 3, 0)
    day = read("#,5 Mar 26,A9,packing,T08,row #", *rows, header=header, **log)  # a row with its day is a row
    assert day.rows_read == 15


@pytest.mark.parametrize(
    "line", ["wk of Jan 5", "Week of 5 January", "Total guitars: 178", "Totale strumenti 12", "KW 12"]
)
def test_a_title_over_some_rows_or_their_total_is_passed_over(line):
    sheet = read(line, "A1,2026-03-02,packing,0.1", line, header="serial,date,stage,relief (mm)")
    assert (sheet.rows_read, sheet.passed_over) == (1, 2)


def test_headings_go_on_below_though_the_first_row_of_them_could_stand_alone():
    top = "No.,Recd,Lot,Bench,,Remarks"
    under = ",,,Date,Relief,"
    shop = small_shop(
        shape="instrument",
        headings={
            "No.": "serial",
            "Recd": "date @ receiving",
            "Bench Date": "date @ packing",
            "Bench Relief": "relief (mm) @ packing",
        },
    )
    sheet = read_log(csv(top, under, "A1,2026-03-01,L1,2026-03-02,0.1,"), "bench.csv", shop)
    assert sheet.readings.select("stage", "value").rows() == [("packing", 0.1)]
    assert (sheet.rows_read, sheet.rows_set_aside) == (1, 0)


def test_a_sheet_of_one_person_says_whose_its_rows_are():
    header = "serial,date,stage,relief (mm)"
    sheet = read("A1,2026-03-02,packing,0.1", header=header, tech="J.R.")
    assert sheet.visits["tech"].to_list() == ["T07"]
    sheet = read("A1,2026-03-02,packing,0.1,AO", "A2,2026-03-02,packing,0.1,", header=f"{header},tech", tech="J.R.")
    assert sheet.visits["tech"].to_list() == ["T08", ""]  # a column of their own says it
    wide = {"Neck by": "tech @ nut_slotting", "Neck": "relief (mm) @ nut_slotting", "Out": "date @ packing"}
    shop = small_shop(shape="instrument", headings=wide, tech="AO")
    sheet = read_log(csv("serial,Neck,Out", "A1,0.1,2026-03-02"), "a.csv", shop)
    assert set(sheet.visits["tech"]) == {"T08"}
    sheet = read_log(csv("serial,Neck by,Neck,Out", "A1,JR,0.1,2026-03-02"), "a.csv", shop)
    assert dict(sheet.visits.select("stage", "tech").iter_rows()) == {"nut_slotting": "T07", "packing": ""}


def test_a_first_and_a_second_fault_have_a_column_each():
    header = "serial,date,stage,D1,D2"
    named = {"D1": "fault", "D2": "fault"}
    rows = ["A1,2026-03-02,packing,high fret,buzz open", "A2,2026-03-02,packing,,high fret", "A3,2026-03-02,packing,,"]
    sheet = read(*rows, header=header, headings=named)
    assert sheet.faults.select("serial", "fault").rows() == [
        ("A1", "high fret"),
        ("A1", "open-string buzz"),
        ("A2", "high fret"),
    ]
