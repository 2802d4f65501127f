"""What rows say, as numbers."""

from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from analysis.studies.matters.numbered import NONE, Said, digits, mixed

COLUMNS = {
    "text": ["a", None, "", "b", "a"],
    "word": pl.Series(["x", "y", None, "x", ""], dtype=pl.Categorical),
    "day": [date(2026, 1, 5), None, date(2026, 1, 6), date(2026, 1, 5), date(1970, 1, 1)],
    "when": [datetime(2026, 1, 5, 7, tzinfo=UTC), None, None, datetime(1970, 1, 1, tzinfo=UTC), None],
    "number": [1.5, None, -0.25, 1.5, 0.0],
    "whole": [3, None, -3, 0, 3],
    "flag": [True, None, False, True, False],
}
ROWS = pl.DataFrame(COLUMNS)


@pytest.mark.parametrize("name", COLUMNS)
def test_rows_have_one_number_where_they_say_the_same_and_else_not(name):
    found, said = digits(ROWS[name]), ROWS[name].cast(pl.String).to_list()
    for one in range(len(said)):
        assert (found[one] == NONE) == (said[one] is None)
        for other in range(len(said)):
            assert (found[one] == found[other]) == (said[one] == said[other])


@pytest.mark.parametrize("name", COLUMNS)
def test_rows_asked_for_by_number_say_what_they_say_in_whatever_table_they_stand(name):
    some = ROWS[[4, 0, 1]]
    asked: list[str] = []
    said = Said(lambda of: (asked.append(of), ROWS[of])[1])
    at = np.array([4, -1, 0, 1])
    assert said.of(name, at)[[0, 2, 3]].tolist() == digits(some[name]).tolist()
    assert said.of(name, at)[1] == NONE
    assert asked == [name]


def test_of_no_row_at_all_nothing_is_said():
    said = Said(lambda name: ROWS[name].head(0))
    assert said.of("word", np.array([-1, -1])).tolist() == [int(NONE)] * 2
    assert len(said.of("day", np.zeros(0, dtype=np.int64))) == 0


def test_the_order_of_what_is_said_counts():
    one, other = digits(ROWS["whole"]), digits(ROWS["number"])
    assert (mixed([one, other]) != mixed([other, one])).any()
    assert mixed([one, other]).tolist() == mixed([one.copy(), other.copy()]).tolist()
