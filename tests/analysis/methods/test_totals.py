"""Totals of weights: exact where the weights are 1, and shown by simulation where they are not."""

import numpy as np
import pytest
from scipy import stats

from analysis.methods.intervals import poisson_exact
from analysis.methods.problems import UnusableData
from analysis.methods.totals import chance_of_difference, total_interval


def test_equal_weights_give_the_exact_interval_of_a_count():
    counts = np.array([0, 1, 3, 10, 200])
    low, high = total_interval(counts, counts, np.ones(5))
    exact_low, exact_high = poisson_exact(counts)
    assert low == pytest.approx(exact_low, rel=1e-9)
    assert high == pytest.approx(exact_high, rel=1e-9)


def test_an_interval_follows_the_unit():
    low, high = total_interval([30.0], [120.0], [8.0])
    assert np.array(total_interval([1800.0], [120.0 * 3600], [480.0])) == pytest.approx(
        60 * np.array([low, high]), rel=1e-9
    )


def test_two_counts_are_compared_given_their_sum():
    # Binomial test of 14 of 20 at one half: 2 P(X >= 14) = 0.1153; of 10 of 20: 1.
    assert chance_of_difference([14, 10], [6, 10], [20, 20]) == pytest.approx(
        [stats.binomtest(14, 20).pvalue, 1.0], rel=1e-9
    )


def test_pieces_that_add_the_same_to_both_say_nothing():
    assert chance_of_difference([50.0], [50.0], [0.0]) == pytest.approx([1.0])


def test_what_is_no_total_is_refused():
    with pytest.raises(UnusableData, match="largest weight is above 0"):
        total_interval([1.0], [1.0], [0.0])


@pytest.mark.promise
def test_intervals_and_comparisons_keep_their_promise_with_uneven_weights():
    # Pieces come 5, 20 and 80 at a time in the mean, each with minutes between 5 and 60: 4,000 draws, seed 11 fixed
    # before the first run.
    rng = np.random.default_rng(11)
    for mean in (5, 20, 80):
        sums = np.zeros((2, 4000, 2))
        for side in range(2):
            for draw, pieces in enumerate(rng.poisson(mean, 4000)):
                weights = rng.gamma(1.5, 12.0, pieces) + 5
                sums[side, draw] = weights.sum(), (weights**2).sum()
        truth = mean * (1.5 * 12 + 5)
        low, high = total_interval(sums[0, :, 0], sums[0, :, 1], np.full(4000, 60.0))
        assert ((low <= truth) & (truth <= high)).mean() >= 0.93
        chance = chance_of_difference(sums[0, :, 0], sums[1, :, 0], sums[0, :, 1] + sums[1, :, 1])
        assert (chance < 0.05).mean() <= 0.06


def test_weights_may_be_any_from_nought_on():
    assert 0 < chance_of_difference([0.5], [0.2], [0.3])[0] <= 1
    assert chance_of_difference([0.0], [0.0], [0.0]).tolist() == [1.0]
    low, high = total_interval([0.5], [0.3], [0.4])
    assert 0 < low[0] < 0.5 < high[0]
    for wrong in (([-0.1], [0.2], [0.3]), ([0.1], [-0.2], [0.3]), ([0.1], [0.2], [-0.3])):
        with pytest.raises(UnusableData):
            chance_of_difference(*wrong)
    for wrong in (([-0.1], [0.2], [0.3]), ([0.1], [-0.2], [0.3]), ([0.1], [0.2], [0.0])):
        with pytest.raises(UnusableData):
            total_interval(*wrong)
