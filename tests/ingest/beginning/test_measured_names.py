"""Columns of a row-a-measurement sheet known by their cells: what was measured, and where."""

import pytest

from ingest.beginning.asking import WHAT, Ask, unfit
from ingest.beginning.guesses import Guess, guess_column
from ingest.beginning.measured_names import named_measures
from ingest.beginning.new import propose
from ingest.beginning.profiles import profile
from ingest.beginning.survey import ColumnSeen


def fields(**columns):
    seen = []
    for heading, cells in columns.items():
        filled = tuple("" if cell == "_" else cell for cell in cells.split("|"))
        guess = guess_column(heading, None) if heading in ("value", "relief", "item", "what") else Guess(heading)
        seen.append(ColumnSeen(guess, len(filled), filled, filled, profile(filled)))
    return [guess.field for guess in named_measures(seen, [column.guess for column in seen])]


GIVEN = ("Neck lot", "Neck bow", "Action 1st", "Result")
NAMES, PLACES = "relief|nut gap|action f12|verdict", "_|A|G|_"


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        ({"thing": NAMES, "at": PLACES, "value": "1|2|3|x"}, ["what", "position", "value"]),
        ({"item": NAMES, "value": "1|2|3|x"}, ["what", "value"]),  # elsewhere a model
        ({"thing": NAMES, "at": "_|bass|treble|_", "value": "1|2|3|x"}, ["what", "position", "value"]),
        ({"thing": NAMES, "at": "x|y|z|z", "value": "1|2|3|x"}, ["what", "", "value"]),
        ({"thing": NAMES, "at": PLACES, "size": "4|2|3|x"}, ["what", "position", "value"]),
        ({"thing": NAMES, "size": "4|2|3|x", "other": "x|y|z|4"}, ["what", "value", ""]),
        ({"thing": NAMES, "size": "4|2|3|x", "also": "4|5|8|7"}, ["", "", ""]),  # which of two, nobody knows
        ({"thing": NAMES, "size": "1|_|_|x"}, ["", ""]),
        ({"thing": NAMES, "size": "x|y|z|4"}, ["", ""]),
        ({"thing": "relief|nut gap|result|neck lot|x", "size": "1|2|ok|L7|x"}, ["what", "value"]),
        ({"thing": "relief|nut gap|a|b|c", "size": "1|2|3|4|5"}, ["", ""]),  # most names mean nothing known
        ({"what": "a|b|relief|relief", "size": "x|y|.1|.2"}, ["what", "value"]),  # named as such
        ({"thing": "relief|relief|relief|x", "value": "1|2|3|x"}, ["", "value"]),
        ({"fault": "relief|nut gap|_|_", "value": "1|2|3|x"}, ["", "value"]),  # seldom filled
        ({"thing": NAMES, "relief": "1|2|3|4", "value": "1|2|3|x"}, ["", "reading", "value"]),
        ({"thing": NAMES, "other": NAMES, "value": "1|2|3|x"}, ["", "", "value"]),  # which of two, nobody knows
    ],
)
def test_names_of_measurements_beside_values_are_what_was_measured(columns, told):
    assert fields(**columns) == told


def test_a_sheet_of_names_and_results_among_its_values_is_a_row_a_measurement_whatever_its_headings():
    rows = []
    for n in range(40):
        at, who = f"2026-03-{2 + n // 4:02d} 08:{n % 4}0", f"B{n},LARK,final,JR"
        rows += [
            f"{at},{who},{name},{cell}"
            for name, cell in zip(GIVEN, (f"L{n // 8}", f".01{n % 9}", "5/64", "ok"), strict=True)
        ]
    for what, value in (("What", "Reading"), ("Zzq", "Found it so")):
        (seen,) = propose(
            [("a.csv", "\n".join([f"Date,Serial,Model,Bench,Who,{what},{value}", *rows]).encode())]
        ).surveys
        assert (seen.shape, seen.column("what").heading, seen.values()[0].heading) == ("measurement", what, value)


def test_an_answer_that_no_row_of_a_measurement_can_mean_is_refused():
    ask = Ask(f"{WHAT}Neck lot", "what is measured as 'Neck lot'?", (), "ask")
    assert not unfit(ask, "lot")
    assert not unfit(ask, "action bass")
    assert "'tech' is what no row of a measurement says; wanted" in unfit(ask, "tech")
