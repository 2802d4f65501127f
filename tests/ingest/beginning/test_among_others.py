"""What a column means beside the others: small sheets, each one step to either side of where the meaning turns."""

from dataclasses import dataclass, replace

import pytest

from ingest.beginning.among_others import among_others, outer_strings
from ingest.beginning.guesses import Guess
from ingest.beginning.profiles import Profile

PLAIN = Profile(100, 100, 50, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1, False, 30.0, ())
DAYS, CLOCKS, IDENTS = {"dates": 1.0}, {"clocks": 1.0}, {"idents": 1.0}


@dataclass(frozen=True)
class Seen:
    guess: Guess
    profile: Profile
    cells: tuple[str, ...] = ()


def seen(heading, field="", *, level="likely", cells=(), look=None, **more):
    """A column of a hundred cells that is guessed to be this."""
    told = Guess(heading, field, level=level if field else "", **more)
    return Seen(told, replace(PLAIN, **(look or {})), cells)


def fields(*columns):
    return [guess.field for guess in among_others(columns, "ymd")]


def levels(*columns):
    return [guess.level for guess in among_others(columns, "ymd")]


def reading(heading, measure, *, level="sure", position="", moment="", stage="", unit=""):
    more = {"measure": measure, "position": position, "moment": moment, "stage": stage, "unit": unit}
    return seen(heading, "reading", level=level, **more)


def test_in_is_what_was_found_beside_an_out_of_the_same_and_inches_elsewhere():
    relief, out = reading("Relief in", "relief"), reading("Relief out", "relief", moment="left")
    assert [guess.moment for guess in among_others([relief, out], "ymd")] == ["found", "left"]
    assert [guess.unit for guess in among_others([relief, out], "ymd")] == ["", ""]
    action = reading("Action out", "action", moment="left")
    assert [(guess.moment, guess.unit) for guess in among_others([relief, action], "ymd")] == [("", "in"), ("left", "")]
    elsewhere = reading("Relief out", "relief", moment="left", stage="packing")
    assert among_others([relief, elsewhere], "ymd")[0].unit == "in"
    said = reading("Relief in", "relief", level="said")
    assert among_others([said, out], "ymd")[0] == said.guess
    thou = reading("Relief in", "relief", unit="thou")
    assert among_others([thou], "ymd")[0] == thou.guess
    told = reading("Relief in", "relief", moment="left")
    assert [g.moment for g in among_others([told, out], "ymd")] == ["left", "left"]
    plain = reading("Relief", "relief")
    assert among_others([plain, out], "ymd")[0] == plain.guess


def test_a_begin_that_holds_days_is_the_day_unless_an_end_stands_beside_it():
    start, end = seen("Start", "started_at", look=DAYS), seen("End", "finished_at", look=DAYS)
    assert fields(start) == ["date"]
    assert fields(start, end) == ["started_at", "finished_at"]
    assert fields(seen("Start", "started_at", look={"dates": 0.51})) == ["date"]
    assert fields(seen("Start", "started_at", look={"dates": 0.5})) == ["started_at"]
    assert fields(seen("Start", "started_at", level="said", look=DAYS)) == ["started_at"]
    assert fields(seen("Start", "started_at", stage="packing", look=DAYS)) == ["started_at"]
    assert fields(seen("Day", "finished_at", look=DAYS)) == ["finished_at"]


def test_days_that_nobody_is_sure_of_are_taken_where_nothing_else_says_when():
    unsure = seen("X", "date", level="unsure", look=DAYS)
    other = {
        "none": (seen("Y"), "likely"),
        "a day": (seen("Y", "date", look=DAYS), "unsure"),
        "a time": (seen("Y", "started_at", look=CLOCKS), "unsure"),
        "a figure": (seen("Y", "started_at", look={"figures": 0.51}), "unsure"),
        "hardly a time": (seen("Y", "started_at", look={"clocks": 0.5}), "likely"),
        "a day of one stage": (seen("Y", "date", stage="packing"), "unsure"),
        "a question": (seen("Y", "date", level="unsure", look={"dates": 0.4}), "likely"),
    }
    for name, (beside, level) in other.items():
        assert levels(unsure, beside)[0] == level, name
    assert levels(seen("X", "date", level="unsure", look={"dates": 0.5})) == ["unsure"]
    assert levels(seen("X", "note", level="unsure", look=DAYS)) == ["unsure"]


