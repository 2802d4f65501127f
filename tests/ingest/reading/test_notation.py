"""Every notation of the bench with the millimetres or cents it means. The notations are common practice, no published
source; the numbers are arithmetic on the inch of 25.4 mm (exact by definition) and on 1200 log2 of a ratio for cents.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading.amounts import Manner, hertz_reference, tidy
from ingest.reading.notation import read_cell
from ingest.terms.units import POWERS, to_canonical

INCHES, MM, NONE = Manner(unit="in"), Manner(unit="mm"), Manner()


def values(text: str, manner: Manner) -> list[tuple[float, str]]:
    cell = read_cell(text, manner)
    assert not cell.reason, f"{text!r}: {cell.reason}"
    return [(to_canonical(reading.number, reading.unit, manner.quantity), reading.flag) for reading in cell.readings]


LENGTHS = [  # text, unit of the column, mm, flag
    ('4/64"', "", 1.5875, ""),
    ("4/64", "", 1.5875, ""),
    ("4/64", "mm", 1.5875, ""),
    ("4/64”", "mm", 1.5875, ""),
    ("4 / 64 in", "", 1.5875, ""),
    (".063", "in", 1.6002, ""),
    ("63 thou", "", 1.6002, ""),
    ("63thou", "mm", 1.6002, ""),
    ("1.6mm", "", 1.6, ""),
    ("1.6 mm", "in", 1.6, ""),
    ("3/32", "", 2.38125, ""),
    ("5.5/64", "", 2.1828125, ""),
    ("10 thou", "", 0.254, ""),
    ('0.010"', "", 0.254, ""),
    ("0.010”", "", 0.254, ""),
    ("0.010''", "", 0.254, ""),
    ('1 3/32"', "", 27.78125, ""),
    ("1 3/32", "mm", 27.78125, ""),
    ('1-3/32"', "", 27.78125, ""),
    ("1½ in", "", 38.1, ""),
    ("½", "", 12.7, ""),
    ("4 64ths", "", 1.5875, ""),
    ("4/64ths", "", 1.5875, ""),
    ("3 32nds", "", 2.38125, ""),
    (".4", "mm", 0.4, ""),
    ("-.005", "in", -0.127, ""),
    ("−.005", "in", -0.127, ""),
    ("+.005", "in", 0.127, ""),
    ("- 5 thou", "", -0.127, ""),
    ("12.", "mm", 12.0, ""),
    ("0.16 cm", "", 1.6, ""),
    ("160 µm", "", 0.16, ""),
    ("1.6 MM", "", 1.6, ""),
    ("2 mils", "", 0.0508, ""),
    (".010-.012", "in", 0.2794, "interval"),
    ("1/16 - 5/64", "", 1.7859375, "interval"),
    ("10 thou to 12 thou", "", 0.2794, "interval"),
    ("2-3 mm", "", 2.5, "interval"),
    ('.010"-.012"', "", 0.2794, "interval"),
    ("10 go 11 no-go", "thou", 0.2667, "interval"),
    ("10 go 11 no-go thou", "mm", None, "question"),
    ("<.002", "in", 0.0508, "below"),
    ("< 2 thou", "", 0.0508, "below"),
    (">3 mm", "", 3.0, "above"),
    ("≤ .002 in", "", 0.0508, "below"),
    ("5/64+", "", 1.984375, "above"),
    ("7/64-", "", 2.778125, "below"),
    ("6/64 strong", "", 2.38125, "strong"),
    ("6/64 scant", "", 2.38125, "weak"),
    ("~ 2 mm", "", 2.0, "about"),
    ("4", "64ths", 1.5875, ""),
    ("10", "thou", 0.254, ""),
    ("5½", "64ths", 2.1828125, ""),  # five marks and a half; a fraction alone is inches
    ("8 1/2", "thou", 0.2159, ""),
    ("5/64", "64ths", 1.984375, ""),
    ("1½", "mm", 38.1, ""),
    ("2.55!", "mm", 2.55, ""),  # what somebody thought of it is no unit
    ("2.55 !!", "mm", 2.55, ""),
    ("0.42 ok", "mm", 0.42, ""),
    ("~ 10 thou ok", "mm", 0.254, "about"),
    ("0.42 okk", "mm", None, "question"),
    ("!", "mm", None, "question"),
]


@pytest.mark.parametrize(("text", "unit", "mm", "flag"), LENGTHS)
def test_a_length_as_it_is_written_at_the_bench(text, unit, mm, flag):
    manner = Manner(unit=unit)
    if mm is None:
        assert read_cell(text, manner).reason
        return
    ((value, got),) = values(text, manner)
    assert value == pytest.approx(mm, abs=1e-9)
    assert got == flag


CENTS = [  # text, cents
    ("+3", 3.0),
    ("-2.5", -2.5),
    ("−2.5", -2.5),
    ("3 cents", 3.0),
    ("0!", 0.0),
    ("-1 ok", -1.0),
    ("2.5¢", 2.5),
    ("-4c", -4.0),
    ("3 cents sharp", 3.0),
    ("3 cents flat", -3.0),
    ("4 flat", -4.0),
    ("441.2 Hz / 440", 1200 * math.log2(441.2 / 440)),
    ("441.2Hz (440)", 1200 * math.log2(441.2 / 440)),
    ("328.1 hz re 329.63", 1200 * math.log2(328.1 / 329.63)),
    ("880 Hz @ 440 Hz", 1200.0),
]


@pytest.mark.parametrize(("text", "cents"), CENTS)
def test_a_pitch_as_it_is_written_at_the_bench(text, cents):
    ((value, flag),) = values(text, Manner("pitch", "cents"))
    assert value == pytest.approx(cents, abs=1e-6)
    assert flag == ""


def test_a_heading_may_name_the_reference_pitch():
    assert hertz_reference("Hz re 329.63") == 329.63
    assert hertz_reference("Hz") is None
    manner = Manner("pitch", "Hz", reference=hertz_reference("Hz re 440"))
    ((value, _),) = values("441.2", manner)
    assert value == pytest.approx(1200 * math.log2(441.2 / 440), abs=1e-6)


QUESTIONS = [  # text, manner, words of the reason
    (".063", NONE, "without a unit"),
    ("0", NONE, "without a unit"),
    (".010-.012", NONE, "without a unit"),
    ("1,6", MM, "comma"),
    ("3/10", MM, "no inch fraction"),
    ("3/0", MM, "over 0"),
    ("2.0/1.5", MM, "several numbers"),
    ("1.6 foo", MM, "unit not known"),
    ("hello", MM, "cannot be read"),
    ("1e5", MM, "cannot be read"),
    ("inf", MM, "cannot be read"),
    ("nan", MM, "cannot be read"),
    (".", MM, "cannot be read"),
    ("9" * 400, MM, "cannot be read"),
    ("9" * 5000, MM, "cannot be read"),
    ("9" * 400 + "/64", MM, "cannot be read"),
    ("²", MM, "cannot be read"),
    ('"', MM, "ditto"),
    ("do", MM, "ditto"),
    ("〃", MM, "ditto"),
    ("''", MM, "ditto"),
    ("?", MM, "cannot be read"),
    ("Apr-64", MM, "date"),
    ("Mar-32", MM, "date"),
    ("4-Apr", MM, "date"),
    ("1964-04-01", MM, "date"),
    ("01/04/1964", MM, "date"),
    ("23468", INCHES, "date"),
    ("11749", MM, "date"),
    (".012 ->", INCHES, "part missing"),
    (".012 -> .010 -> .008", INCHES, "part missing"),
    (".012-.010", INCHES, "high to low"),
    ("441.2 Hz", Manner("pitch", "cents"), "without a reference"),
    ("3", Manner("pitch"), "without a unit"),
    ("86 87 85", Manner("plain", fills=("1", "2", "3", "4")), "not one number"),
    (".01 -> .02", Manner(unit="in", moment="left"), "left"),
    ("5/64", Manner(unit="mm", positions=("bass", "treble")), "not one number"),
    ("2.0", Manner(unit="mm", positions=("bass", "treble")), "not one number"),
    ("1.600", Manner(unit="mm", decimal=","), "point before three digits"),
]


@pytest.mark.parametrize(("text", "manner", "words"), QUESTIONS)
def test_what_is_not_plain_is_a_question(text, manner, words):
    cell = read_cell(text, manner)
    assert not cell.readings
    assert words in cell.reason
    assert cell.wanted


@pytest.mark.parametrize(("text", "hint"), [("23468", "4/64"), ("11749", "3/32"), ("Apr-64", "4/64 becomes Apr-64")])
def test_a_spreadsheet_date_says_which_fraction_may_have_been_meant(text, hint):
    assert hint in read_cell(text, INCHES).wanted


@pytest.mark.parametrize(
    ("text", "manner", "number", "flag"),
    [
        ("91 (drum dial)", Manner("plain"), 91, ""),
        ("91(checked twice)", Manner("plain"), 91, ""),
        ("~ 91 (drum dial)", Manner("plain"), 91, "about"),
        ("91 (est.)", Manner("plain"), 91, "about"),
        ("0.16 (mm)", INCHES, 0.16, ""),
        ("0.16 mm (feeler)", INCHES, 0.16, ""),
        ("４．５", MM, 4.5, ""),
        ("1.31㎜", INCHES, 1.31, ""),
        ("6 1/2 /64", INCHES, 6.5 / 64, ""),
        ("6 1/4 /64", MM, 6.25 / 64, ""),
        ("－２．５", Manner("pitch", "cents"), -2.5, ""),
    ],
)
def test_a_number_beside_a_remark_and_one_in_wide_figures_are_that_number(text, manner, number, flag):
    (reading,) = read_cell(text, manner).readings
    assert (reading.number, reading.flag) == (number, flag)
    assert reading.unit in ("" if manner.quantity == "plain" else "mm in cents")
    assert reading.unit == "mm" or "mm" not in text


@pytest.mark.parametrize("text", ["91 (before)", "91 (bass)", "91 (?)", "91 (was 89)", "(10)", "91 (not read)"])
def test_a_remark_that_makes_it_another_number_or_none_is_a_question(text):
    cell = read_cell(text, Manner("plain"))
    assert not cell.readings
    assert cell.reason


@pytest.mark.parametrize("text", ["-", "n/a", "N/A", "ok", "OK", "✓", "", "  "])
def test_a_mark_for_no_reading_is_neither_a_reading_nor_a_question(text):
    cell = read_cell(text, MM)
    assert not cell.readings
    assert not cell.reason


@pytest.mark.parametrize("text", ["BB", "bb", "flat", "snug"])
def test_a_class_is_kept_without_a_number_and_never_becomes_0(text):
    (reading,) = read_cell(text, MM).readings
    assert math.isnan(reading.number)
    assert reading.flag == "class"


def test_0_read_with_leaves_means_less_than_the_smallest():
    assert values("0", Manner(unit="in", leaves=True)) == [(0.0, "below")]
    assert values("0", INCHES) == [(0.0, "")]


@pytest.mark.parametrize("text", [".012 -> .008", ".012->.008", ".012 → .008", "12 thou => 8 thou"])
def test_an_arrow_gives_what_was_found_and_what_was_left(text):
    found, left = read_cell(text, INCHES).readings
    assert (found.moment, left.moment) == ("found", "left")
    assert to_canonical(found.number, found.unit, "length") == pytest.approx(0.3048)
    assert to_canonical(left.number, left.unit, "length") == pytest.approx(0.2032)


@pytest.mark.parametrize(
    ("text", "bass", "treble"),
    [
        ("2.0/1.5", 2.0, 1.5),
        ("2.0 / 1.5 mm", 2.0, 1.5),
        ("2.0;1.5", 2.0, 1.5),
        ("2.0 1.5", 2.0, 1.5),
        ("5/64 / 4/64", 1.984375, 1.5875),
        ("5/64, 4/64", 1.984375, 1.5875),
    ],
)
def test_a_pair_fills_both_positions_in_the_order_of_the_heading(text, bass, treble):
    first, second = read_cell(text, Manner(unit="mm", positions=("bass", "treble"))).readings
    assert (first.position, second.position) == ("bass", "treble")
    got = [to_canonical(reading.number, reading.unit, "length") for reading in (first, second)]
    assert got == pytest.approx([bass, treble])
    first, second = read_cell(text, Manner(unit="mm", positions=("treble", "bass"))).readings
    assert (first.position, second.position) == ("treble", "bass")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("2.0/", [("bass", 2.0, "mm")]),
        ("/1.5", [("treble", 1.5, "mm")]),
        ("/4", [("treble", 4, "mm")]),
        ("-/1.5 mm", [("treble", 1.5, "mm")]),
        ("ok/1.5", [("treble", 1.5, "mm")]),
        ("2.0 / n/a", [("bass", 2.0, "mm")]),
        ("2.0", None),
    ],
)
def test_of_a_pair_with_one_half_the_half_is_read(text, told):
    cell = read_cell(text, Manner(unit="mm", positions=("bass", "treble")))
    assert [(one.position, one.number, one.unit) for one in cell.readings] == (told or [])
    assert bool(cell.reason) == (told is None)


def test_a_point_that_was_not_read_leaves_the_others_in_their_places():
    cell = read_cell("86 - 85 88", Manner("plain", fills=("1", "2", "3", "4")))
    assert [(one.position, one.number) for one in cell.readings] == [("1", 86), ("3", 85), ("4", 88)]


@pytest.mark.parametrize("text", ["86 87 85 88", "86,87,85,88", "86/87/85/88", "86; 87; 85; 88"])
def test_several_dial_readings_in_one_cell_fill_the_declared_positions(text):
    readings = read_cell(text, Manner("plain", fills=("1", "2", "3", "4"))).readings
    assert [(reading.position, reading.number) for reading in readings] == [("1", 86), ("2", 87), ("3", 85), ("4", 88)]


def test_a_decimal_comma_is_read_where_the_sheet_says_so():
    comma = Manner(unit="mm", decimal=",")
    assert values("1,6", comma) == [(1.6, "")]
    assert values("0,254 mm", comma) == [(0.254, "")]
    assert values("2.5", comma) == [(2.5, "")]
    assert values(",063 in", comma) == [(1.6002, "")]


def test_one_reading_in_three_notations_is_one_number():
    assert (
        len(
            {
                to_canonical(r.number, r.unit, "length")
                for text in ("63 thou", ".063 in", "0.0630 in")
                for r in read_cell(text, NONE).readings
            }
        )
        == 1
    )


@given(st.integers(0, 20), st.integers(1, 127), st.sampled_from(POWERS))
def test_every_inch_fraction_is_inches_whatever_the_columns_unit(whole, top, bottom):
    text = f"{whole} {top}/{bottom}" if whole else f"{top}/{bottom}"
    for manner in (NONE, MM, INCHES):
        ((value, flag),) = values(text, manner)
        assert value == pytest.approx((whole + top / bottom) * 25.4)
        assert flag == ""


@given(st.text(max_size=30), st.sampled_from(["length", "pitch", "angle", "count", "class", "plain"]))
def test_no_text_makes_the_reader_stumble(text, quantity):
    for manner in (
        Manner(quantity),
        Manner(quantity, "mm", ","),
        Manner(quantity, positions=("bass", "treble")),
        Manner(quantity, fills=("1", "2", "3")),
    ):
        cell = read_cell(text, manner)
        assert bool(cell.reason) <= (not cell.readings)


@given(st.text(alphabet="0123456789./-+<>,;\"' inmthou⅛½→~", max_size=14))
def test_a_reading_is_always_finite_or_a_class(text):
    for reading in read_cell(text, INCHES).readings:
        assert math.isfinite(reading.number) or reading.flag == "class"


def test_tidying_twice_changes_nothing_more():
    for text in ("4/64”", "1½ IN", "−.005", "3  mm"):
        assert tidy(tidy(text)) == tidy(text)
