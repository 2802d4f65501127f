"""A spread that widened: its period, its size with its interval, and how seldom it is told of readings that did not."""

import numpy as np
import pytest

from analysis.methods.problems import UnusableData
from analysis.methods.widened import widened

RNG = np.random.default_rng(20261203)


def squares(values):
    """Mean squared difference of each row over 2, differences cut at seven."""
    return (np.clip(np.diff(values, axis=1), -7, 7) ** 2).mean(axis=1) / 2


def test_a_spread_that_doubles_is_told_from_its_period_on_and_its_interval_holds_it():
    held, firsts = 0, []
    for _ in range(300):
        values = RNG.standard_normal((14, 61))
        values[9:] *= 2
        found = widened(squares(values), np.full(14, 60))
        firsts.append(found.first)
        held += found.low <= 2 <= found.high
        assert found.z > 4.5
    assert np.mean(np.array(firsts) == 9) > 0.95
    assert held > 0.9 * 300


def test_the_error_is_that_of_successive_differences():
    # von Neumann et al. 1941: the mean square successive difference varies some 1.5 times as much as s squared.
    values = RNG.standard_normal((4000, 61))
    assert np.log(squares(values)).var() * 60 == pytest.approx(3.0, rel=0.08)


def test_a_spread_that_narrows_or_stays_is_not_told():
    values = RNG.standard_normal((14, 61))
    values[9:] /= 2
    found = widened(squares(values), np.full(14, 60))
    assert found.z < 4.5


@pytest.mark.parametrize("draw", [RNG.standard_normal, lambda size: RNG.standard_t(5, size)])
def test_what_stays_is_hardly_ever_told(draw):
    told = 0
    for _ in range(1000):
        values = draw((RNG.integers(7, 40), RNG.integers(20, 200)))
        found = widened(squares(values), np.full(len(values), values.shape[1] - 1))
        told += found is not None and found.z >= 4.5 and found.ratio >= 1.3
    assert told == 0


def test_too_few_periods_and_thin_ones_say_nothing():
    assert widened([1.0] * 6, [50] * 6) is None
    found = widened([1.0] * 6 + [9.0, 4.0, 4.0], [50] * 6 + [3, 50, 50])
    assert (found.first, round(found.ratio, 6)) == (7, 2.0)
    with pytest.raises(UnusableData):
        widened([1.0], [50, 50])
    with pytest.raises(UnusableData):
        widened([0.0] * 7, [50] * 7)
