import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import geom, norm

from analysis.methods.problems import UnusableData
from analysis.methods.rare_events import by_exponential, by_geometric, by_power
from analysis.methods.variables import individuals
from tests.published.cases import case, tolerance

gaps = st.lists(st.floats(0.1, 1000), min_size=2, max_size=30)


def test_transformed_valve_failures_match_print():
    # Montgomery, Introduction to SQC, Table 7.13 / Example 7.6 after Nelson 1994; the source rounds 1/3.6 to 0.2777.
    printed = case("valve-failures-power-transform")
    made, chart = by_power(printed.data["times"], power=printed.data["power"])
    assert made == pytest.approx(printed.published["transformed"], abs=tolerance(printed, "transformed"))
    assert chart.upper[0] == individuals(made).upper[0]
    assert not chart.beyond.any()


@given(gaps, st.sampled_from([24.0, 1 / 7]))
def test_hours_or_days_give_the_same_limits(x, scale):
    for baseline in (None, 2):
        here, there = by_exponential(x, baseline=baseline), by_exponential(np.array(x) * scale, baseline=baseline)
        assert there.lower == pytest.approx(here.lower * scale)
        assert there.upper == pytest.approx(here.upper * scale)


@given(st.lists(gaps, min_size=1, max_size=5))
def test_streams_together_give_what_each_gives_alone(parts):
    starts = np.cumsum([0] + [len(part) for part in parts[:-1]])
    together = by_exponential(np.concatenate(parts), starts, baseline=2)
    for i, part in enumerate(parts):
        assert together.upper[i] == pytest.approx(by_exponential(part, baseline=2).upper[0])


@pytest.mark.parametrize(("baseline", "m"), [(5, 5), (None, 6)])
def test_exponential_limits_keep_each_tail_though_the_mean_is_estimated(baseline, m):
    rng = np.random.default_rng(61)
    trials, width = 20_000, 1.5
    x = rng.exponential(7.0, (trials, 6))
    chart = by_exponential(x.ravel(), np.arange(0, x.size, 6), width=width, baseline=baseline)
    last = x[:, -1]
    for rate in ((last < chart.lower).mean(), (last > chart.upper).mean()):
        assert rate == pytest.approx(norm.sf(width), abs=3 * np.sqrt(norm.sf(width) / trials))


def test_three_quick_faults_after_long_gaps_are_beyond():
    chart = by_exponential([100.0, 80.0, 140.0, 90.0, 120.0, 110.0] * 4 + [50.0, 0.01], baseline=24)
    assert np.flatnonzero(chart.beyond).tolist() == [25]


@given(st.floats(1e-4, 0.5))
def test_geometric_limits_keep_each_tail_at_most_that_of_three_sigma_and_are_no_wider(share):
    chart = by_geometric([1, 2], share=share)
    low, high, tail = chart.lower[0], chart.upper[0], norm.sf(3)
    assert geom.cdf(low - 1, share) <= tail * (1 + 1e-6)
    assert geom.cdf(low, share) > tail * (1 - 1e-6)
    assert geom.sf(high, share) <= tail * (1 + 1e-6)
    assert geom.sf(high - 1, share) > tail * (1 - 1e-6)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: by_exponential([]), "no reading"),
        (lambda: by_exponential([1.0]), "at least 2 gaps"),
        (lambda: by_exponential([0.0, 0.0]), "not all 0"),
        (lambda: by_exponential([1.0, np.nan]), "missing"),
        (lambda: by_power([-1.0, 2.0]), "at least 0; got -1"),
        (lambda: by_geometric([0], share=0.1), "pieces from 1"),
        (lambda: by_geometric([5], share=1.0), "share between 0 and 1"),
    ],
)
def test_what_cannot_be_charted_is_refused_in_words(call, message):
    with pytest.raises(UnusableData, match=message):
        call()
