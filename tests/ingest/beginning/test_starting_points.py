"""What a first shop starts from: units by the size of numbers, limits on the marks of a gauge, steps of a sheet."""

from fractions import Fraction

import pytest

from ingest.beginning.families import FAMILIES
from ingest.beginning.starting_limits import _on_marks, by_position
from ingest.beginning.starting_values import MEASURES, STAGES
from ingest.beginning.steps_seen import Step, step_of
from ingest.beginning.units_of_columns import bare_unit
from ingest.terms.units import to_canonical

BY_KEY = {item.key: item for item in MEASURES}


def test_what_is_read_at_pitch_is_what_the_strings_move():
    at_pitch = {item.key for item in MEASURES if item.at_pitch}
    assert at_pitch == {"relief", "action", "nut", "intonation", "neck_angle", "compensation", "tuning"}


@pytest.mark.parametrize("item", MEASURES, ids=lambda item: item.key)
def test_usual_readings_are_plausible_in_every_unit_and_about_the_same_in_each(item):
    if item.plausible is None:
        return
    (low, unit), (high, same) = (text.split() for text in item.plausible)
    assert unit == same
    for name, least, most in item.units:
        ends = [to_canonical(end, name, item.quantity) for end in (least, most)]
        assert to_canonical(float(low), unit, item.quantity) <= ends[0] < ends[1]
        assert ends[1] <= to_canonical(float(high), unit, item.quantity)
        first = [to_canonical(end, item.units[0][0], item.quantity) for end in item.units[0][1:]]
        assert 0.35 * first[1] <= ends[1] <= 2.6 * first[1]


@pytest.mark.parametrize(
    ("key", "numbers", "unit"),
    [
        # at the smallest and the largest usual reading, and beyond
        ("relief", ["0.0005", "0.0005"], "in"),
        ("relief", ["0.025"], "in"),
        ("relief", ["0.026"], ""),
        ("relief", ["0.04"], "mm"),
        ("relief", ["0.6"], "mm"),
        ("relief", ["0.61"], ""),
        ("relief", ["1"], "thou"),
        ("relief", ["25"], "thou"),
        ("relief", ["26"], ""),
        ("action", ["0.04"], "in"),
        ("action", ["0.2"], "in"),
        ("action", ["0.21"], ""),
        ("action", ["0.8"], "mm"),
        ("action", ["2.41", "2.43"], "mm"),
        ("action", ["5.9"], "mm"),
        ("action", ["7"], "64ths"),
        ("action", ["12"], "64ths"),
        ("action", ["12.5"], ""),
        ("action", ["40"], "thou"),
        ("action", ["200"], "thou"),
        ("action", ["201"], ""),
        ("nut", ["0.005"], "in"),
        ("nut", ["0.05"], "in"),
        ("nut", ["0.051"], ""),
        ("nut", ["0.2"], "mm"),
        ("nut", ["1.2"], "mm"),
        ("nut", ["1.3"], ""),
        ("nut", ["5"], "thou"),
        ("nut", ["50"], "thou"),
        ("nut", ["51"], ""),
        ("neck_bow", ["0.02"], "in"),
        ("neck_bow", ["0.03"], "mm"),
        ("neck_bow", ["0.99"], "mm"),
        ("neck_bow", ["1"], ""),  # a millimetre, or a thou
        ("neck_bow", ["20"], "thou"),
        ("neck_bow", ["21"], ""),
        ("intonation", ["-60", "60"], "cents"),
        ("intonation", ["61"], ""),
        ("neck_angle", ["3"], "deg"),
        ("neck_angle", ["99"], "deg"),  # of an angle there is one
        ("bridge_height", ["3"], "mm"),
        ("bridge_height", ["30"], "mm"),
        ("bridge_height", ["0.15"], "in"),
        ("bridge_height", ["1.2"], "in"),
        ("fret_height", ["0.5"], "mm"),
        ("fret_height", ["1.8"], "mm"),
        ("fret_height", ["0.02"], "in"),
        ("fret_height", ["0.07"], "in"),
        ("fall_away", ["1"], "mm"),
        ("fall_away", ["0.001"], "in"),
        ("twist", ["1"], "mm"),
        ("twist", ["0.001"], "in"),
        ("compensation", ["0.5"], "mm"),
        ("compensation", ["6"], "mm"),
        ("string_spacing", ["20"], "mm"),
        ("string_spacing", ["70"], "mm"),
        ("string_spacing", ["0.8"], "in"),
        ("string_spacing", ["2.8"], "in"),
        ("tuning", ["60"], "cents"),
        ("head", ["88"], ""),  # a dial has none
        ("relief", [], ""),
        ("relief", ["0", "0"], ""),
        ("relief", ["0", "0", "0", "0,2"], "mm"),  # no reading tells of a unit by being nought
        ("relief", ["-0.2"], "mm"),
    ],
)
def test_the_unit_of_bare_numbers_is_the_one_in_which_they_are_usual(key, numbers, unit):
    assert bare_unit(BY_KEY[key], numbers) == unit


