"""Two readings have one mark where they, and what was done to their instruments, say the same, and else not."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.story.marks import OF_READING, OF_VISIT, marks
from analysis.studies.story.story import story
from tests.analysis.studies.drifting import shop, snapshot

N = 40


@pytest.fixture(scope="module")
def told():
    rng = np.random.default_rng(20310101)
    values = {("relief", ""): rng.normal(size=N), ("action", "bass"): rng.normal(size=N)}
    words = {name: rng.choice(["a", "b"], N) for name in ("setter", "early", "gauge", "lot", "supplier")}
    held = snapshot(shop(), values, rh=rng.normal(45, 5, N), shuffled=rng, **words).once(story)
    return held.visits.whole(), held.readings.whole()


def made(visits: pl.DataFrame, readings: pl.DataFrame) -> np.ndarray:
    return marks(visits.get_column, readings.get_column).to_numpy()


def other(column: pl.Series, row: int) -> pl.Series:
    """The same column that says something else in one row."""
    if column.dtype == pl.Categorical():
        return column.cast(pl.String).scatter(row, "something else")
    if column.dtype == pl.Float64():
        return column.scatter(row, -1.25)
    return column.set(pl.Series(np.arange(len(column)) == row), None)


def of_instrument(visits: pl.DataFrame, readings: pl.DataFrame, row: int) -> np.ndarray:
    return (readings["serial"] == visits["serial"][row]).to_numpy()


@pytest.mark.parametrize("name", OF_READING)
def test_whatever_a_reading_says_is_in_its_mark_and_in_no_other(told, name):
    visits, readings = told
    now = made(visits, readings.with_columns(other(readings[name], 7).alias(name)))
    assert (now != made(*told)).nonzero()[0].tolist() == [7]


@pytest.mark.parametrize("name", OF_VISIT)
def test_what_a_first_pass_says_is_in_the_marks_of_its_instrument(told, name):
    visits, readings = told
    now = made(visits.with_columns(other(visits[name], 9).alias(name)), readings)
    assert visits["first_pass"][9]
    assert ((now != made(*told)) == of_instrument(visits, readings, 9)).all()


def test_of_a_later_pass_nothing_is_said(told):
    visits, readings = told
    later = visits.with_columns(pl.Series("first_pass", np.arange(len(visits)) != 9))
    now = made(later.with_columns(other(visits["tech"], 9).alias("tech")), readings)
    assert (now == made(later, readings)).all()
    assert ((now != made(*told)) == of_instrument(visits, readings, 9)).all()


def test_it_counts_which_pass_came_first_and_whose_they_are(told):
    visits, readings = told
    mine = np.flatnonzero((visits["serial"] == visits["serial"][0]).to_numpy())
    turned = np.arange(len(visits))
    turned[mine[:2]] = mine[:2][::-1]
    for now in (
        made(visits[turned], readings),
        made(visits.with_columns(visits["serial"].scatter(mine, "another").alias("serial")), readings),
    ):
        assert ((now != made(*told)) == of_instrument(visits, readings, 0)).all()


def test_a_mark_is_what_it_is_wherever_its_row_stands_and_whatever_else_is_loaded(told):
    visits, readings = told
    some = visits["serial"].unique().sort()[5:12]
    few = visits.filter(pl.col("serial").is_in(some.implode()))
    number = dict(zip(few["visit"], range(len(few)), strict=True))
    rows = np.flatnonzero(readings["serial"].is_in(some.implode()).to_numpy())[::-1]
    read = readings[rows].with_columns(pl.col("visit").replace_strict(number))
    assert made(few, read).tolist() == made(*told)[rows].tolist()


def test_a_part_without_an_instrument_has_one_too(told):
    visits, readings = told
    alone = readings.with_columns(visit=readings["visit"].set(pl.Series(np.arange(len(readings)) < 3), None))
    now = made(visits, alone)
    assert (now != made(*told)).nonzero()[0].tolist() == [0, 1, 2]
    named = alone.with_columns(serial=alone["serial"].scatter(0, "N1"))
    assert (made(visits, named) != now).nonzero()[0].tolist() == [0]
