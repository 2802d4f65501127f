"""What a cell that could not be read may have been meant to say."""

import csv

import pytest

from ingest.verbs import worklist
from ingest.verbs.answers import sheet
from ingest.verbs.groups import VALUE, Decision, Group

LOST = [("0.024", 0.024), ("0.24", 0.24), ("2.4", 2.4), ("240", 240.0), ("2400", 2400.0)]


@pytest.mark.parametrize(
    ("typed", "meant", "lost"),
    [
        ("24", [("24", 24.0)], LOST),
        ("2,4O", [("2.40", 2.4)], []),
        ("l.8", [("1.8", 1.8)], []),
        ("-I2", [("-12", -12.0)], []),
        ("0,15", [("0.15", 0.15)], []),
        ("1,234", [("1.234", 1.234), ("1234", 1234.0)], []),
        ("24.5", [("24.5", 24.5)], []),
        ("999.99", [], []),
        ("about 2", [], []),
    ],
)
def test_what_a_text_may_have_been_meant_to_say(typed, meant, lost):
    told = [(*one, False) for one in meant] + [(*one, True) for one in lost]
    assert list(worklist._readings_of(typed)) == [(text, pytest.approx(x), moved) for text, x, moved in told]


@pytest.mark.parametrize(
    ("typed", "guess", "sure"),
    [
        ("0,15", "0.15", True),  # a comma for a point; never ten times less
        ("0,5", "", False),
        ("250", "0.25", False),  # perhaps a lost point: no answer by itself
        ("15", "", False),  # 0.15 and 0.015 may both be meant
        ("O.2l", "0.21", True),
        ("0.2", "", False),  # asked for another reason: it reads as it stands
        ("999", "", False),
    ],
)
def test_only_what_can_be_nothing_else_is_an_answer_by_itself(typed, guess, sure):
    cells = (("bench.csv", 2, "relief"),)
    group = Group("a", VALUE, "", "relief", typed, "a length", cells, "bench.csv, line 2")
    told = worklist._guessed_value(group, {"relief": (0.01, 0.3)})
    assert (told.guess, told.sure) == (guess, sure)
    [_, line] = csv.reader(sheet([Decision("a", "A", "", VALUE, 1, (told,))]).splitlines())
    assert line[-2:] == [guess, guess if sure else ""]