HALVES = ["3.5", "4", "4.5", "5"]


@pytest.mark.parametrize(
    ("key", "numbers", "system", "unit"),
    [
        ("action", HALVES, "", ""),  # 64ths, or halves of a millimetre
        ("action", HALVES, "in", "64ths"),
        ("action", HALVES, "mm", "mm"),
        ("action", HALVES[:3] * 9, "", ""),
        ("action", HALVES[:3] * 9, "mm", "mm"),  # three values tell no grid
        ("action", ["3.4", "4.1", "4.5", "5"], "", "mm"),
        ("action", HALVES * 24 + ["4.1", "4.2"], "", "mm"),  # under 98 in 100 on the halves
        ("neck_bow", ["1"], "mm", "mm"),
        ("neck_bow", ["1"], "in", "thou"),
        ("relief", ["0.2"], "in", "mm"),  # where one unit alone fits it is that one
        # some numbers plainly of another unit: two people in one column
        ("relief", ["0.2"] * 97 + [".006"] * 3, "", "mm"),
        ("relief", ["0.2"] * 96 + [".006"] * 4, "", ""),
        ("relief", ["0.2"] * 90 + ["1.7"] * 10, "", "mm"),  # not thrice the largest usual one
        ("relief", ["0.2"] * 90 + ["1.9"] * 10, "", ""),  # beyond it may be a thou
        ("relief", ["0.2"] * 90 + ["40"] * 10, "", "mm"),  # usual in no unit: a slip
    ],
)
def test_steps_headings_and_strange_numbers_tell_a_unit_apart(key, numbers, system, unit):
    assert bare_unit(BY_KEY[key], numbers, system) == unit


def test_limits_stand_on_the_nearest_marks_and_a_mark_from_the_target():
    half = Step(Fraction(1, 128), "in", "length", 40)  # of a 64th: 0.198 mm
    assert _on_marks((2.4, 2.1, 2.7), half) == ((6.0, 5.5, 7.0), "64ths")
    assert _on_marks((2.4, 2.35, 2.45), half) == ((6.0, 5.5, 6.5), "64ths")
    counted = Step(Fraction(1, 2), "64ths", "length", 40)
    assert _on_marks((2.4, 2.1, 2.7), counted) == ((6.0, 5.5, 7.0), "64ths")
    assert _on_marks((0.2, 0.0, 0.4), half) == ((0.5, 0.0, 1.0), "64ths")
    assert _on_marks((0.02, 0.0, 0.04), half) == ((0.0, 0.0, 0.5), "64ths")  # nothing lies below nought
    assert _on_marks((0.0, -0.1, 0.25), half) == ((0.0, -0.5, 0.5), "64ths")
    tenth = Step(Fraction(1, 10), "mm", "length", 40)
    assert _on_marks((2.4, 2.14, 2.66), tenth) == ((2.4, 2.1, 2.7), "mm")
    thousandth = Step(Fraction(1, 1000), "in", "length", 40)
    assert _on_marks((2.54, 2.286, 2.794), thousandth) == ((0.1, 0.09, 0.11), "in")