def test_a_day_by_its_cells_beside_one_by_its_words_says_nothing():
    by_cells, named = seen("X", "date", look=DAYS, why="its cells"), seen("Date", "date", look=DAYS)
    assert fields(by_cells, named) == ["other", "date"]
    assert fields(by_cells) == ["date"]
    assert fields(by_cells, replace(by_cells, guess=replace(by_cells.guess, heading="Y"))) == ["date", "date"]
    assert fields(seen("X", "finished_at", look=DAYS, why="its cells"), named) == ["finished_at", "date"]
    assert among_others([by_cells, named], "ymd")[0].why == "its cells: days, but another column says when"


def test_the_one_column_of_days_beside_times_of_day_is_the_day():
    end, start = seen("Done", "finished_at", look=DAYS), seen("Start", "started_at", look=CLOCKS)
    assert fields(end, start) == ["date", "started_at"]
    assert fields(end) == ["finished_at"]
    assert fields(end, start, seen("Done too", "finished_at", look=DAYS)) == [
        "finished_at",
        "started_at",
        "finished_at",
    ]
    assert fields(end, start, seen("Date", "date", look=DAYS)) == ["finished_at", "started_at", "date"]
    said = seen("Done", "finished_at", level="said", look=DAYS)
    assert fields(said, start) == ["finished_at", "started_at"]


MORNING, NOON = tuple(f"{8 + n % 3}:00" for n in range(6)), tuple(f"{8 + n % 3}:30" for n in range(6))


def unsure_time(heading, cells):
    return seen(heading, "started_at", level="unsure", look={"clocks": 1.0}, cells=cells)


def test_times_beside_a_day_are_begin_and_end_by_which_is_the_earlier():
    day = seen("Date", "date", look=DAYS, cells=("2026-05-04",) * 6)
    a, b, c = unsure_time("A", MORNING), unsure_time("B", NOON), unsure_time("C", NOON)
    assert fields(day, a, b) == ["date", "started_at", "finished_at"]
    assert fields(day, b, a) == ["date", "finished_at", "started_at"]
    assert levels(day, a, b) == ["likely"] * 3
    assert (fields(day, a), levels(day, a)) == (["date", "started_at"], ["likely", "likely"])
    assert levels(day, a, b, c) == ["likely", "unsure", "unsure", "unsure"]
    by_cells = seen("D", "date", look=DAYS, why="its cells", cells=("2026-05-04",) * 6)
    assert fields(by_cells, a) == ["date", "started_at"]
    assert levels(by_cells, a)[1] == "likely"
    assert levels(seen("Y"), a, b)[1:] == ["unsure", "unsure"]  # no day
    assert levels(day, a, seen("T", "started_at", look=CLOCKS))[1] == "unsure"  # another says it
    half = tuple(x if n < 3 else y for n, (x, y) in enumerate(zip(MORNING, NOON, strict=True)))
    mixed = tuple(y if n < 3 else x for n, (x, y) in enumerate(zip(MORNING, NOON, strict=True)))
    assert fields(day, unsure_time("A", half), unsure_time("B", mixed)) == ["date", "started_at", "finished_at"]


def serials(*columns):
    return [guess.heading for guess in among_others(columns, "ymd") if guess.field == "serial"]


