"""What part of a kind of signals is not chance."""

import pytest

from analysis.studies.matters.chance import Kind, not_chance


def test_of_a_kind_that_often_opened_it_is_what_the_budget_lets_expect():
    often, other = Kind(400, 100.0), Kind(100, 10.0)
    assert not_chance(often, [often, other]) == pytest.approx(0.75, abs=0.002)


def test_a_kind_that_seldom_opened_neither_leaps_nor_says_more_than_all_together():
    rest = Kind(40, 12.0)
    told = [not_chance(Kind(count, 0.5), [Kind(count, 0.5), rest]) for count in (1, 2, 3)]
    assert max(told) - min(told) < 0.1  # by itself from 0.5 to 0.83
    assert told == sorted(told)
    assert min(told) > 0.65


def test_what_opened_less_than_was_allowed_is_nothing_but_chance():
    few = Kind(2, 9.0)
    assert not_chance(few, [few]) == 0
    none = Kind(0, 0.0)
    assert not_chance(none, [none]) == 1
