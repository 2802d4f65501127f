import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import betabinom, binom, nbinom, norm, poisson

from analysis.methods import attributes
from analysis.methods.constants import d2
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

points = st.lists(st.tuples(st.integers(0, 30), st.integers(30, 80)), min_size=1, max_size=20)
streams = st.lists(points, min_size=1, max_size=5)


def columns(parts):
    return np.array([point[0] for part in parts for point in part]), np.array(
        [point[1] for part in parts for point in part]
    )


def begins(parts):
    return np.cumsum([0] + [len(part) for part in parts[:-1]])


def flagged(chart):
    return (np.flatnonzero(chart.beyond) + 1).tolist()


def test_defects_on_wafers_match_the_handbook_and_a_point_on_the_limit_is_not_beyond():
    # NIST/SEMATECH e-Handbook, 6.3.3.1: wafer 3 has 28 defects, just the upper limit
    printed = case("nist-c-wafer")
    chart = attributes.c(printed.data["counts"])
    assert (chart.centre[0], chart.upper[0], chart.lower[0]) == (16, 28, 4)
    assert flagged(chart) == printed.published["signals"]


def test_shares_of_bad_chips_match_the_handbook_before_and_after_revision():
    # NIST/SEMATECH e-Handbook, 6.3.3.2; revised limits in Montgomery, Introduction to SQC, Example 7.1 (from memory)
    printed = case("nist-p-wafer")
    counts, left_out = np.array(printed.data["defectives"]), np.array(printed.data["revised_without"]) - 1
    chart = attributes.p(counts, 50)
    kept = attributes.p(np.delete(counts, left_out), 50)
    found = {
        "p_bar": chart.centre[0],
        "ucl": chart.upper[0],
        "lcl": chart.lower[0],
        "revised_p_bar": kept.centre[0],
        "revised_ucl": kept.upper[0],
        "revised_lcl": kept.lower[0],
    }
    for what, value in found.items():
        assert value == pytest.approx(printed.published[what], abs=tolerance(printed, what)), what
    assert flagged(chart) == printed.published["signals"]
    numbers = np.delete(np.arange(1, 31), left_out)
    assert numbers[kept.beyond].tolist() == printed.published["revised_signals"]


@pytest.mark.parametrize("name", ["pcb-u-chart", "computers-u-chart"])
def test_faults_per_piece_match_the_printed_charts(name):
    # Montgomery & Runger, Applied Statistics and Probability for Engineers, Example 16-5; Montgomery, Introduction to
    # SQC, Table 6-9
    printed = case(name)
    chart = attributes.u(printed.data["counts"], printed.data["n"])
    for what, value in {"u_bar": chart.centre[0], "ucl": chart.upper[0], "lcl": chart.lower[0]}.items():
        assert value == pytest.approx(printed.published[what], abs=tolerance(printed, what)), what
    assert flagged(chart) == printed.published["signals"]


def test_the_spread_between_shares_follows_its_definition():
    # Laney 2002; no worked example in print: the file's values were computed apart. They take d2 = 1.128, undone here.
    printed = case("laney-p-prime-on-nist-p")
    found = attributes.p_prime(printed.data["defectives"], printed.data["n"])
    rounded = d2(2) / 1.128
    p_bar = found.chart.centre[0]
    assert p_bar == pytest.approx(printed.published["p_bar"], abs=tolerance(printed, "p_bar"))
    assert found.sigma_z[0] * rounded == pytest.approx(printed.published["sigma_z"], abs=tolerance(printed, "sigma_z"))
    assert p_bar + (found.chart.upper[0] - p_bar) * rounded == pytest.approx(
        printed.published["ucl_first"], abs=tolerance(printed, "ucl_first")
    )
    assert found.chart.lower[0] == printed.published["lcl_first"]


