"""Headings: what each column of a sheet holds."""

import pytest

from ingest.reading.headings import Headings, missing, position_of, sides_in_order
from ingest.terms.questions import FileProblem
from tests.ingest.small_shop import small_shop


def read(heading: str, **log: object):
    shop = small_shop(**log)
    return Headings(shop, shop.logs[0]).read(heading)


@pytest.mark.parametrize(
    ("heading", "meaning", "unit"),
    [
        ("relief (in)", "relief", "in"),
        ("Relief [mm]", "relief", "mm"),
        ("Neck relief", "relief", ""),
        ("action bass (mm)", "action bass", "mm"),
        ("action_treble", "action treble", ""),
        ("intonation 1 (cents)", "intonation 1", "cents"),
        ("intonation 1 fret 7 (cents)", "intonation 1 fret 7", "cents"),
        ("intonation string 2 fret 12", "intonation 2 fret 12", ""),
        ("intonation 3 open", "intonation 3 fret 0", ""),
        ("action bass left (mm)", "action bass left", "mm"),
        ("relief as found", "relief", ""),
        ("action bass/treble (mm)", "action bass/treble", "mm"),
        ("action treble/bass", "action treble/bass", ""),
        ("relief (64ths)", "relief", "64ths"),
        ("head (notches)", "head", "notches"),
        ("head 3", "head 3", ""),
    ],
)
def test_a_measurement_is_characteristic_position_moment_and_unit(heading, meaning, unit):
    column = read(heading)
    assert (column.field, column.meaning, column.unit) == ("reading", meaning, unit)


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("S/N", "serial"),
        ("Serial No.", "serial"),
        ("serial #", "serial"),
        ("Technician", "tech"),
        ("started_at", "started_at"),
        ("Started at", "started_at"),
        ("Date", "date"),
        ("sent back to", "sent_back_to"),
        ("RH (%)", "rh"),
        ("Temp (F)", "temperature"),
        ("string_set", "string_set"),
        ("Remarks:", "note"),
        ("relief (cents)", "other"),
        ("Colour", "other"),
        ("", "other"),
        ("action middle", "other"),
        ("relief at fret 7", "other"),
    ],
)
def test_a_field_is_known_by_its_names(heading, field):
    assert read(heading).field == field


def test_the_sheets_own_headings_come_first():
    own = {
        "headings": {
            "Act. B @12": "action bass",
            "Nr": "serial",
            "Tech": "ignore",
            "Hz 1": "intonation 1 (Hz re 329.63)",
        },
        "ignore": ["Initials 2"],
    }
    assert read("Act. B @12", **own).meaning == "action bass"
    assert read("NR", **own).field == "serial"
    assert read("tech", **own).field == "ignore"
    assert read("Initials 2", **own).field == "ignore"
    assert read("Hz 1", **own).reference == 329.63


def test_an_instrument_sheet_names_the_stage_behind_an_at_sign():
    column = read("relief (in) @ final_inspection", shape="instrument")
    assert (column.meaning, column.unit) == ("relief @ final_inspection", "in")
    assert read("tech @ Nut slotting", shape="instrument").stage == "nut_slotting"
    assert read("relief @ nowhere", shape="instrument").field == "other"


def test_two_headings_for_one_column_are_refused_with_both_names():
    shop = small_shop()
    with pytest.raises(FileProblem, match=r"a\.csv: the headings 'Serial' and 'S/N' both mean serial"):
        Headings(shop, shop.logs[0]).table(["Serial", "Date", "Stage", "S/N"], "a.csv")
    with pytest.raises(FileProblem, match="'action bass' and 'action bass/treble'"):
        Headings(shop, shop.logs[0]).table(["Serial", "Date", "Stage", "action bass", "action bass/treble"], "a.csv")


def test_a_heading_mapped_to_nothing_is_refused_with_what_may_have_been_meant():
    shop = small_shop(headings={"Rel": "releif (in)"})
    with pytest.raises(
        FileProblem, match=r"maps the heading 'Rel' to 'releif \(in\)', which names no column.*such as 'relief'"
    ):
        Headings(shop, shop.logs[0]).table(["Serial", "Date", "Stage", "Rel"], "a.csv")