def test_a_serial_by_its_words_differs_enough_from_row_to_row():
    def kept(**look):
        return serials(seen("No", "serial", look=look)) == ["No"]

    assert [kept(distinct=2), kept(distinct=1)] == [True, False]
    assert [kept(distinct=20, filled=1000), kept(distinct=19, filled=1000)] == [True, False]
    assert serials(seen("A", "serial"), seen("B", "serial")) == ["A"]
    assert serials(seen("A", "serial", look={"distinct": 1}), seen("B", "serial")) == ["B"]
    refused = among_others([seen("A", "serial", look={"distinct": 1})], "ymd")[0]
    assert (refused.field, refused.level, refused.why) == ("", "", "its cells repeat too often for a serial")
    said = seen("S", "serial", level="said", look={"distinct": 1})
    assert serials(said, seen("B", look=IDENTS)) == ["S"]
    part = seen("P", "part", level="said")
    assert serials(part, seen("B", look=IDENTS)) == []
    assert serials(seen("A", "serial"), seen("B", look=IDENTS)) == ["A"]


@pytest.mark.parametrize(
    ("inside", "outside"),
    [
        ({"filled": 91}, {"filled": 90}),  # nearly every row has one
        ({"distinct": 6}, {"distinct": 5}),
        ({"dates": 0.19}, {"dates": 0.2}),
        ({"clocks": 0.19}, {"clocks": 0.2}),
        ({"idents": 0.81}, {"idents": 0.8}),
        ({"idents": 0.0, "numbers": 0.81, "whole": 1.0}, {"idents": 0.0, "numbers": 0.8, "whole": 1.0}),
        ({"idents": 0.0, "numbers": 1.0, "whole": 1.0}, {"idents": 0.0, "numbers": 1.0, "whole": 0.99}),
    ],
)
def test_a_column_may_be_the_serial_where_it_looks_like_one(inside, outside):
    assert serials(seen("X", look=IDENTS | inside)) == ["X"]
    assert serials(seen("X", look=IDENTS | outside)) == []


def test_only_a_column_that_nobody_is_sure_of_may_turn_out_the_serial():
    free = [seen("X", field, look=IDENTS) for field in ("", "job", "model", "neck", "tech")]
    assert [serials(column) for column in free] == [["X"]] * 5
    assert serials(seen("X", "note", level="unsure", look=IDENTS)) == ["X"]
    assert serials(seen("X", "note", look=IDENTS)) == []
    assert serials(seen("X", "job", level="said", look=IDENTS)) == []


NUMBERS = {"numbers": 1.0, "whole": 1.0}


def test_the_likeliest_serial_is_by_words_then_letters_and_figures_then_not_running_then_by_how_it_differs():
    plain = seen("X", look=NUMBERS | {"distinct": 90})
    assert serials(plain, seen("Job", "job", look=NUMBERS | {"distinct": 10})) == ["Job"]
    assert serials(plain, seen("Neck no", "neck", look=NUMBERS | {"distinct": 10})) == ["Neck no"]
    assert serials(plain, seen("Y", look=IDENTS | {"distinct": 10})) == ["Y"]
    assert serials(plain, seen("Y", look=NUMBERS | {"distinct": 100, "running": True})) == ["X"]
    assert serials(plain, seen("Y", look=NUMBERS | {"distinct": 91})) == ["Y"]


def test_a_serial_by_its_cells_is_likely_where_no_other_comes_near_and_else_asked_about():
    def level(one, other):
        (found,) = [g for g in among_others([one, other], "ymd") if g.field == "serial"]
        return found.level

    best = seen("X", look=NUMBERS | {"distinct": 60})
    assert level(best, seen("Y")) == "likely"  # alone
    assert level(best, seen("Y", look=NUMBERS | {"distinct": 19})) == "likely"
    assert level(best, seen("Y", look=NUMBERS | {"distinct": 20})) == "unsure"  # not thrice as many
    assert level(seen("X", look=IDENTS | {"distinct": 90}), seen("Y", look=NUMBERS | {"distinct": 80})) == "likely"
    assert level(seen("Job", "job", look=NUMBERS), seen("Y", look=NUMBERS)) == "likely"
    (found,) = among_others([best], "ymd")
    assert (found.why, found.measure) == ("its cells: 60 different of 100", "")


