import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.methods.problems import UnusableData
from analysis.methods.tolerance import drop, free_band, normal_band, one_sided, printed_factor, sample_needed, two_sided
from tests.published.cases import case, tolerance


def keys(published):
    return [
        (key, int(key.split("/")[0]), float(key.split("/")[1]), float(key.split("/")[2]), factor)
        for key, factor in published.items()
    ]


def test_one_sided_factors_are_the_printed_ones():
    # Owen 1963; Natrella, NBS Handbook 91, table A-7. Tables print 2.862 or 2.863 for 50/.99/.95; exact is 2.8624.
    printed = case("one-sided-k")
    for key, n, coverage, confidence, factor in keys(printed.published["exact_one_sided"]):
        assert one_sided(n, coverage, confidence) == pytest.approx(factor, abs=tolerance(printed, key)), key


def test_the_printed_two_sided_table_is_an_approximation_below_the_exact_factors():
    # Eisenhart, Hastay & Wallis 1947, table 2.1, made by the rule of Wald & Wolfowitz; exact factors are a little
    # larger.
    printed = case("eisenhart-two-sided")
    for key, n, coverage, confidence, factor in keys(printed.published["wald_wolfowitz_two_sided"]):
        assert printed_factor(n, coverage, confidence, "wald wolfowitz") == pytest.approx(
            factor, abs=tolerance(printed, key)
        ), key
        assert 0 < two_sided(n, coverage, confidence) - factor < 0.03, key


def test_the_handbook_factors_for_43_readings_are_the_printed_ones():
    # NIST/SEMATECH e-Handbook, section 7.2.6.3.
    printed = case("nist-tolerance-n43")
    want, close = printed.published, tolerance(printed, "")
    assert printed_factor(43, 0.90, 0.99, "howe") == pytest.approx(want["howe_two_sided"]["43/.90/.99"], abs=close)
    assert printed_factor(43, 0.90, 0.99, "natrella") == pytest.approx(
        want["natrella_one_sided"]["43/.90/.99"], abs=close
    )
    assert one_sided(43, 0.90, 0.99) == pytest.approx(want["exact_one_sided"]["43/.90/.99"], abs=close)
    assert two_sided(43, 0.90, 0.99) == pytest.approx(
        2.2228, abs=5e-5
    )  # named in the notes of the case as the exact value


def test_two_sided_factors_agree_with_plain_integration():
    # The defining integral once more, by the trapezoid rule over the mean and a search for the half width.
    n, coverage, confidence = 7, 0.9, 0.95
    factor = two_sided(n, coverage, confidence)
    z = np.linspace(-9, 9, 20_001) / np.sqrt(n)
    low, high = np.zeros(len(z)), np.full(len(z), 12.0)
    for _ in range(60):
        half = (low + high) / 2
        enough = stats.norm.cdf(z + half) - stats.norm.cdf(z - half) >= coverage
        low, high = np.where(enough, low, half), np.where(enough, half, high)
    sure = np.trapezoid(stats.norm.pdf(z, scale=n**-0.5) * stats.chi2.sf((n - 1) * (half / factor) ** 2, n - 1), z)
    assert sure == pytest.approx(confidence, abs=1e-8)


def test_known_sigma_is_the_far_end_of_both_factors():
    assert two_sided(10**6, 0.95, 0.95) == pytest.approx(1.95996, abs=4e-3)
    assert one_sided(10**5, 0.95, 0.95) == pytest.approx(1.64485, abs=2e-2)


def test_how_many_readings_limits_without_a_curve_need():
    # ISO 16269-6 and Wilks 1941 give 93 and 59, 46 for 90 % at 95 % (from memory).
    assert (sample_needed(0.95, 0.95), sample_needed(0.95, 0.95, ends=1), sample_needed(0.90, 0.95)) == (93, 59, 46)
    assert (drop(93, 0.95, 0.95), drop(92, 0.95, 0.95)) == (0, -1)
    with pytest.raises(UnusableData, match="need 93 readings"):
        free_band(np.arange(92.0))
    assert free_band(np.arange(93.0)) == (0, 92)


