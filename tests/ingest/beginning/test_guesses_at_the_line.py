"""Where a guess at a column turns: an example on either side of every line that the cells may cross."""

from dataclasses import replace

import pytest

from ingest.beginning.guesses import decimal_sign, guess_by_cells, guess_column, guess_heading, guess_suspect
from ingest.beginning.profiles import Profile

PLAIN = Profile(100, 100, 30, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1, False, 30.0, ())
NUMBERS = {"numbers": 1.0, "measured": 1.0, "halves": 0.0, "middle": 2.4, "length": 4.0}


def cells(**changes):
    """A hundred cells of long texts, changed so."""
    return replace(PLAIN, **changes)


def words(*counts):
    """Cells that hold these words so often."""
    return {
        "words": tuple(counts),
        "distinct": len(counts),
        "filled": sum(many for _, many in counts),
        "rows": sum(many for _, many in counts),
    }


@pytest.mark.parametrize(
    ("heading", "field", "inside", "outside"),
    [
        # a reading is a number in more than half of the cells, and no day
        ("Relief", "reading", {"measured": 0.51}, {"measured": 0.5}),
        ("Relief", "reading", {"measured": 0.6, "dates": 0.49}, {"measured": 0.6, "dates": 0.5}),
        ("Reading", "value", {"measured": 0.51}, {"measured": 0.5}),
        ("Minutes", "minutes", {"measured": 0.71}, {"measured": 0.7}),
        # a moment is a day, a time of day or a figure that may be one
        ("Date", "date", {"dates": 0.71}, {"dates": 0.7}),
        ("Started at", "started_at", {"dates": 0.71}, {"dates": 0.7}),
        ("Started at", "started_at", {"clocks": 0.71}, {"clocks": 0.7}),
        ("Finished at", "finished_at", {"dates": 0.25, "clocks": 0.25, "figures": 0.25}, {"figures": 0.7}),
        ("Serial", "serial", {"dates": 0.89}, {"dates": 0.9}),
        # few words: forty, or a tenth of a long column
        ("Result", "outcome", {"distinct": 40}, {"distinct": 41}),
        ("Result", "outcome", {"distinct": 100, "filled": 1000}, {"distinct": 101, "filled": 1000}),
        ("Result", "outcome", {"numbers": 0.9, "whole": 0.4}, {"numbers": 0.91, "whole": 0.4}),
        ("Result", "outcome", {"numbers": 0.95, "whole": 0.5}, {"numbers": 0.95, "whole": 0.49}),
        ("Stage", "stage", {"distinct": 40}, {"distinct": 41}),
        ("Sent back to", "sent_back_to", {"distinct": 40}, {"distinct": 41}),
        ("Sent back to", "sent_back_to", {"distinct": 300, "filled": 1000}, {"distinct": 301, "filled": 1000}),
        ("Sent back to", "sent_back_to", {"dates": 0.49}, {"dates": 0.5}),
        ("Unit", "unit", {"distinct": 12}, {"distinct": 13}),
        ("Gauge", "gauge", {"distinct": 60}, {"distinct": 61}),
        ("Gauge", "gauge", {"distinct": 100, "filled": 1000}, {"distinct": 101, "filled": 1000}),
        # a person: a short text, no day, no time, no measured number
        ("Tech", "tech", {"length": 24.0}, {"length": 24.1}),
        ("Tech", "tech", {"length": 9.0, "dates": 0.49}, {"length": 9.0, "dates": 0.5}),
        ("Tech", "tech", {"length": 9.0, "clocks": 0.89}, {"length": 9.0, "clocks": 0.9}),
        ("Tech", "tech", {"length": 9.0, "numbers": 0.9}, {"length": 9.0, "numbers": 0.91}),
        ("Tech", "tech", {"length": 9.0, "numbers": 1.0, "whole": 0.5}, {"length": 9.0, "numbers": 1.0, "whole": 0.4}),
        # what cells refuse, they may still tell: days and times under another word
        ("Unit", "date", {"distinct": 50, "dates": 0.81}, {"distinct": 50, "dates": 0.8}),
        ("Unit", "started_at", {"distinct": 50, "clocks": 0.81}, {"distinct": 50, "clocks": 0.8}),
        # a stage over initials is who was there
        ("Nut slotting", "tech", {"length": 4.0}, {"length": 4.1}),
        ("Nut slotting", "tech", {"length": 2.0, "numbers": 0.49}, {"length": 2.0, "numbers": 0.5}),
        ("Nut slotting", "tech", {"length": 2.0, "distinct": 40}, {"length": 2.0, "distinct": 41}),
        ("Nut slotting", "tech", {"length": 2.0, "dates": 0.49}, {"length": 2.0, "dates": 0.5}),
        ("Nut slotting", "tech", {"length": 1.0}, {"length": 0.0}),
        # a word for a moment alone, over times of day
        ("In", "started_at", {"clocks": 0.81}, {"clocks": 0.8}),
        ("Out", "finished_at", {"dates": 0.3, "clocks": 0.6}, {"dates": 0.2, "clocks": 0.6}),
        # a heading that is a field by its words, and a measurement by its cells
        ("Head tension", "reading", NUMBERS, {}),
    ],
)
def test_a_heading_is_believed_as_far_as_its_cells_bear_it_out(heading, field, inside, outside):
    assert guess_column(heading, cells(**inside)).field == field
    assert guess_column(heading, cells(**outside)).field != field


