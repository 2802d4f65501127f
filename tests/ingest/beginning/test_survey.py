"""What an unknown sheet holds: its shape, its words, the order of its benches, files that are of one kind."""

import pytest

from ingest.beginning.answers import checked_answers, said_of
from ingest.beginning.of_one_kind import together
from ingest.beginning.parts_of_shop import people
from ingest.beginning.raw_tables import RawTable
from ingest.beginning.survey import survey_of
from ingest.terms.questions import FileProblem

DAYS = [f"2026-03-{day:02d}" for day in range(2, 14)]
BASE = {"Serial": [f"A{n}" for n in range(12)], "Date": DAYS}


def look(columns, *, name="a.csv", tab="", **log):
    said = checked_answers({"log": [log]} if log else {})
    table = RawTable(tab, tuple(columns), tuple(tuple(cells) for cells in columns.values()))
    return survey_of(name, table, said_of(said, name, tab))


def fields(seen):
    return {column.heading: column.guess.field if column.guess.taken else "" for column in seen.columns}


def test_a_sheet_without_days_or_serials_is_one_line():
    with pytest.raises(FileProblem, match=r"a\.csv: no column holds dates"):
        look({"Serial": BASE["Serial"], "Note": ["x y z"] * 12})
    with pytest.raises(FileProblem, match=r"a\.csv, tab March: no column could be the serial"):
        look({"Date": DAYS, "Note": ["x y z"] * 12}, tab="March")
    assert fields(look({"Lot": ["L1"] * 12, "Date": DAYS}))["Lot"] == "lot"


@pytest.mark.parametrize(
    ("columns", "shape"),
    [
        ({"Relief (mm)": ["0.1"] * 12}, "visit"),
        ({"Stage": ["final"] * 12, "Nut tech": ["JR"] * 12}, "visit"),
        ({"Nut slotting tech": ["JR"] * 12, "Final tech": ["AO"] * 12}, "instrument"),
        ({"What": ["relief"] * 12, "Reading": ["0.1"] * 12}, "measurement"),
    ],
)
def test_the_shape_of_a_sheet_is_told_by_its_columns(columns, shape):
    assert look(BASE | columns).shape == shape


def test_samples_are_five_different_cells_and_empty_ones_are_not_counted():
    seen = look(
        BASE | {"Note": ["a note", "", "a note", " ", "bb note", "c note", "d note", "e note", "f note", "", "", ""]}
    )
    note = seen.column("note")
    assert (note.filled, note.samples) == (7, ("a note", "bb note", "c note", "d note", "e note"))
    assert (seen.rows, seen.title) == (12, "a.csv")
    assert seen.rows_a_serial() == 1
    twice = look({"Serial": ["A1", "A2", "A3"] * 4, "Date": DAYS})
    assert twice.rows_a_serial() == 4


def test_words_are_counted_over_all_columns_of_a_field_but_for_those_that_say_nothing():
    seen = look(BASE | {"Result": ["ok"] * 7 + ["fail"] * 2 + ["-", "n/a", ""]})
    assert dict(seen.words("outcome")) == {"ok": 7, "fail": 2}
    assert dict(seen.words("fault")) == {}


def test_benches_stand_in_the_order_in_which_instruments_meet_them():
    routes = {"A": "nut final", "B": "rod nut final", "C": "rod nut nut final", "D": "rod final"}
    serial = [who for who, way in routes.items() for _ in way.split()] + ["E"]
    stage = [where for way in routes.values() for where in way.split()] + [""]
    seen = look({"Serial": serial, "Stage": stage, "Date": [DAYS[0]] * len(serial)})
    assert seen.stage_order() == ["rod", "nut", "final"]
    assert look(BASE).stage_order() == []


def test_one_meaning_is_one_columns_the_surest_or_the_first():
    seen = look(BASE | {"Day": DAYS, "Relief (mm)": ["0.1"] * 12, "Relief zzz (mm)": ["0.2"] * 12})
    assert fields(seen)["Date"] == "date"
    assert fields(seen)["Day"] in ("", "other")
    assert (fields(seen)["Relief (mm)"], fields(seen)["Relief zzz (mm)"]) == ("reading", "")
    both = look(BASE | {"Relief mm": ["0.1"] * 12, "Relief (mm)": ["0.2"] * 12})
    assert [c.guess.level for c in both.columns if c.heading.startswith("Relief")] == ["unsure", "unsure"]
    sides = look(BASE | {"Action bass (mm)": ["2.4"] * 12, "Action treble (mm)": ["1.8"] * 12})
    assert len(sides.measures()) == 2
    again = look(BASE | {"Action b/t (mm)": ["2.4/1.8"] * 12, "Action treble (mm)": ["1.8"] * 12})
    assert len(again.measures()) == 0  # the treble side twice, as surely
    moments = look(BASE | {"Relief in (mm)": ["0.3"] * 12, "Relief out (mm)": ["0.1"] * 12})
    assert len(moments.measures()) == 2


def test_a_word_of_single_measurements_says_nothing_where_a_row_holds_several():
    seen = look(BASE | {"What": ["banjolele"] * 6 + ["mandola"] * 6, "Relief (mm)": ["0.1"] * 12, "Unit": ["x"] * 12})
    assert (fields(seen)["What"], fields(seen)["Unit"]) == ("model", "")
    said = look(BASE | {"Unit": ["x"] * 12}, headings={"Unit": "unit"})
    assert fields(said)["Unit"] == "unit"


