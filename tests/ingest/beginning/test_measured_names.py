"""Columns of a row-a-measurement sheet known by their cells: what was measured, and where."""

import pytest

from ingest.beginning.guesses import Guess, guess_column
from ingest.beginning.measured_names import named_measures
from ingest.beginning.profiles import profile
from ingest.beginning.survey import ColumnSeen


def fields(**columns):
    seen = []
    for heading, cells in columns.items():
        filled = tuple("" if cell == "_" else cell for cell in cells.split("|"))
        guess = guess_column(heading, None) if heading in ("value", "relief", "item") else Guess(heading)
        seen.append(ColumnSeen(guess, len(filled), filled, filled, profile(filled)))
    return [guess.field for guess in named_measures(seen, [column.guess for column in seen])]


NAMES, PLACES = "relief|nut gap|action f12|verdict", "_|A|G|_"


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        ({"thing": NAMES, "at": PLACES, "value": "1|2|3|x"}, ["what", "position", "value"]),
        ({"item": NAMES, "value": "1|2|3|x"}, ["what", "value"]),  # elsewhere a model
        ({"thing": NAMES, "at": "_|bass|treble|_", "value": "1|2|3|x"}, ["what", "position", "value"]),
        ({"thing": NAMES, "at": "x|y|z|z", "value": "1|2|3|x"}, ["what", "", "value"]),
        ({"thing": NAMES, "at": PLACES, "size": "1|2|3|x"}, ["", "", ""]),  # nothing says where the values stand
        ({"thing": "relief|relief|relief|x", "value": "1|2|3|x"}, ["", "value"]),
        ({"fault": "relief|nut gap|_|_", "value": "1|2|3|x"}, ["", "value"]),  # seldom filled
        ({"thing": NAMES, "relief": "1|2|3|4", "value": "1|2|3|x"}, ["", "reading", "value"]),
        ({"thing": NAMES, "other": NAMES, "value": "1|2|3|x"}, ["", "", "value"]),  # which of two, nobody knows
    ],
)
def test_names_of_measurements_beside_values_are_what_was_measured(columns, told):
    assert fields(**columns) == told
