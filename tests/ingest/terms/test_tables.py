"""Texts as categories, their ranks, and one key for many: what a large table is sorted by."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.terms import tables

WORDS = st.lists(st.one_of(st.none(), st.sampled_from(["", "a", "B", "b", "ä", "10", "9", "aa"])), max_size=30)


@given(WORDS)
def test_ranks_stand_in_the_order_of_texts_and_a_null_before_all(words):
    texts = pl.Series("t", words, dtype=pl.String)
    ranks = tables.rank(texts)
    assert ranks.tolist() == tables.rank(tables.coded(texts)).tolist()
    order = sorted({word for word in words if word is not None}, key=lambda word: word.encode())
    first = [None] if None in words else []
    assert ranks.tolist() == [[*first, *order].index(word) for word in words]


@given(st.lists(st.tuples(st.integers(-5, 5), st.integers(0, 2**40), st.integers(0, 2**40)), max_size=30))
def test_one_key_sorts_as_its_parts_do(rows):
    parts = [np.array([row[k] for row in rows], dtype=np.int64) for k in range(3)]
    key = tables.one_key(*parts)
    assert np.lexsort((key,)).tolist() == np.lexsort(parts[::-1]).tolist()
    assert (np.diff(np.sort(key)) == 0).sum() == len(rows) - len(set(rows))


def test_categories_refuse_a_join_with_texts_until_they_are_texts_again():
    coded = pl.DataFrame({"a": ["x", "y"]}).select(tables.coded(pl.Series("a", ["x", "y"])))
    texts = pl.DataFrame({"a": ["y"], "b": [1]})
    with pytest.raises(pl.exceptions.SchemaError):
        coded.join(texts, on="a")
    assert tables.plain(coded).join(texts, on="a").rows() == [("y", 1)]
