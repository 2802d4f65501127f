"""Who stands apart from the middle of several people."""

import numpy as np

from analysis.methods.standing_apart import Spread, apart


def of(levels, *, each=100.0, variance=None, cells=None):
    """Everybody in one cell, or each in those of `cells` (a list of people a cell)."""
    cells = cells or [range(len(levels))]
    person = np.array([p for cell in cells for p in cell])
    cell = np.repeat(np.arange(len(cells)), [len(one) for one in cells])
    wide = np.ones(len(levels)) if variance is None else np.asarray(variance, dtype=float)
    n = np.full(len(person), each)
    mean = 5.0 * cell + np.asarray(levels)[person]  # what a cell lies at is nobody's
    return apart(person, cell, n, mean, Spread(wide, np.bincount(person, n - 1, minlength=len(levels)))).tolist()


def test_the_outlier_of_three_is_told_and_the_others_are_not():
    assert of([0.0, 1.2, 0.05]) == [False, True, False]
    assert of([0.0, 0.0, 0.02, -0.8]) == [False, False, False, True]


def test_of_two_and_of_two_against_two_nobody_is():
    assert of([0.0, 1.2]) == [False, False]
    assert of([0.0, 0.0, 1.2, 1.2]) == [False] * 4


def test_a_difference_within_chance_or_too_small_to_matter_is_none():
    assert of([0.0, 0.9, 0.0], each=5.0) == [False] * 3  # a standard error of .6
    assert of([0.0, 0.2, 0.0], each=1e5) == [False] * 3


def test_a_wide_hand_stands_apart_and_so_does_a_narrow_one():
    assert of([0.0] * 3, variance=[1.0, 1.1, 3.2]) == [False, False, True]
    assert of([0.0] * 3, variance=[1.0, 1.1, 0.3]) == [False, False, True]
    assert of([0.0] * 3, variance=[1.0, 1.1, 3.2], each=4.0) == [False] * 3


def test_two_who_never_met_are_compared_through_a_third_and_strangers_are_not():
    assert of([0.0, 0.0, 1.2], cells=[(0, 1), (1, 2)]) == [False, False, True]
    assert of([0.0, 0.0, 1.2], cells=[(0, 1), (2,)]) == [False] * 3


def test_nobody_at_all_is_nobody():
    none = np.empty(0, dtype=np.int64)
    assert apart(none, none, np.empty(0), np.empty(0), Spread(np.empty(0), np.empty(0))).tolist() == []
