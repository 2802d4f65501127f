"""The ratio of a count to an uncertain expectation: its definition, its limits, and how often it holds the truth."""

import numpy as np
import pytest
from scipy import stats

from analysis.methods.problems import UnusableData
from analysis.methods.uncertain_ratio import ratio_mid_p


@pytest.mark.parametrize("k", [1, 4, 10, 60])
def test_over_a_known_expectation_half_of_the_tie_is_counted(k):
    low, high = ratio_mid_p(k, 8.0, 0.0)
    above = stats.poisson.sf(k, 8.0 * low) + stats.poisson.pmf(k, 8.0 * low) / 2
    below = stats.poisson.cdf(k - 1, 8.0 * high) + stats.poisson.pmf(k, 8.0 * high) / 2
    assert (above[0], below[0]) == pytest.approx((0.025, 0.025), rel=1e-5)


@pytest.mark.parametrize(("k", "others", "times"), [(6, 9, 1.0), (15, 4, 3.0), (1, 20, 0.5)])
def test_an_expectation_from_a_count_gives_the_binomial_mid_p_limits(k, others, times):
    expected = others / times  # the others did `times` as much work
    low, high = ratio_mid_p(k, expected, expected**2 / others)
    for ratio, tail in ((low[0], "above"), (high[0], "below")):
        given = stats.binom(k + others, ratio / (ratio + times))
        chance = given.sf(k) if tail == "above" else given.cdf(k - 1)
        assert chance + given.pmf(k) / 2 == pytest.approx(0.025, rel=1e-5)


def test_nothing_has_a_lower_limit_of_nothing_and_doubt_widens():
    assert ratio_mid_p(0, 5.0, 1.0)[0][0] == 0.0
    widths = [np.diff(np.ravel(ratio_mid_p(7, 5.0, v)))[0] for v in (0.0, 1.0, 5.0, 25.0)]
    assert (np.diff(widths) > 0).all()


def test_the_true_ratio_lies_within_in_nineteen_of_twenty():
    rng = np.random.default_rng(20261128)
    for mean, times in ((4.0, 1.0), (20.0, 1.0), (20.0, 0.2), (8.0, 6.0)):
        k, others = rng.poisson(1.7 * mean, 4000), rng.poisson(mean * times, 4000)
        known = others > 0
        expected = others[known] / times
        low, high = ratio_mid_p(k[known], expected, expected / times)
        assert 0.93 <= ((low <= 1.7) & (high >= 1.7)).mean() <= 0.985


@pytest.mark.parametrize(
    ("k", "expected", "variance"), [(1.5, 2.0, 0.0), (-1, 2.0, 0.0), (1, 0.0, 0.0), (1, 2.0, -1.0)]
)
def test_what_is_no_count_is_refused(k, expected, variance):
    with pytest.raises(UnusableData, match="whole counts"):
        ratio_mid_p(k, expected, variance)
