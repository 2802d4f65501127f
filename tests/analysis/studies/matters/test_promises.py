"""A tenth of tests/trials/matters.py: one cause is one line, rightly named, and nothing is named for nothing."""

import numpy as np
import pytest

from analysis.studies.matters.matters import open_matters
from tests.trials.caused_shops import WANTED
from tests.trials.matters import AT, lines_of, looked, shop_of
from tests.trials.two_causes import at_once, in_turn
from tests.trials.wide_hands import moved, nothing

SEED = 20270212


@pytest.mark.promise
@pytest.mark.parametrize("kind", WANTED)
def test_the_planted_cause_is_named_on_few_lines_and_no_other(kind):
    scope = "three" if kind == "lot" else "all"
    one = shop_of([SEED, list(WANTED).index(kind)], kind, scope, 1.5)
    found = looked(one, 2 if kind == "lot" else 4)
    assert found is not None
    assert found.enough
    assert found.open
    assert found.right
    assert not found.wrong
    assert found.start
    assert len(lines_of(one)) <= 3


@pytest.mark.promise
def test_where_nothing_moved_no_cause_is_named():
    for k in range(3):
        one = shop_of([SEED, 99, k], "none", "all", 0.0)
        assert not any(m.moves_with.named for m in one.until(AT + 20).once(open_matters))


@pytest.mark.promise
def test_two_causes_at_once_and_one_after_the_other_are_told_apart():
    assert at_once(np.random.default_rng([SEED, 100]), ("tech", "early"))
    assert in_turn(np.random.default_rng([SEED, 101]))


@pytest.mark.promise
def test_a_gauge_is_told_though_a_change_that_day_moved_everything_it_reads():
    told = [at_once(np.random.default_rng([SEED, 102, k]), ("gauge", "change")) for k in range(5)]
    assert sum(told) >= 4


@pytest.mark.promise
def test_whose_readings_lie_twice_as_far_apart_is_not_named_for_it_and_is_where_they_moved():
    told = nothing(24)  # where all had one spread, one matter in eleven named somebody
    assert told.matters >= 20
    assert told.named <= told.matters / 20
    assert told.wide == 0
    assert [right for right, _ in moved(0, 0)] == [True, True]