@pytest.mark.parametrize(
    ("positions", "told"),
    [
        ([], {"": (2.1, 1.5, 2.7)}),  # of neither side: of both
        (["bass", "treble"], {"bass": (2.4, 2.1, 2.7), "treble": (1.8, 1.5, 2.1)}),
        (["bass", "point 1"], {"bass": (2.4, 2.1, 2.7)}),
        (["1"], {}),
        (["1", "2"], {"1": (1.8, 1.5, 2.1), "2": (2.4, 2.1, 2.7)}),
        (["4"], {"4": (2.4, 2.1, 2.7)}),
        (["1", "4"], {"1": (1.8, 1.5, 2.1), "4": (2.4, 2.1, 2.7)}),
        (["2", "4"], {"2": (2.0, 1.7, 2.3), "4": (2.4, 2.1, 2.7)}),
    ],
)
def test_limits_of_a_position_are_its_sides_or_lie_between(positions, told):
    assert dict(by_position(positions, (2.4, 2.1, 2.7), (1.8, 1.5, 2.1))) == told


def test_stages_stand_in_bench_order_with_minutes_of_work_and_one_that_only_waits():
    keys = [stage.key for stage in STAGES]
    assert keys[0] == "receiving"
    assert keys.index("stringing") < keys.index("nut_slotting") < keys.index("play_test") < keys.index("packing")
    assert [stage.key for stage in STAGES if not stage.minutes] == ["rest"]
    assert all(2 <= stage.minutes <= 60 for stage in STAGES if stage.minutes)
    assert {item.set_at for item in MEASURES} - {""} <= set(keys)
    assert FAMILIES["tenor banjo"].head is not None


def cells(count, values=8):
    return [f"{(k % values) / 20 + 2:.2f}" for k in range(count)]


def test_a_step_is_told_by_so_many_cells_values_and_plain_numbers():
    assert [step_of(cells(n), "mm", "length") is not None for n in (25, 24)] == [True, False]
    assert [step_of(cells(40, n), "mm", "length") is not None for n in (4, 3)] == [True, False]
    assert [step_of(cells(95) + ["?"] * n, "mm", "length") is not None for n in (5, 6)] == [True, False]
    both = step_of([*cells(40), "1 1/4", "1/4"], "in", "length")
    assert (both.size, both.unit, both.cells) == (Fraction(1, 20), "in", 42)
    assert step_of([*cells(40), "1/4"], "64ths", "length") is None  # a fraction alone is of an inch
    marks = step_of([*cells(40), "5 1/4"], "64ths", "length")  # as it is read: five marks and a quarter
    assert (marks.size, marks.unit) == (Fraction(1, 20), "64ths")
    assert step_of(cells(40), "", "plain").resolution == "0.05"


@pytest.mark.parametrize(
    ("size", "unit", "told", "canonical"),
    [
        (Fraction(1, 128), "in", "1/128 in", 25.4 / 128),
        (Fraction(1, 2), "64ths", "1/128 in", 25.4 / 128),
        (Fraction(1), "64ths", "1/64 in", 25.4 / 64),
        (Fraction(1, 16), "in", "0.0625 in", 25.4 / 16),
        (Fraction(1, 256), "in", "1/256 in", 25.4 / 256),
        (Fraction(1, 1000), "in", "0.001 in", 0.0254),
        (Fraction(1, 64), "mm", "0.015625 mm", 1 / 64),
        (Fraction(1), "thou", "1 thou", 0.0254),
    ],
)
def test_a_step_is_written_as_its_gauge_would_say_it(size, unit, told, canonical):
    step = Step(size, unit, "length", 40)
    assert (step.resolution, step.canonical) == (told, pytest.approx(canonical))
