"""Whoever keeps a book of their own is listed by being named there, once, and nobody whom a list knows."""

import pytest

from tests.analysis.studies.benches import shop

BOOK = {"name": "wk33.xlsx", "tech": "Marta"}


def keys(**tables):
    return [tech.key for tech in shop(**tables).techs]


def test_who_keeps_a_book_is_listed_by_being_named_there():
    assert keys(log=[BOOK, {"name": "other", "tech": " marta "}]) == ["Marta"]
    assert keys(log=[BOOK], tech=[{"key": "J"}]) == ["J", "Marta"]


@pytest.mark.parametrize("tech", [{"key": "Marta"}, {"key": "M1", "name": "Marta"}, {"key": "M1", "words": ["MARTA"]}])
def test_whom_a_list_knows_is_not_listed_again(tech):
    assert keys(log=[BOOK], tech=[tech]) == [tech["key"]]


def test_two_names_a_word_of_the_log_and_no_name_list_nobody():
    assert keys(log=[BOOK | {"tech": "MB/AO"}, BOOK | {"tech": ""}]) == []
    assert keys(log=[BOOK | {"words": {"tech": {"Marta": "M1"}}}], tech=[{"key": "M1"}]) == ["M1"]