def test_rates_that_scatter_more_than_chance_get_wider_limits_and_few_flags():
    rng = np.random.default_rng(51)
    sizes = rng.integers(800, 1200, 400)
    counts = rng.poisson(sizes * 0.1 * rng.gamma(25, 1 / 25, 400))
    assert attributes.u(counts, sizes).beyond.mean() > 0.05
    prime = attributes.u_prime(counts, sizes)
    assert prime.chart.beyond.mean() < 0.02
    assert prime.sigma_z[0] == pytest.approx(np.sqrt(1 + 100 / 25), rel=0.1)  # variance of z: 1 + mean count / 25


@given(st.floats(0.002, 0.5), st.integers(20, 400))
def test_exact_limits_of_a_share_keep_each_tail_at_most_that_of_three_sigma(share, size):
    base = round(share * 10**6)
    chart = attributes.p([base, 0], [10**6, size], baseline=1, exact=True)
    p, tail = base / 10**6, norm.sf(3)
    low, high = round(chart.lower[1] * size), round(chart.upper[1] * size)
    assert binom.sf(high, size, p) <= tail * (1 + 1e-9)
    assert binom.cdf(low - 1, size, p) <= tail * (1 + 1e-9)
    assert binom.sf(high - 1, size, p) > tail * (1 - 1e-9)  # and no wider than that


def test_exact_limits_of_a_count_are_those_of_the_poisson_distribution():
    chart = attributes.c([400] + [0] * 100, exact=True, baseline=101)
    rate = 400 / 101
    high = int(chart.upper[0])
    assert poisson.sf(high, rate) <= norm.sf(3) < poisson.sf(high - 1, rate)
    assert (
        attributes.c([2, 1, 0, 1, 2]).upper[0] < attributes.c([2, 1, 0, 1, 2], exact=True).upper[0]
    )  # the usual limit flags small counts too soon


@given(streams)
def test_streams_together_give_what_each_gives_alone(parts):
    counts, sizes = columns(parts)
    for chart in (attributes.p, attributes.np_, attributes.u):
        together = chart(counts, sizes, begins(parts))
        alone = [chart(*columns([part])) for part in parts]
        for what in ("value", "centre", "lower", "upper", "beyond"):
            assert getattr(together, what) == pytest.approx(np.concatenate([getattr(one, what) for one in alone]))


@given(points)
def test_faulty_and_sound_pieces_mirror_each_other(part):
    counts, sizes = columns([part])
    bad, good = attributes.p(counts, sizes), attributes.p(sizes - counts, sizes)
    assert good.lower == pytest.approx(1 - bad.upper)
    assert (good.beyond == bad.beyond).all()
    low, high = attributes.binomial_ahead(counts, sizes, 50)
    other_low, other_high = attributes.binomial_ahead(sizes - counts, sizes, 50)
    assert (other_low == 50 - high).all()
    assert (other_high == 50 - low).all()


@given(points)
def test_a_number_chart_is_the_share_chart_times_the_sizes(part):
    counts, sizes = columns([part])
    number, share = attributes.np_(counts, sizes), attributes.p(counts, sizes)
    assert number.upper == pytest.approx(share.upper * sizes)
    assert (number.beyond == share.beyond).all()


def test_samples_without_a_fault_flag_nothing():
    none, sizes = np.zeros(30), np.full(30, 40)
    for chart in (attributes.p, attributes.np_, attributes.u):
        assert not chart(none, sizes).beyond.any()
        assert not chart(none, sizes, exact=True).beyond.any()
    assert not attributes.p_prime(none, sizes).chart.beyond.any()
    assert not attributes.c(none).beyond.any()


@pytest.mark.parametrize(("faulty", "base", "size"), [(0, 40, 10), (6, 3600, 300), (17, 90, 30), (39, 40, 25)])
def test_limits_that_look_ahead_are_those_of_the_distributions_they_are_named_for(faulty, base, size):
    low, high = attributes.binomial_ahead(faulty, base, size)
    assert high[0] == betabinom.isf(0.003, size, faulty + 1, base - faulty)
    assert low[0] == (0 if faulty == 0 else betabinom.ppf(0.003, size, faulty, base - faulty + 1))
    low, high = attributes.poisson_ahead(faulty, base, size)
    assert high[0] == nbinom.isf(0.003, faulty + 1, base / (base + size))