def test_results_under_a_stages_name_are_the_results_of_that_stage():
    known = [("ok", 40), ("pass", 20), ("fail", 20), ("rework", 9), ("rejected", 6), ("good", 3)]
    assert guess_column("Nut slotting", cells(**words(*known, ("zz", 2)))).stage == "nut_slotting"
    other = guess_column("Nut slotting", cells(**words(*known[:5], ("zz", 2))))
    assert (other.field, other.stage) == ("outcome", "")  # a result, but nobody knows of which stage


OUTCOMES = (("ok", 60), ("fail", 20), ("aa", 5), ("bb", 5), ("cc", 4), ("dd", 3), ("ee", 2), ("ff", 1))
BENCHES = (("nut slotting", 30), ("play test", 30), ("packing", 20), ("zz", 10), ("yy", 10))
KINDS = (("banjolele", 30), ("mandola", 30), ("tenor banjo", 20), ("zz", 10), ("yy", 10))
TRIBE = {"distinct": 2, "length": 10.0, "words": (("Al", 50), ("Jo B.", 50))}


@pytest.mark.parametrize(
    ("field", "inside", "outside"),
    [
        ("date", {"dates": 0.91}, {"dates": 0.9}),
        ("started_at", {"clocks": 0.91}, {"clocks": 0.9}),
        ("started_at", {"clocks": 1.0, "distinct": 6}, {"clocks": 1.0, "distinct": 5}),
        # half of the rows a result of the trade, and eight words at most
        ("outcome", words(("ok", 50), ("zz", 50)), words(("ok", 49), ("zz", 51))),
        ("outcome", words(*OUTCOMES), words(*OUTCOMES, ("gg", 1))),
        # three of five words a bench, hardly a number
        ("stage", words(*BENCHES), words(*BENCHES, ("xx", 1))),
        ("stage", words(*BENCHES) | {"numbers": 0.19}, words(*BENCHES) | {"numbers": 0.2}),
        ("stage", words(*BENCHES) | {"distinct": 40}, words(*BENCHES) | {"distinct": 41}),
        ("stage", words(*BENCHES) | {"distinct": 2}, words(*BENCHES) | {"distinct": 1}),
        ("model", words(*KINDS), words(*KINDS, ("xx", 1))),
        ("model", words(*KINDS) | {"numbers": 0.19}, words(*KINDS) | {"numbers": 0.2}),
        ("model", words(*KINDS) | {"distinct": 60}, words(*KINDS) | {"distinct": 61}),
        ("model", words(("mandola", 9)), {"words": (("mandola", 9),), "distinct": 0}),
        # a few short names may be people: two at least, ten letters each, a last initial at most
        ("tech", TRIBE, TRIBE | {"distinct": 1}),
        ("tech", TRIBE, TRIBE | {"length": 10.1}),
        ("tech", TRIBE | {"distinct": 12}, TRIBE | {"distinct": 13}),
        ("tech", TRIBE | {"distinct": 20, "filled": 1000}, TRIBE | {"distinct": 21, "filled": 1000}),
        ("tech", TRIBE, TRIBE | {"words": (("Al", 50), ("A1", 50))}),
    ],
)
def test_cells_alone_tell_a_field_as_far_as_they_are_plain(field, inside, outside):
    assert guess_by_cells("Höjd", cells(**inside)).field == field
    assert guess_by_cells("Höjd", cells(**outside)).field != field


def test_a_guess_by_few_words_names_four_of_them():
    told = {
        field: guess_by_cells("X", cells(**words(*of))).why
        for field, of in {"outcome": OUTCOMES, "stage": BENCHES, "model": KINDS}.items()
    }
    assert told == {
        "outcome": "its cells: ok, fail, aa, bb",
        "stage": "its cells: nut slotting, play test, packing, zz",
        "model": "its cells: banjolele, mandola, tenor banjo, zz",
    }


