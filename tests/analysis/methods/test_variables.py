import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods.constants import d2
from analysis.methods.problems import UnusableData
from analysis.methods.variables import individuals, moving_ranges, spread, three_way, xbar_r, xbar_s
from tests.published.cases import case, tolerance

values = st.lists(st.integers(-1000, 1000).map(lambda k: k / 10), min_size=2, max_size=40)
streams = st.lists(values, min_size=1, max_size=6)


def joined(parts):
    return np.concatenate([np.array(part, dtype=float) for part in parts]), np.cumsum(
        [0] + [len(part) for part in parts[:-1]]
    )


@pytest.mark.parametrize("name", ["nist-individuals-flowrate", "paint-viscosity-individuals"])
def test_individuals_match_the_printed_limits(name):
    # NIST/SEMATECH e-Handbook, 6.3.2.2; Montgomery, Introduction to SQC, Example 5-5. Both round d2 to 1.128: undone
    # here before comparing.
    printed = case(name)
    chart = individuals(printed.data["x"])
    rounded = d2(2) / printed.data["d2_used"]
    found = {
        "mean": chart.centre[0],
        "mr_bar": chart.sigma[0] * d2(2),
        "ucl": chart.centre[0] + (chart.upper[0] - chart.centre[0]) * rounded,
        "lcl": chart.centre[0] + (chart.lower[0] - chart.centre[0]) * rounded,
    }
    for what, value in found.items():
        assert value == pytest.approx(printed.published[what], abs=tolerance(printed, what))
    assert np.flatnonzero(chart.beyond).tolist() == printed.published["signals"]


def test_moving_ranges_match_the_handbook_flow_rates():
    printed = case("nist-individuals-flowrate")
    assert moving_ranges(printed.data["x"])[1:] == pytest.approx(printed.published["moving_ranges"], abs=1e-9)


def subgroups(printed, without=()):
    x = np.array([row for i, row in enumerate(printed.data["x"], start=1) if i not in without])
    return x.ravel(), np.arange(0, x.size, x.shape[1])


def test_piston_rings_match_the_printed_charts():
    # Montgomery, Introduction to SQC, Examples 5-1 and 6.3. The source rounds A2, A3 and the limits of the mean to 3
    # decimals.
    printed = case("piston-rings-xbar-r-s")
    by_r, by_s = xbar_r(*subgroups(printed)), xbar_s(*subgroups(printed))
    found = {
        "grand_mean": by_r.centre[0],
        "r_bar": by_r.spread_centre[0],
        "s_bar": by_s.spread_centre[0],
        "xbar_ucl_S": by_s.upper[0],
        "xbar_lcl_S": by_s.lower[0],
        "xbar_ucl_R": by_r.upper[0],
        "xbar_lcl_R": by_r.lower[0],
        "r_ucl": by_r.spread_upper[0],
        "r_lcl": by_r.spread_lower[0],
        "s_ucl": by_s.spread_upper[0],
        "s_lcl": by_s.spread_lower[0],
    }
    for what, value in found.items():
        assert value == pytest.approx(printed.published[what], abs=tolerance(printed, what)), what
    assert by_r.mean == pytest.approx(printed.published["subgroup_means"], abs=tolerance(printed, "subgroup_means"))
    assert by_r.spread == pytest.approx(printed.published["subgroup_ranges"], abs=tolerance(printed, "subgroup_ranges"))
    assert not by_r.beyond.any()
    assert not by_r.spread_beyond.any()


def test_vane_openings_match_the_printed_charts_before_and_after_revision():
    # Montgomery & Runger, Applied Statistics and Probability for Engineers, Example 16-1; the source takes D4 = 2.115.
    printed = case("vane-opening-xbar-r-s")
    chart, by_s = xbar_r(*subgroups(printed)), xbar_s(*subgroups(printed))
    revised = xbar_r(*subgroups(printed, printed.data["revised_without"]))
    found = {
        "grand_mean": chart.centre[0],
        "r_bar": chart.spread_centre[0],
        "s_bar": by_s.spread_centre[0],
        "xbar_ucl_R": chart.upper[0],
        "xbar_lcl_R": chart.lower[0],
        "r_ucl": chart.spread_upper[0],
        "r_lcl": chart.spread_lower[0],
        "s_ucl": by_s.spread_upper[0],
        "s_lcl": by_s.spread_lower[0],
        "revised_grand_mean": revised.centre[0],
        "revised_r_bar": revised.spread_centre[0],
        "revised_xbar_ucl_R": revised.upper[0],
        "revised_xbar_lcl_R": revised.lower[0],
        "revised_r_ucl": revised.spread_upper[0],
    }
    for what, value in found.items():
        assert value == pytest.approx(printed.published[what], abs=tolerance(printed, what)), what
    assert (np.flatnonzero(chart.beyond) + 1).tolist() == printed.published["xbar_signals_R"]
    assert (np.flatnonzero(chart.spread_beyond) + 1).tolist() == printed.published["r_signals"]


@given(streams)
def test_streams_together_give_what_each_gives_alone(parts):
    x, starts = joined(parts)
    together, alone = individuals(x, starts), [individuals(part) for part in parts]
    for what in ("centre", "sigma", "lower", "upper", "beyond"):
        assert getattr(together, what) == pytest.approx(
            np.concatenate([getattr(chart, what) for chart in alone]), rel=1e-12, abs=1e-12
        )


@given(values)
def test_limits_in_inches_times_25_4_are_limits_in_millimetres(x):
    inches, mm = individuals(x), individuals(np.array(x) * 25.4)
    assert np.r_[mm.lower, mm.centre, mm.upper] == pytest.approx(
        25.4 * np.r_[inches.lower, inches.centre, inches.upper], rel=1e-9, abs=1e-9
    )
    assert (mm.beyond == inches.beyond).all()


