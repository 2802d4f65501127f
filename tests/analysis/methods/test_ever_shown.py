"""A test that lasts: its chances against a count by hand and by simulation, and the line between good and poor."""

import numpy as np
import pytest

from analysis.methods.ever_shown import chances, ends, ever_shown, lasting_plan
from analysis.methods.problems import UnusableData
from analysis.methods.sequential import SequentialPlan, verdict


def test_one_test_ends_as_its_counts_are_walked_by_hand():
    made = SequentialPlan(0.1, 0.5, 0.1, 0.1, np.array([-1, 0, 0]), np.array([1, 2, 2]))
    shown, not_shown = ends(made, 0.3)
    assert shown == pytest.approx([0.0, 0.49, 0.0])
    assert not_shown == pytest.approx([0.3, 0.0, 0.7 * 0.3 * 0.3])  # good, bad, bad
    # a second test after the first one's `not shown`, at instrument 1: shown at instrument 3
    assert ever_shown(made, 0.3).by == pytest.approx([0.0, 0.49, 0.49 + 0.3 * 0.49])


def walked(made: SequentialPlan, out: np.ndarray) -> bool:
    begun = 0
    while begun < len(out):
        word, at = verdict(made, out[begun:])
        if word == "shown":
            return True
        if word == "too few":
            return False
        begun += at
    return False


@pytest.mark.parametrize("p", [0.05, 0.12, 0.2])
def test_the_chance_of_ever_is_what_simulated_people_are_told(p):
    made = lasting_plan(0.05, 0.20)
    rng = np.random.default_rng(20261128)
    told = np.mean([walked(made, (rng.random(300) < p).astype(int)) for _ in range(1500)])
    exact = ever_shown(made, p).at_all
    assert told == pytest.approx(exact, abs=4 * np.sqrt(max(exact * (1 - exact), 0.002) / 1500))


@pytest.mark.parametrize(("good", "poor"), [(0.05, 0.20), (0.06, 0.20), (0.10, 0.30), (0.3, 0.9)])
def test_the_poor_are_told_shown_at_any_time_in_a_tenth_and_the_good_in_nine_tenths(good, poor):
    made = lasting_plan(good, poor)
    shown = chances(made, [good, poor])
    assert shown[1] <= 0.10
    assert shown[0] >= 0.90
    by = ever_shown(made, good)
    assert by.half_by() < by.until(0.9) < 150
    assert ever_shown(made, poor).half_by() is None


def test_the_more_lie_outside_the_rarer_is_shown():
    shown = chances(lasting_plan(0.05, 0.20), np.linspace(0, 1, 21))
    assert (np.diff(shown) <= 1e-12).all()
    assert shown[0] == pytest.approx(1.0)
    assert shown[-1] == pytest.approx(0.0)


@pytest.mark.parametrize("wrong", [(0.2, 0.1), (0.05, 0.0), (0.05, 0.06)])
def test_shares_that_no_test_tells_apart_are_refused(wrong):
    with pytest.raises(UnusableData):
        lasting_plan(*wrong, within=60)