def test_rows_that_are_only_numbered_are_not_asked_about():
    serial, numbered = seen("Serial", "serial"), seen("#", look={"running": True})
    assert fields(serial, numbered) == ["serial", "other"]
    assert fields(seen("Lot", "lot"), numbered) == ["lot", ""]
    assert fields(seen("Part", "part"), numbered) == ["part", "other"]
    assert fields(serial, seen("#")) == ["serial", ""]
    assert fields(serial, seen("Job", "job", look={"running": True})) == ["serial", "job"]


def test_a_measurement_right_of_a_stage_belongs_to_it_where_a_row_speaks_of_several():
    nut, rod = seen("Nut", "date", stage="nut_slotting"), seen("Rod", "date", stage="rod_at_pitch")
    gap, relief = reading("Gap", "nut"), reading("Bow", "relief")
    told = among_others([relief, nut, gap, rod, relief], "ymd")
    assert [guess.stage for guess in told] == ["", "nut_slotting", "nut_slotting", "rod_at_pitch", "rod_at_pitch"]
    assert told[2].why == "its place, right of 'Nut'"
    assert among_others([nut, gap], "ymd")[1].stage == ""  # one stage only
    assert among_others([nut, gap, rod, seen("Bench", "stage")], "ymd")[1].stage == ""
    said = reading("Gap", "nut", level="said")
    assert among_others([nut, said, rod], "ymd")[1].stage == ""
    own = reading("Gap", "nut", stage="packing")
    assert among_others([nut, own, rod, relief], "ymd")[1].stage == "packing"
    perhaps = seen("Pack", "date", level="unsure", stage="packing")
    assert among_others([nut, rod, perhaps, gap], "ymd")[3].stage == "rod_at_pitch"
    assert among_others([nut, seen("Note", "note"), rod], "ymd")[1].stage == ""


def test_relief_along_two_edges_is_bow():
    bass, treble = reading("B", "relief", position="bass"), reading("T", "relief", position="treble")
    assert [g.measure for g in among_others([bass, treble], "ymd")] == ["neck_bow", "neck_bow"]
    assert [g.measure for g in among_others([bass], "ymd")] == ["relief"]
    middle = reading("M", "relief")
    assert [g.measure for g in among_others([bass, treble, middle], "ymd")] == ["neck_bow", "neck_bow", "relief"]
    other = reading("T", "relief", position="treble", stage="packing")
    assert [g.measure for g in among_others([bass, other], "ymd")] == ["relief", "relief"]
    said = reading("T", "relief", level="said", position="treble")
    assert [g.measure for g in among_others([bass, said], "ymd")] == ["neck_bow", "relief"]
    action = reading("A", "action", position="treble")
    assert [g.measure for g in among_others([bass, action], "ymd")] == ["relief", "action"]


@pytest.mark.parametrize(
    ("measure", "strings", "told"),
    [
        ("action", ["6", "1"], ["bass", "treble"]),
        ("nut", ["4", "1"], ["bass", "treble"]),
        ("action", ["1"], ["treble"]),
        ("action", ["6"], ["bass"]),
        ("action", ["6", "2"], ["6", "2"]),
        ("action", ["6", "3", "1"], ["6", "3", "1"]),
        ("intonation", ["6", "1"], ["6", "1"]),
        ("action", ["bass", "1"], ["bass", "treble"]),
        ("action", ["1", "1", "6"], ["1", "1", "6"]),
    ],
)
def test_the_first_and_the_last_string_alone_are_the_two_sides(measure, strings, told):
    guesses = [reading(f"S{n}", measure, position=string).guess for n, string in enumerate(strings)]
    assert [guess.position for guess in outer_strings(guesses)] == told
    said = [replace(guess, level="said") for guess in guesses]
    assert [guess.position for guess in outer_strings(said)] == strings