@given(st.integers(2, 400), st.sampled_from([0.8, 0.9, 0.95]), st.sampled_from([0.8, 0.9, 0.99]))
def test_what_may_be_dropped_keeps_the_confidence_and_one_more_would_not(n, coverage, confidence):
    spare = drop(n, coverage, confidence)
    assert spare >= -1
    if (
        spare >= 0
    ):  # the share between order statistics with m - 1 outside is above coverage iff at most n - m of n fall within it
        assert stats.binom.cdf(n - spare - 2, n, coverage) >= confidence - 1e-12
    assert stats.binom.cdf(n - spare - 3, n, coverage) < confidence


@settings(max_examples=25)
@given(st.lists(st.lists(st.integers(-50, 50), min_size=2, max_size=9), min_size=1, max_size=4))
def test_streams_together_mirrored_or_in_mm_give_what_each_gives_alone(parts):
    values = np.array([v for part in parts for v in part], dtype=float)
    starts = np.cumsum([0] + [len(part) for part in parts[:-1]])
    together, mm, mirror = (normal_band(x, starts, coverage=0.9) for x in (values, values * 25.4, -values))
    for i, part in enumerate(parts):
        alone = normal_band(part, coverage=0.9)
        reach = two_sided(len(part), 0.9, 0.95) * np.std(part, ddof=1)
        assert alone.high[0] == pytest.approx(np.mean(part) + reach, abs=1e-8)
        assert (together.low[i], together.high[i]) == (
            pytest.approx(alone.low[0], abs=1e-8),
            pytest.approx(alone.high[0], abs=1e-8),
        )
        assert mm.high[i] == pytest.approx(25.4 * alone.high[0], rel=1e-9, abs=1e-7)
        assert mirror.low[i] == pytest.approx(-alone.high[0], rel=1e-9, abs=1e-7)


def test_one_end_only_leaves_the_other_open():
    band = normal_band([1.0, 2.0, 3.0], side="lower")
    assert band.high[0] == np.inf
    assert band.low[0] == pytest.approx(2 - one_sided(3, 0.95, 0.95))


@pytest.mark.promise
@pytest.mark.parametrize("n", [10, 50])
def test_limits_hold_the_share_as_surely_as_they_say(n):
    # Full size: tests.trials.tolerance_limits.
    rng = np.random.default_rng(20260904)
    x = rng.standard_normal((8000, n))
    starts = np.arange(len(x)) * n
    both = normal_band(x.ravel(), starts, coverage=0.9, confidence=0.95)
    lower = normal_band(x.ravel(), starts, coverage=0.9, confidence=0.95, side="lower")
    assert (stats.norm.cdf(both.high) - stats.norm.cdf(both.low) >= 0.9).mean() == pytest.approx(0.95, abs=0.008)
    assert (stats.norm.sf(lower.low) >= 0.9).mean() == pytest.approx(0.95, abs=0.008)


@pytest.mark.promise
def test_limits_without_a_curve_hold_the_share_whatever_the_distribution():
    rng = np.random.default_rng(20260905)
    curve = stats.gamma(1.5)
    spare = drop(200, 0.9, 0.95)
    exact = stats.binom.cdf(200 - spare - 2, 200, 0.9)  # above .95, since order statistics jump
    bands = np.array([free_band(curve.rvs(200, random_state=rng), coverage=0.9, confidence=0.95) for _ in range(1500)])
    assert (curve.cdf(bands[:, 1]) - curve.cdf(bands[:, 0]) >= 0.9).mean() == pytest.approx(exact, abs=0.015)


@pytest.mark.parametrize(
    "call", [lambda: two_sided(1, 0.9, 0.9), lambda: one_sided(5, 1.0, 0.9), lambda: printed_factor(5, 0.9, 0.9, "?")]
)
def test_what_has_no_factor_is_refused(call):
    with pytest.raises(UnusableData):
        call()
    with pytest.raises(UnusableData, match="two readings a stream"):
        normal_band([1.0, 2.0, 3.0], [0, 2])