def test_a_heading_mapped_with_a_unit_that_is_none_is_told_by_its_unit():
    shop = small_shop(headings={"Rel": "relief (mn)"})
    with pytest.raises(FileProblem, match=r"to 'relief \(mn\)', and 'mn' is no unit of relief; wanted one of mm, cm"):
        Headings(shop, shop.logs[0]).table(["Serial", "Date", "Stage", "Rel"], "a.csv")


def test_an_unknown_heading_is_asked_about_once_with_the_closest_known_and_the_line_to_paste():
    shop = small_shop()
    columns = Headings(shop, shop.logs[0]).table(["Serial", "Date", "Stage", "Outcom", "Outcom"], "a.csv")
    (note,) = columns.notes
    assert "'Outcom' is not known" in note
    assert 'headings = { "Outcom" = "outcome" }' in note


@pytest.mark.parametrize(
    ("header", "lacks"),
    [
        (["Date", "Stage"], "no serial column"),
        (["Serial", "Stage"], "no date column"),
        (["Serial", "Date"], "no stage column"),
        (["Serial", "Date", "Stage"], ""),
    ],
)
def test_a_log_needs_a_serial_a_date_and_a_stage(header, lacks):
    shop = small_shop()
    assert missing(Headings(shop, shop.logs[0]).table(header, "a.csv"), shop.logs[0]) == lacks


@pytest.mark.parametrize(
    ("text", "position"),
    [
        ("Bass", "bass"),
        ("treble side", "treble"),
        ("3", "3"),
        ("string 3", "3"),
        ("s3", "3"),
        ("s1 f12", "1 fret 12"),
        ("1 fret 7", "1 fret 7"),
        ("2 open", "2 fret 0"),
        ("", ""),
        ("middle", None),
        ("fret 7", None),
    ],
)
def test_a_position_is_a_string_a_side_or_a_fret(text, position):
    assert position_of(text) == position


def test_headings_that_this_log_tells_apart_by_capitals_are_two_and_others_are_numbered():
    own = {"headings": {"E": "intonation 4", "e": "intonation 1", "e #2": "intonation 2", "Date #2": "note"}}
    shop = small_shop(**own)
    columns = Headings(shop, shop.logs[0]).table(["Serial", "Date", "Stage", "E", "e", "DATE"], "a.csv")
    assert [column.meaning for column in columns.all][3:] == ["intonation 4", "intonation 1", "note"]
    again = Headings(shop, shop.logs[0]).table(["Serial", "Date", "Stage", "E", "e", "e"], "a.csv")
    assert [column.meaning for column in again.all][3:] == ["intonation 4", "intonation 1", "intonation 2"]


@pytest.mark.parametrize(
    ("heading", "sides"),
    [
        ("Action B/T (mm)", ("bass", "treble")),
        ("Saitenlage Diskant / Bass", ("treble", "bass")),
        ("Action, E/e", ("bass", "treble")),
        ("Height at 12, 1st/6th (mm)", ("treble", "bass")),
        ("Altura 4ª/1ª", ("bass", "treble")),
        ("Action 6|1", ("bass", "treble")),
        ("Action (1/64 in)", ()),
        ("Action 1/64", ()),
        ("Pass/fail", ()),
        ("Action 2/3", ()),
        ("Action", ()),
    ],
)
def test_a_heading_says_which_of_two_numbers_is_the_bass(heading, sides):
    assert sides_in_order(heading) == sides


def test_a_pair_goes_by_its_heading_where_what_it_means_leaves_the_order_open():
    shop = small_shop(headings={"Height 1st/6th": "action (mm)", "Height": "action left (mm)"})
    headings = Headings(shop, shop.logs[0])
    assert headings.read("Height 1st/6th").positions == ("treble", "bass")
    assert headings.read("Height").positions == ("",)