@pytest.mark.parametrize("share", [0.0005, 0.002, 0.01, 0.03, 0.1, 0.4])
def test_twelve_weeks_of_300_flag_a_steady_week_too_high_at_most_three_times_in_a_thousand(share):
    # no simulation: the rate is summed over every baseline that can come, each by its chance
    base = np.arange(3601)
    chance = binom.pmf(base, 3600, share)
    likely = chance > 1e-12
    _, high = attributes.binomial_ahead(base[likely], 3600, 300, false_rate=0.003)
    rate = (chance[likely] * binom.sf(high, 300, share)).sum()
    assert rate <= 0.003
    naive = base[likely] / 3600 * 300 + 3 * np.sqrt(300 * base[likely] / 3600 * (1 - base[likely] / 3600))
    if share <= 0.03:
        assert (chance[likely] * binom.sf(np.floor(naive), 300, share)).sum() > rate


@pytest.mark.promise
@pytest.mark.parametrize(("shares", "look"), [(True, attributes.p_ahead), (False, attributes.u_ahead)])
def test_short_baselines_keep_the_promised_rate_of_false_flags(shares, look):
    rng = np.random.default_rng(20_260_101)
    trials, base, size, rate = 4000, 12, 300, 0.01
    shape = (trials, base + 1)
    counts = rng.binomial(size, rate, shape) if shares else rng.poisson(size * rate, shape)
    chart = look(counts.ravel(), size, np.arange(0, counts.size, base + 1), baseline=base)
    high = (chart.beyond & (chart.value > chart.centre)).reshape(shape)[:, -1].mean()
    assert high <= 0.003 + 3 * np.sqrt(0.003 / trials)
    assert not chart.beyond.reshape(shape)[:, :-1].any()


def test_a_week_far_above_its_short_baseline_is_beyond():
    chart = attributes.p_ahead([3] * 12 + [3, 15, 0], 300, baseline=12)
    assert np.flatnonzero(chart.beyond).tolist() == [13]


@pytest.mark.parametrize("look", [attributes.p_ahead, attributes.u_ahead])
def test_a_count_on_its_limit_is_not_beyond_it(look):
    _, most = (
        attributes.binomial_ahead(36, 3600, 300)
        if look is attributes.p_ahead
        else attributes.poisson_ahead(36, 3600, 300)
    )
    for count, beyond in ((int(most[0]), False), (int(most[0]) + 1, True)):
        chart = look([3] * 12 + [count], 300, baseline=12, false_rate=0.003)
        assert bool(chart.beyond[-1]) is beyond


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: attributes.p([], []), "no reading"),
        (lambda: attributes.p([np.nan], 10), "1 of 1 readings are missing"),
        (lambda: attributes.p([3], 0), "size above 0"),
        (lambda: attributes.p([1.5], 10), "whole numbers from 0; got 1.5"),
        (lambda: attributes.p([-1], 10), "whole numbers from 0; got -1"),
        (lambda: attributes.p([11], 10), "no more faulty pieces than pieces"),
        (lambda: attributes.u([1], 10, width=0), "above 0 sigma"),
        (lambda: attributes.u([1], 10, baseline=0), "baseline holds at least 1"),
        (lambda: attributes.p_prime([1] * 24, 50), "24 baseline points; wanted 25"),
        (lambda: attributes.binomial_ahead(5, 4, 10), "0 to base_size"),
        (lambda: attributes.poisson_ahead(-1, 4, 10), "at least 0"),
        (lambda: attributes.p_ahead([1], 10, baseline=1, false_rate=0.7), "false rate"),
    ],
)
def test_what_cannot_be_charted_is_refused_in_words(call, message):
    with pytest.raises(UnusableData, match=message):
        call()
