"""Since when somebody lies with the others."""

import numpy as np
import pytest

from analysis.methods.reached import Reached, reached


def of(difference, error=0.01, margin=0.25):
    return reached(np.array(difference, dtype=float), np.full(len(difference), error), margin)


def test_a_clean_run_is_reached_where_it_first_lies_within():
    assert of([1.0, 0.6, 0.4, 0.2, 0.1, 0.0]) == Reached(3, 3, 3)
    assert of([-1.0, -0.6, 0.0, 0.1]) == Reached(2, 2, 2)


def test_who_was_never_off_or_is_off_still_is_told_nothing():
    assert of([0.1, 0.0, 0.2]) is None
    assert of([1.0, 1.1, 0.9]) is None
    assert of([1.0, 0.0, 1.0]) is None
    assert of([]) is None


def test_what_is_hardly_known_takes_longer_to_be_shown():
    assert of([2.0, 0.0, 0.0, 0.0, 0.0, 0.0], error=0.3) == Reached(1, 1, 4)  # 0.3 / 2 x 1.645 is within 0.25
    assert of([2.0, 0.0, 0.0], error=0.3) is None


@pytest.mark.promise
@pytest.mark.parametrize("error", [0.1, 0.2])
def test_the_days_between_hold_the_true_one_in_at_least_85_of_100(error):
    rng, weeks, held, off = np.random.default_rng(20261202), 16, [], []
    for _ in range(400):
        true = 2.5 * np.exp(-np.arange(weeks) / rng.uniform(1.0, 3.0))
        when = int(np.argmax(true <= 0.25))
        found = reached(true + error * rng.normal(size=weeks), np.full(weeks, error), 0.25)
        if found is not None:
            held.append(found.low <= when <= found.high)
            off.append(found.at - when)
    assert len(held) > 340
    assert np.mean(held) >= 0.85
    assert abs(np.mean(off)) <= 1.0