@pytest.mark.parametrize(
    ("heading", "changes", "measure", "unit"),
    [
        ("Bass", {"middle": 2.4}, "action", "mm"),
        ("Bass", {"middle": 0.1}, "relief", "mm"),
        ("Treble", {"middle": 0.3}, "", ""),  # a nut or a relief
        ("Treble", {"middle": 1.0}, "", ""),  # a nut or an action
        ("Treble", {"middle": 0.7}, "nut", "mm"),
        ("Bass", {"middle": 12.0}, "", ""),  # nothing in mm is so large
        ("X mm", {"middle": 2.4}, "action", "mm"),
        ("X thou", {"middle": 80.0}, "action", "thou"),
        ("X", {"middle": 2.4}, "", ""),  # nothing names a side or a unit
        ("Bass", {"middle": 2.4, "numbers": 0.8}, "action", "mm"),
        ("Bass", {"middle": 2.4, "numbers": 0.79}, "", ""),
        ("Bass", {"middle": 2.4, "whole": 0.5}, "action", "mm"),
        ("Bass", {"middle": 2.4, "whole": 0.51}, "", ""),  # whole numbers count something
    ],
)
def test_a_side_or_a_unit_over_numbers_of_one_usual_size_is_asked_about(heading, changes, measure, unit):
    guess = guess_by_cells(heading, cells(**NUMBERS | changes))
    assert (guess.measure, guess.unit) == (measure, unit)
    if measure:
        assert guess.level == "unsure"
        assert guess.why == f"its {'unit' if heading[0] == 'X' else 'side'} and the size of its numbers"


def test_two_numbers_a_cell_may_be_the_two_sides_of_a_measurement():
    assert guess_column("Action", cells(**NUMBERS, pairs=0.51)).position == "bass/treble"
    assert guess_column("Action", cells(**NUMBERS, pairs=0.51)).level == "unsure"
    assert guess_column("Action", cells(**NUMBERS, pairs=0.5)).position == ""
    assert guess_column("Action bass", cells(**NUMBERS, pairs=1.0)).position == "bass"


@pytest.mark.parametrize(
    ("heading", "target", "level"),
    [
        ("Time", "started_at", "sure"),
        ("Relief target", "other", "likely"),
        ("Intonation 3rd fret 5", "intonation 3 fret 5", "sure"),
        ("Intonation 3rd fret 12", "intonation 3", "sure"),
        ("Action b/t", "action bass/treble", "sure"),
        ("Relief out of rest", "relief left", "sure"),
        ("Relief in", "relief (in)", "sure"),
        ("Relief zzz", "relief", "likely"),  # a word that nobody knows beside it
        ("Nut slotting", "date", "likely"),  # a stage's name alone
        ("Seriall number", "serial", "likely"),  # near a word of the trade
        ("Intonaton", "intonation", "likely"),
        ("Xyz", "", ""),
        ("Seral", "serial", "likely"),
        ("Dste", "", ""),  # too short to be near anything
        ("String height 13th", "action 13", "sure"),
        ("Day and time", "started_at", "likely"),  # two words for it: the last
        ("Tech note", "note", "likely"),
        ("Date of visit date", "date", "likely"),
        ("Head relief", "relief", "sure"),  # a part of the instrument is where, not what
        ("Nut relief", "relief", "sure"),
        ("Relief value", "relief", "sure"),  # a word of single measurements says nothing beside the measurement
        ("Relief position", "relief", "sure"),
        ("Nut minutes", "minutes", "sure"),
    ],
)
def test_a_heading_alone_means_what_its_words_say_and_how_surely(heading, target, level):
    guess = guess_heading(heading)
    assert (guess.target(), guess.level) == (target, level)


@pytest.mark.parametrize(
    ("heading", "stage"),
    [
        ("Final relief", "final_inspection"),
        ("Nut slotting relief", "nut_slotting"),
        ("Nut", ""),  # its word is the measurement's
        ("Head", ""),
        ("Intonation", ""),
        ("Nut final", "final_inspection"),
        ("Nut minutes", "nut_slotting"),
        ("Stage", ""),
    ],
)
def test_a_heading_names_a_stage_beside_what_it_means(heading, stage):
    assert guess_heading(heading).stage == stage


def test_what_somebody_said_and_what_words_and_cells_tell_is_sure_and_a_question_is_not_read():
    levels = {level: replace(guess_heading("Relief"), level=level) for level in ("said", "sure", "likely", "unsure")}
    assert [level for level, guess in levels.items() if guess.sure] == ["said", "sure"]
    assert [level for level, guess in levels.items() if guess.taken] == ["said", "sure", "likely"]
    assert not replace(guess_heading("Relief"), field="").taken


@pytest.mark.parametrize(
    ("typed", "workbook", "sign"),
    [
        (["2,4", "2.4"], False, "."),  # as many: a point
        (["2,4", "2,5", "2.4"], False, ","),
        (["2.4", "2,5"], True, ","),
        (["2.4"], True, "."),
        (["2,4 mm", "2,5 mm", "2.4"], False, ","),
        (["1,2,3", "a,b", "2.4"], False, "."),
        (["-2,4", "+,5", "2.4"], False, ","),
        ([], True, "."),
    ],
)
def test_the_decimal_sign_is_the_one_that_most_numbers_have(typed, workbook, sign):
    assert decimal_sign(typed, workbook=workbook) == sign


def test_a_fault_near_one_that_the_trade_knows_has_its_suspect():
    assert guess_suspect("buzz, open string") == "nut_slotting"
    assert guess_suspect("Tailpiece rattles") == "tailpiece"
    assert guess_suspect("paint run") == ""
