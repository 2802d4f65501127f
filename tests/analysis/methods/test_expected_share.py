import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from analysis.methods.expected_share import PPM, WIDEST, Z, narrow, normal_interval


def plain(n):
    """Variances of mean and s of n independent normal readings, over the variance."""
    return {"mean_variance": 1 / n, "sd_variance": 1 / (2 * (n - 1))}


def test_with_one_limit_the_upper_end_is_that_of_the_delta_method():
    # z = (limit - mean) / s: its variance is that of the mean plus z^2 times that of s, in units of s.
    low, high = normal_interval(10.0, 0.5, np.nan, 11.0, **plain(400))
    error = np.sqrt(1 / 400 + 2.0**2 / (2 * 399))
    assert high == pytest.approx(PPM * stats.norm.sf(2 - Z * error))
    assert low <= PPM * stats.norm.sf(2 + Z * error) < PPM * stats.norm.sf(2) < high


def test_with_two_limits_the_slopes_are_those_of_the_share():
    mean, sd, lower, upper, n = 0.2, 1.0, -2.2, 2.4, 600

    def z(m, s):
        return -special.ndtri(special.ndtr((lower - m) / s) + special.ndtr((m - upper) / s))

    h = 1e-5
    by_mean = (z(mean + h, sd) - z(mean - h, sd)) / (2 * h)
    by_sd = (z(mean, sd + h) - z(mean, sd - h)) / (2 * h)
    error = np.sqrt(by_mean**2 / n + by_sd**2 / (2 * (n - 1)))
    _, high = normal_interval(mean, sd, lower, upper, **plain(n))
    assert high == pytest.approx(PPM * special.ndtr(-z(mean, sd) + Z * error), rel=1e-6)


@settings(max_examples=25)
@given(st.floats(-0.5, 0.5), st.floats(1.5, 2.5), st.floats(1.5, 2.5), st.sampled_from([25.4, 0.01]))
def test_another_unit_and_the_mirror_image_tell_the_same(mean, below, above, unit):
    told = normal_interval(mean, 1.0, -below, above, **plain(500))
    assert np.allclose(normal_interval(unit * mean, unit, -unit * below, unit * above, **plain(500)), told)
    assert np.allclose(normal_interval(-mean, 1.0, -above, below, **plain(500)), told)


def test_more_readings_tell_the_share_ever_more_closely():
    widths = []
    for n in (300, 3_000, 30_000):
        low, high = normal_interval(0.0, 1.0, -3.0, np.nan, **plain(n))
        assert low < PPM * stats.norm.sf(3) < high
        widths.append(float(np.log(high / low)))
    assert widths[0] > 2 * widths[1] > 4 * widths[2]


def test_what_is_known_exactly_has_no_width_and_without_limits_nothing_is_told():
    low, high = normal_interval(0.0, 1.0, -2.0, 2.0, mean_variance=0.0, sd_variance=0.0)
    assert np.isnan(low) or low == high == pytest.approx(2 * PPM * stats.norm.sf(2))
    assert np.isnan(normal_interval(0.0, 1.0, np.nan, np.nan, **plain(500))).all()


def test_an_interval_of_a_factor_of_ten_or_more_is_not_told():
    low, high = narrow(np.array([100.0, 100.0, 100.0]), np.array([110.0, 999.0, 1000.0]))
    assert np.isnan(low).tolist() == np.isnan(high).tolist()
    assert np.isnan(high).tolist()[2]
    assert high[0] == 110.0
    assert low[0] <= 100.0
    few = normal_interval(0.0, 1.0, np.nan, 4.0, **plain(50))
    assert np.isnan(few).all()


def test_the_lower_end_moves_out_the_more_the_nearer_the_interval_is_to_not_being_told():
    high = np.array([120.0, 200.0, 300.0, 400.0])
    low, kept = narrow(np.full(4, 100.0), high)
    assert (kept[:2] == high[:2]).all()
    told = ~np.isnan(low)
    assert (low[told] <= 100.0).all()
    assert (high[told] < WIDEST * low[told]).all()
    assert (np.diff(low[told]) <= 1e-9).all()


def test_of_rows_that_are_told_the_interval_covers_still():
    # 400 readings, 0.13 % outside: about half of such rows come out too wide to be told. Seed fixed beforehand.
    rng, n, limit = np.random.default_rng(20261129), 400, 3.0
    x = rng.normal(size=(2_000, n))
    low, high = normal_interval(x.mean(axis=1), x.std(axis=1, ddof=1), np.nan, limit, **plain(n))
    told, true = ~np.isnan(low), PPM * stats.norm.sf(limit)
    assert told.mean() > 0.3
    assert ((low <= true) & (true <= high))[told].mean() >= 0.95 - 2.5 * np.sqrt(0.05 * 0.95 / told.sum())