@given(values, st.floats(-1e3, 1e3))
def test_a_shift_moves_the_limits_with_the_readings(x, shift):
    here, there = individuals(x), individuals(np.array(x) + shift)
    assert np.r_[there.lower, there.upper] - shift == pytest.approx(np.r_[here.lower, here.upper], abs=1e-9)
    assert (there.beyond == here.beyond).all()


@given(values)
def test_reversing_time_leaves_the_limits_alone(x):
    forward, backward = individuals(x), individuals(x[::-1])
    assert np.r_[backward.lower, backward.upper] == pytest.approx(np.r_[forward.lower, forward.upper], abs=1e-9)
    assert (backward.beyond == forward.beyond[::-1]).all()


@given(
    st.lists(st.lists(st.integers(0, 100), min_size=3, max_size=3), min_size=2, max_size=12),
    st.randoms(use_true_random=False),
)
def test_order_inside_a_subgroup_does_not_matter(rows, random):
    shuffled = [random.sample(row, 3) for row in rows]
    groups = np.arange(0, 3 * len(rows), 3)
    for chart in (xbar_r, xbar_s):
        one, other = chart(np.ravel(rows), groups), chart(np.ravel(shuffled), groups)
        assert np.r_[one.lower, one.upper, one.spread_upper] == pytest.approx(
            np.r_[other.lower, other.upper, other.spread_upper], abs=1e-9
        )


@given(st.floats(-1e6, 1e6), st.integers(2, 200))
def test_a_constant_run_flags_nothing(value, n):
    chart = individuals(np.full(n, value))
    assert (chart.centre[0], chart.sigma[0]) == (value, 0.0)
    assert not chart.beyond.any()


@pytest.mark.parametrize("on_limit", [0.1 + 0.2, 0.3, 0.1 * 3, 1 - 0.7])
def test_three_correct_sums_on_a_limit_agree(on_limit):
    # moving ranges of the baseline average d2(2) x 0.1, so the upper limit at width 3 is 0.3
    step = 0.1 * d2(2)
    chart = individuals([-step / 2, step / 2, -step / 2, step / 2, on_limit], baseline=4)
    assert chart.upper[0] == pytest.approx(0.3, abs=1e-12)
    assert not chart.beyond.any()


def test_limits_come_from_the_baseline_alone():
    x = [1.0, 2.0, 1.0, 2.0, 50.0, 60.0]
    chart, line = individuals(x, baseline=4), individuals(x[:4])
    assert (chart.centre[0], chart.sigma[0]) == (line.centre[0], line.sigma[0])
    assert chart.beyond.tolist() == [False] * 4 + [True] * 2


def test_a_segment_of_one_reading_has_no_sigma_and_says_so_by_its_count():
    line = spread([5.0, 1.0, 2.0], [0, 1])
    assert (line.centre.tolist(), line.n.tolist(), line.sigma[0]) == ([5.0, 1.5], [1, 2], 0.0)


def test_subgroups_of_unequal_size_widen_the_limits_of_the_small_ones():
    rng = np.random.default_rng(41)
    sizes = np.tile([2, 5, 9, 1], 500)
    x = rng.normal(10, 2, sizes.sum())
    groups = np.cumsum(sizes) - sizes
    for chart in (xbar_r(x, groups), xbar_s(x, groups)):
        assert chart.sigma[0] == pytest.approx(2, rel=0.03)
        assert (chart.upper - chart.centre[0])[:4] * np.sqrt(sizes[:4]) == pytest.approx([3 * chart.sigma[0]] * 4)
        assert chart.centre[0] == pytest.approx(x.mean())
        assert not chart.spread_beyond[sizes == 1].any()
        assert chart.spread_beyond.mean() < 0.01


def test_strings_of_one_guitar_are_no_yardstick_for_change_between_guitars():
    rng = np.random.default_rng(42)
    guitars, strings = 300, 6
    x = (rng.normal(0, 1.0, (guitars, 1)) + rng.normal(0, 0.3, (guitars, strings))).ravel()
    groups = np.arange(0, x.size, strings)
    apart = three_way(x, groups)
    assert xbar_s(x, groups).beyond.mean() > 0.5  # the trap
    assert apart.chart.beyond.mean() < 0.02
    assert apart.sigma_between[0] == pytest.approx(1.0, rel=0.15)
    assert apart.chart.sigma[0] == pytest.approx(0.3, rel=0.1)


def test_a_three_way_chart_finds_nothing_between_subgroups_that_differ_by_chance():
    x = np.tile([1.0, 2.0, 3.0], 30)
    assert three_way(x, np.arange(0, 90, 3)).sigma_between[0] == 0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: individuals([1.0]), "segment 0 has 1 reading in its baseline"),
        (lambda: individuals([1.0, 2.0, 3.0], [0, 2]), "segment 1 has 1 reading"),
        (lambda: individuals([]), "no reading"),
        (lambda: individuals([np.nan] * 3), "3 of 3 readings are missing"),
        (lambda: individuals([1.0, 2.0], width=0), "above 0 sigma"),
        (lambda: individuals([1.0, 2.0], width=np.array([3.0, 3.0])), "one for each of 1 segments"),
        (lambda: spread([1.0, 2.0], baseline=0), "baseline holds at least 1"),
        (lambda: xbar_r([1.0, 2.0], [0, 1]), "only single readings"),
        (lambda: xbar_s([1.0, 2.0], [0], width=-1), "above 0 sigma"),
        (lambda: three_way([1.0, 2.0], [0]), "1 subgroup"),
    ],
)
def test_what_cannot_be_charted_is_refused_in_words(call, message):
    with pytest.raises(UnusableData, match=message):
        call()
