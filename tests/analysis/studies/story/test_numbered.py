"""What rows say, as numbers."""

from datetime import UTC, date, datetime

import polars as pl
import pytest

from analysis.studies.story.numbered import NONE, digits, mixed

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
def test_rows_say_what_they_say_in_whatever_table_they_stand(name):
    some = [4, 0, 1]
    assert digits(ROWS[name].gather(some)).tolist() == digits(ROWS[name])[some].tolist()


def test_of_no_row_at_all_nothing_is_said():
    assert all(not len(digits(ROWS[name].head(0))) for name in COLUMNS)


def test_the_order_of_what_is_said_counts():
    one, other = digits(ROWS["whole"]), digits(ROWS["number"])
    assert (mixed([one, other]) != mixed([other, one])).any()
    assert mixed([one, other]).tolist() == mixed([one.copy(), other.copy()]).tolist()
