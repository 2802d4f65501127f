"""One reading that lies far out is no move; what moved a little and holds one such is."""

from types import SimpleNamespace

import numpy as np

from analysis.studies.matters.one_reading import one_reading
from tests.dashboard.sentences.test_shared import matter


def part(*off, effect=1.0, airs=(), beside=()):
    values = np.array([0.3, -0.8, *off])
    found = SimpleNamespace(values=values, airs=dict.fromkeys(airs))
    best = SimpleNamespace(effect=effect, factor="humidity 0")
    sized = SimpleNamespace(evidence=found, best=best, column=np.r_[0, 0, np.ones(len(off))])
    return SimpleNamespace(sized=sized, narrowed=None, beside=[np.r_[0, 0, each] for each in beside])


def test_a_wild_reading_among_usual_ones_makes_it_alone():
    assert one_reading(part(12.0, 0.4, -0.6, 0.9))
    assert one_reading(part(-12.0, 0.4, -0.6, 0.9, effect=-1.0))
    assert one_reading(part(7.0))


def test_readings_that_all_lie_off_are_a_move_however_far_one_of_them_lies():
    assert not one_reading(part(12.0, 1.4, 1.6, 2.1, 0.9))
    assert not one_reading(part(3.5))
    assert not one_reading(part(3.0, 2.0, 3.9))
    assert not one_reading(part(-0.4, 0.6, 12.0, effect=-1.0))  # it lies to the other side
    assert not one_reading(part(12.0, 0.1, airs=["humidity 0"]))


def test_what_else_moved_them_is_taken_off_first():
    lowered = np.full(5, -4.0)  # a target, which was followed
    off = np.array([5.0, 1.4, 1.2, 2.1, 1.0])
    assert one_reading(part(*(off + lowered)[1:], 9.0))
    assert not one_reading(part(*(off + lowered), beside=[lowered]))
    assert one_reading(part(*(off + lowered), beside=[lowered + off - [6, 0, 0, 0, 0]]))


def test_it_is_watched_and_not_told_as_a_move():
    assert matter().matter.shown
    assert not matter(one_reading=True).matter.shown
