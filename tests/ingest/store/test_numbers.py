"""A column is told again by its numbers as it was, of whatever type, and two of one column are told alike."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_series_equal

from ingest.store.numbers import NO_NUMBER, NotHeld, Numbers
from ingest.terms import tables

NOW = datetime(2026, 3, 1, 8, tzinfo=UTC)
COLUMNS = [
    pl.Series(["b", None, "ä", "b", ""], dtype=pl.Categorical),
    pl.Series(["x" * 20, "y", None, "", "x" * 20, "\nN1"]),
    pl.Series([f"w{n}" for n in range(255)] + [None]),
    pl.Series([f"w{n}" for n in range(256)] + [None], dtype=pl.Categorical),
    pl.Series([1.5, None, float("inf"), -0.0, 5e-324, float("nan")]),
    pl.Series([1.5, None, float("nan")], dtype=pl.Float32),
    pl.Series([NOW, None, NOW + timedelta(microseconds=1)]),
    pl.Series([True, False, None, True]),
    pl.Series([NOW.date(), date(1960, 1, 1), None]),
    pl.Series([1, None, 254]),
    pl.Series([1, None, 255]),
    pl.Series([2**16 - 1, 0]),
    pl.Series([2**32 - 2, None]),
    pl.Series([2**32 - 1, None]),
    pl.Series([-1, None, 7]),
    pl.Series([3, None], dtype=pl.Int32),
    pl.Series([2**32 - 2, None], dtype=pl.UInt32),
    pl.Series([timedelta(1), None]),
]


def cuts(column):
    return [column, column.clear(), column.drop_nulls(), column.filter(column.is_null())]


@pytest.mark.parametrize("column", COLUMNS, ids=lambda column: f"{column.dtype} {len(column)}")
def test_a_column_is_told_again_as_it_was(column):
    for one in cuts(column):
        told = Numbers.of(one)
        assert_series_equal(told.column("a"), one.alias("a"), check_exact=True)
        rows = np.arange(len(one))[::-2]
        assert_series_equal(told.at(rows).column("a"), one.gather(rows).alias("a"), check_exact=True)
        for other in cuts(column):
            both = told.alike(Numbers.of(other))
            assert both[0].numbers.dtype == both[1].numbers.dtype
            together = replace(both[0], numbers=np.concatenate([each.numbers for each in both]))
            assert_series_equal(together.column("a"), pl.concat([one, other]).alias("a"), check_exact=True)


@pytest.mark.parametrize("column", COLUMNS[:4], ids=lambda column: f"{column.dtype} {len(column)}")
def test_what_rows_say_is_told_by_their_words(column):
    for one in cuts(column):
        both = Numbers.of(one).alike(Numbers.of(column))  # some words stand twice, and some are said by no row
        for told in (Numbers.of(one), both[0]):
            texts = one.cast(pl.String).to_list()
            assert told.said() == set(texts) - {None}
            assert told.told().tolist() == [text not in (None, "") for text in texts]
            assert told.by_word({"b": 3, "": 1, "w7": 9}, -1).tolist() == [
                {"b": 3, "": 1, "w7": 9}.get(text, -1) for text in texts
            ]
            assert told.ranks().tolist() == told.small_ranks().tolist() == tables.rank(one).tolist()


def test_whole_numbers_stand_in_the_smallest_width_that_leaves_one_for_none():
    for highest, width in ((254, 1), (255, 2), (2**16 - 2, 2), (2**16 - 1, 4), (2**32 - 2, 4), (2**32 - 1, 8)):
        told = Numbers.of(pl.Series([0, highest, None]))
        assert (told.numbers.itemsize, told.column("").to_list()) == (width, [0, highest, None])
    assert Numbers.of(pl.Series([0, None, 300])).whole().tolist() == [0, -1, 300]


def test_words_stand_in_their_order_whatever_was_read_before():
    pl.Series(["zz", "a"], dtype=pl.Categorical)
    for dtype in (pl.Categorical, pl.String):
        told = Numbers.of(pl.Series(["zz", "b", None, "a", "b"], dtype=dtype))
        assert (told.words.to_list(), told.whole().tolist()) == (["a", "b", "zz"], [2, 1, -1, 0, 1])


def test_what_cannot_be_told_by_numbers_is_refused():
    bits = np.array([NO_NUMBER[8]], dtype=np.uint64).view(np.float64)
    for column in (pl.Series([[1], [2]]), pl.Series(bits), pl.Series([-(2**63)])):
        with pytest.raises(NotHeld, match="cannot be kept"):
            Numbers.of(column)


@pytest.mark.parametrize("column", COLUMNS[:4], ids=lambda column: f"{column.dtype} {len(column)}")
def test_words_are_found_and_ranked_as_the_column_itself_has_them(column):
    for one in cuts(column):
        both = Numbers.of(one).alike(Numbers.of(column))  # words that both say stand there twice
        told = replace(both[0], numbers=np.concatenate([each.numbers for each in both])[::-1])
        rows = told.column("")
        assert told.ranks().tolist() == tables.rank(rows).tolist()
        for asked in ({"b", "", "w7", "w255", "none"}, set()):
            assert told.say(asked).tolist() == [word in asked for word in rows.cast(pl.String)]


def test_a_column_without_words_has_no_ranks():
    with pytest.raises(ValueError, match="Int64 has no words"):
        Numbers.of(pl.Series([1])).ranks()
    with pytest.raises(ValueError, match="Int64 has no words"):
        Numbers.of(pl.Series([1])).say(["1"])
