import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.methods.intervals import (
    binomial_exact,
    hypergeometric_exact,
    mean_t,
    poisson_exact,
    poisson_ratio,
    sd_chi,
    wilson,
)
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

shares = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@pytest.mark.parametrize("share", ["81/263", "15/148"])
def test_shares_have_the_printed_intervals(share):
    # Newcombe 1998, Statistics in Medicine 17, table I, 4 decimals.
    printed = case("newcombe-81-263")
    k, n = map(int, share.split("/"))
    close = tolerance(printed, share)
    assert np.array(wilson(k, n)) == pytest.approx(printed.published[share]["wilson"], abs=close)
    assert np.array(binomial_exact(k, n)) == pytest.approx(printed.published[share]["clopper_pearson"], abs=close)


def test_counts_have_the_printed_intervals():
    # Garwood 1936, Biometrika 28; Breslow & Day 1987, table 2.10.
    printed = case("poisson-exact-ci-a")
    low, high = poisson_exact([int(k) for k in printed.published])
    assert np.column_stack([low, high]) == pytest.approx(
        np.array(list(printed.published.values())), abs=tolerance(printed, "")
    )


def test_small_samples_of_a_lot_have_the_intervals_a_supplier_is_shown():
    # Three decimals, computed once by another program; "none of n" is the one-sided 95 % bound.
    known = case("trade/quality_evidence")
    for share, (low, high) in known.exact_binomial_95.items():
        k, n = map(int, share.split("/"))
        assert np.array(binomial_exact(k, n)) == pytest.approx([low, high], abs=6e-4)
    for n, high in known.zero_failures_upper95.items():
        assert binomial_exact(0, int(n), side="upper")[1] == pytest.approx(high, abs=6e-4)


def test_nothing_seen_says_nothing_and_all_or_none_stay_within_0_and_1():
    low, high = binomial_exact([0, 0, 5], [0, 5, 5])
    assert (low[0], high[0], low[1], high[2]) == (0, 1, 0, 1)
    low, high = wilson([0, 0, 5], [0, 5, 5])
    assert (low[0], high[0], low[1], high[2]) == (0, 1, 0, 1)
    assert poisson_exact(0, side="lower") == (0, np.inf)


@given(shares, st.floats(0.5, 0.999))
def test_exact_bounds_leave_exactly_the_risk_beyond_them(share, level):
    k, n = share
    low, high = binomial_exact(k, n, level)
    tail = (1 - level) / 2
    assert low == 0 if k == 0 else stats.binom.sf(k - 1, n, low) == pytest.approx(tail, rel=1e-6)
    assert high == 1 if k == n else stats.binom.cdf(k, n, high) == pytest.approx(tail, rel=1e-6)
    few, many = poisson_exact(k, level)
    assert few == 0 if k == 0 else stats.poisson.sf(k - 1, few) == pytest.approx(tail, rel=1e-6)
    assert stats.poisson.cdf(k, many) == pytest.approx(tail, rel=1e-6)


@given(shares)
def test_good_and_bad_change_places(share):
    k, n = share
    for interval in (binomial_exact, wilson):
        low, high = interval(k, n)
        other_low, other_high = interval(n - k, n)
        assert (low, high) == (pytest.approx(1 - other_high, abs=1e-12), pytest.approx(1 - other_low, abs=1e-12))
        assert 0 <= low <= k / n <= high <= 1


def test_a_mean_and_a_deviation_have_the_intervals_of_t_and_chi_square():
    # By hand: t(.975, 9) = 2.262157, chi-square(.025, 9) = 2.700389 and (.975, 9) = 19.022768, as every table prints
    # them.
    assert np.array(mean_t(5.0, 2.0, 10)) == pytest.approx(
        [5 - 2.262157 * 2 / 10**0.5, 5 + 2.262157 * 2 / 10**0.5], abs=1e-6
    )
    assert np.array(sd_chi(2.0, 10)) == pytest.approx([2 * (9 / 19.022768) ** 0.5, 2 * (9 / 2.700389) ** 0.5], abs=1e-6)


@given(st.floats(-100, 100), st.floats(0, 10), st.integers(2, 300))
def test_a_change_of_unit_changes_the_interval_of_a_mean_alike(mean, sd, n):
    inch, mm = np.array(mean_t(mean, sd, n)), np.array(mean_t(mean * 25.4, sd * 25.4, n))
    assert mm == pytest.approx(inch * 25.4, rel=1e-12, abs=1e-9)


def test_a_ratio_is_the_count_s_interval_over_what_was_expected():
    assert np.array(poisson_ratio(10, 4.0)) == pytest.approx(
        [4.7954 / 4, 18.390 / 4], abs=2e-4
    )  # Breslow & Day 1987, table 2.10


@pytest.mark.parametrize(
    "call",
    [
        lambda: binomial_exact(3, 2),
        lambda: binomial_exact(-1, 2),
        lambda: binomial_exact(0.5, 2),
        lambda: wilson(1, np.nan),
        lambda: poisson_exact(-1),
        lambda: poisson_ratio(1, 0.0),
        lambda: mean_t(1.0, 1.0, 1),
        lambda: mean_t(np.nan, 1.0, 5),
        lambda: sd_chi(-1.0, 5),
        lambda: binomial_exact(1, 2, 1.0),
    ],
)
def test_what_is_no_count_is_refused_with_words(call):
    with pytest.raises(UnusableData, match=r"[;:]|lies between"):
        call()


@given(st.integers(1, 30), st.data())
def test_a_finite_lot_s_interval_lies_within_and_ends_on_whole_pieces(lot, data):
    n = data.draw(st.integers(1, lot))
    k = data.draw(st.integers(0, n))
    low, high = hypergeometric_exact(k, n, lot)
    assert 0 <= low <= high <= 1
    assert k <= round(low * lot) <= round(high * lot) <= lot - (n - k)
    assert hypergeometric_exact(n - k, n, lot) == pytest.approx((1 - high, 1 - low))
    if n == lot:
        assert low == high == k / n


def test_a_large_lot_comes_near_the_binomial_interval():
    assert list(hypergeometric_exact(6, 50, 200_000)) == pytest.approx(
        [float(end) for end in binomial_exact(6, 50)], abs=2e-4
    )
