"""A table a column at a time answers as a table in memory does, and reads no column that nobody asked for."""

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from analysis.studies.story import columns
from analysis.studies.story.columns import Columns
from ingest.terms import tables

N = 40
ROWS = pl.DataFrame(
    {
        "word": pl.Series([f"w{n % 3}" for n in range(N)], dtype=pl.Categorical),
        "number": [None if n % 7 == 0 else n / 3 for n in range(N)],
        "yes": [n % 2 == 0 for n in range(N)],
        **{f"c{n}": [n] * N for n in range(30)},
    }
)


@pytest.fixture
def asked():
    return []


@pytest.fixture
def table(asked):
    def read(name):
        asked.append(name)
        return ROWS[name]

    def some(name, rows):
        asked.append(f"some {name}")
        return ROWS[name][rows] if isinstance(rows, slice) else ROWS[name].gather(rows)

    return Columns(N, ROWS.columns, read, some)


QUESTIONS = [
    lambda t: t[["number", "word"]],
    lambda t: t[np.array([3, 1, 1])],
    lambda t: t[pl.Series([0, 39])],
    lambda t: t[2:5],
    lambda t: t.select("word", late=pl.col("number") > 5),
    lambda t: t.select(pl.col("c1", "c2")),
    lambda t: t.select(pl.all()),
    lambda t: t.select(pl.len()),
    lambda t: t.select(["c1", pl.col("c2").sum().over("word")]),
    lambda t: t.select(other=pl.Series(range(N))),
    lambda t: t.select(pl.col("word").cast(pl.String).replace_strict({"w0": "c3"}, default="")),
    lambda t: t.filter("yes", pl.col("number") > 5),
    lambda t: t.filter(pl.Series([True, False] * (N // 2)) & pl.Series([True] * N)),
    lambda t: t.filter(pl.col("number") > 1e9),
    lambda t: t.group_by("word").agg(pl.col("number").sum(), n=pl.len()).sort("word"),
    lambda t: t.group_by("word", "yes").len().sort("word", "yes"),
]


@pytest.mark.parametrize("question", QUESTIONS)
def test_it_answers_as_a_table_does(question, table):
    for one in (table, Columns.of(ROWS)):
        assert_frame_equal(question(one), question(ROWS), check_exact=True)


def test_a_column_nobody_asks_for_is_not_read(table, asked):
    table.select("word", late=pl.col("number") > 5)
    assert asked == ["word", "number"]
    asked.clear()
    table.filter(pl.col("yes"))
    assert asked == ["yes", *(f"some {n}" for n in ROWS.columns if n not in ("word", "number", "yes"))]
    with pytest.raises(pl.exceptions.ColumnNotFoundError):
        table.select("none")


def test_what_was_asked_for_last_stays_and_not_more(table, asked, monkeypatch):
    monkeypatch.setattr(columns, "MOST", 2 * ROWS["c1"].estimated_size())
    for name in ("c1", "c2", "c1", "c3", "c1"):
        assert table[name].to_list() == ROWS[name].to_list()
    assert asked == ["c1", "c2", "c3"]
    assert table["c2"].to_list() == ROWS["c2"].to_list()
    assert asked[-1] == "c2"


def test_of_an_empty_table_everything_is_empty():
    none = Columns.of(ROWS.clear())
    assert none.is_empty()
    assert len(none) == 0
    assert_frame_equal(none.filter(pl.col("number") > 1), ROWS.clear())
    assert_frame_equal(none.whole(), ROWS.clear())


def test_a_few_rows_of_a_column_that_is_not_in_memory_are_read_alone(table, asked):
    few, many = np.array([3, 1]), np.arange(20)
    assert_frame_equal(table.at(few, "word", "number"), ROWS[few].select("word", "number"))
    assert asked == ["some word", "some number"]
    assert_frame_equal(table.at(many, "number"), ROWS[many].select("number"))
    assert_frame_equal(table.at(few, "number"), ROWS[few].select("number"))
    assert asked == ["some word", "some number", "number"]


def test_words_are_ranked_as_those_of_a_table_are(table):
    for one in (table, Columns.of(ROWS)):
        assert one.ranks("word").tolist() == tables.rank(ROWS["word"]).tolist()