def test_a_stage_is_told_by_a_tab_or_else_by_the_name_of_a_file():
    assert look(BASE, name="packing 03.csv").stage == "packing"
    assert look(BASE, name="packing.csv", tab="nut slotting").stage == "nut_slotting"
    assert look(BASE, name="a.csv", tab="March").stage == ""
    words = {"stage": {"bank 2": "levelling", "bank": "crowning"}}
    assert look(BASE, name="bank 2.csv", words=words).stage == "levelling"
    assert look(BASE, name="march_bank 2 of us.csv", words=words).stage == "levelling"  # the longest of them
    assert look(BASE, name="the bank.csv", words=words).stage == "crowning"


def test_the_unit_of_bare_numbers_is_asked_where_none_is_written():
    seen = look(BASE | {"Relief": ["0.12", "0.15", "0.20"] * 4})
    assert seen.usual_unit("relief") == ("mm", True, ["0.12", "0.15", "0.20"])
    assert look(BASE | {"Relief (mm)": ["0.12"] * 12}).usual_unit("relief") == ("", False, [])
    assert look(BASE | {"Head": ["88"] * 12}).usual_unit("head") == ("", False, ["88"])
    assert seen.usual_unit("height of bridge") == ("", False, [])
    metric = look(BASE | {"Action (mm)": ["2.4"] * 12, "Neck bow": ["1"] * 12})
    assert metric.usual_unit("neck_bow")[0] == "mm"  # its headings speak of mm only
    inches = look(BASE | {"Action (in)": ["0.09"] * 12, "Neck bow": ["1"] * 12})
    assert inches.usual_unit("neck_bow")[0] == "thou"
    both = look(BASE | {"Action (in)": ["0.09"] * 12, "Nut (mm)": ["0.4"] * 12, "Neck bow": ["1"] * 12})
    assert both.usual_unit("neck_bow")[0] == ""


def test_units_of_single_measurements_are_of_the_rows_that_say_none():
    rows = {"What": ["relief", "action"] * 6, "Reading": ["0.12", "2.4"] * 6, "Unit": ["", "mm"] * 6}
    seen = look(BASE | rows, shape="measurement")
    meanings = {"relief": "relief", "action": "action"}
    assert seen.usual_unit("relief", meanings) == ("mm", True, ["0.12"])
    assert seen.usual_unit("action", meanings) == ("", False, [])


def test_files_alike_are_one_kind_and_its_name_leaves_numbers_open():
    march, april = look(BASE, name="bench 03.csv"), look(BASE, name="bench 04.csv")
    (one,) = together([march, april])
    assert (one.files, one.rows, one.tab) == (("bench 03.csv", "bench 04.csv"), 24, "")
    assert len(together([march, look(BASE, name="other.csv")])) == 2
    assert len(together([march, look(BASE | {"Relief (mm)": ["0.1"] * 12}, name="bench 04.csv")])) == 2
    assert len(together([look(BASE, name="packing 1.csv"), look(BASE, name="packing 2.csv")])) == 1
    weeks = [look(BASE, name="b.xlsx", tab=f"week {n}") for n in (1, 2)]
    assert [seen.tab for seen in together(weeks)] == ["week *"]
    years = [look(BASE, name="b.xlsx", tab=tab) for tab in ("2025", "2026")]
    assert [seen.tab for seen in together(years)] == [""]  # all of the workbook
    named = [look(BASE, name="b.xlsx", tab=tab) for tab in ("Ann", "Bob")]
    assert [seen.tab for seen in together(named)] == [""]
    other = look(BASE | {"Relief (mm)": ["0.1"] * 12}, name="b.xlsx", tab="Cy")
    assert [seen.tab for seen in together([*named, other])] == ["Ann", "Bob", "Cy"]


def test_the_ways_a_name_is_written_are_one_person():
    found = people({"JR": 9, "J.R.": 3, "jr": 1, "Ann": 4, "Ann / JR": 2, "Bo & Cy": 1, "-": 7, "": 2, "D\ufffd": 1})
    assert found == {"Ann": [], "Bo": [], "Cy": [], "JR": ["J.R."]}
    assert people({"j. r.": 3, "JR": 1}) == {"j. r.": ["JR"]}
    assert people({"204": 50, "0204": 3, "317": 40, "0099": 1}) == {"0099": [], "204": ["0204"], "317": []}
    assert people({"0204": 50, "204": 3, "0317": 40}) == {"0204": ["204"], "0317": []}
    assert people({"4": 5, "04": 3, "12": 4, "7": 3}) == {"04": [], "12": [], "4": [], "7": []}  # codes of any width


def test_numbers_that_nearly_all_differ_are_serials_however_their_heading_reads():
    days = [f"2026-06-{1 + n % 28:02d} 08:{n % 60:02d}" for n in range(120)]
    sheet = {
        "Instrument": [str(51001 + n % 60) for n in range(120)],  # days of a spreadsheet too, and 60 of 120 differ
        "Type": ["Skald 1", "Torre 2"] * 60,
        "Operation": ["nut"] * 60 + ["final"] * 60,
        "Time": days,
        "Maker of neck": ["Nordhals", "Valle", ""] * 40,
        "Relief mm": ["0.1", "0.2", "0.15"] * 40,
    }
    told = fields(look(sheet))
    assert (told["Instrument"], told["Type"], told["Maker of neck"]) == ("serial", "model", "supplier")
    assert fields(look(BASE | {"Instrument": ["Lark 25", "Dray 5"] * 6}))["Instrument"] == "model"


def test_that_no_column_is_the_serial_is_said_first():
    assert look({"Lot": ["L1"] * 12, "Date": DAYS}).notes[0].startswith("no column is taken for the serial")
    assert not look(BASE).notes
