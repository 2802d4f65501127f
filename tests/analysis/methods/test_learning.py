import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.methods.learning import Curve, cumulative, fit, fit_share, level, slope_of
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

UNITS = np.arange(1, 61)


@pytest.mark.parametrize("percent", ["80", "70"])
def test_unit_and_cumulative_coefficients_are_the_printed_ones(percent):
    # Wright 1936 in the unit reading; tables as in Heizer & Render, Operations Management, module E.
    printed = case("learning-80-70")
    n, want, close = np.array(printed.data["n"]), printed.published[percent], tolerance(printed, "")
    slope = slope_of(int(percent) / 100)
    assert level(n, 1.0, slope) == pytest.approx(want["unit"], abs=close)
    assert cumulative(25, slope)[n - 1] == pytest.approx(want["cumulative"], abs=close)
    if "b" in want:
        assert slope == pytest.approx(want["b"], abs=1e-6)


def test_a_plateau_is_where_practice_ends():
    assert level(1, 20.0, -0.5, 0.4) == 20
    assert level(10**12, 20.0, -0.5, 0.4) == pytest.approx(8, rel=1e-5)
    assert (np.diff(level(UNITS, 20.0, -0.5, 0.4)) < 0).all()


@pytest.mark.parametrize(("slope", "plateau"), [(-0.32, 0.0), (-0.6, 0.4), (0.0, 0.0)])
def test_a_clean_curve_is_found_again(slope, plateau):
    # A shape between the curves of the grid (steps of .01 and .05) would miss by that much; these lie on it.
    found = fit(UNITS, level(UNITS, 20.0, slope, plateau))
    assert (found.slope, found.plateau, found.first) == (
        pytest.approx(slope, abs=1e-9),
        pytest.approx(plateau, abs=1e-9),
        pytest.approx(20, rel=1e-6),
    )
    assert found.slope_low <= found.slope <= found.slope_high
    assert found.project(150).value == pytest.approx(float(level(150, 20.0, slope, plateau)))


def test_nothing_is_said_before_forty_instruments_nor_far_ahead():
    with pytest.raises(UnusableData, match="cannot be said yet: 39 instruments seen, 40 are needed"):
        fit(UNITS[:39], level(UNITS[:39], 20.0, -0.3)).project(50)
    enough = fit(UNITS, level(UNITS, 20.0, -0.3))
    with pytest.raises(UnusableData, match=r"cannot be said yet: 151 lies beyond 2\.5 times the 60 seen"):
        enough.project(151)
    assert np.isfinite(enough.project(150).high)


@settings(max_examples=12)
@given(st.integers(0, 2**32 - 1), st.sampled_from([-0.5, -0.2, 0.0]), st.randoms(use_true_random=False))
def test_unit_of_time_and_order_of_rows_change_nothing(seed, slope, random):
    minutes = level(UNITS, 20.0, slope, 0.2) * np.exp(np.random.default_rng(seed).normal(0, 0.3, len(UNITS)))
    order = list(range(len(UNITS)))
    random.shuffle(order)
    plain, hours, mixed = fit(UNITS, minutes), fit(UNITS, minutes / 60), fit(UNITS[order], minutes[order])
    there = plain.project(120)
    for other, factor in ((hours, 1 / 60), (mixed, 1.0)):
        again = other.project(120)
        assert (again.low, again.high) == (
            pytest.approx(there.low * factor, rel=1e-3),
            pytest.approx(there.high * factor, rel=1e-3),
        )
    assert there.low <= there.value <= there.high


def test_a_curve_whose_shape_is_known_has_the_interval_of_a_mean_of_logs():
    # One curve on the grid: what is left is Student's t for the mean of the logs, as any textbook has it.
    one = np.ones(1)
    known = Curve(50, 50.0, 12.0, 0.0, 0.0, 0.0, 0.0, 0 * one, (12 * one, 0 * one, 0 * one), 0.04, 47.0)
    reach = np.exp(stats.t.ppf(0.95, 47) * 0.2)
    there = known.project(100)
    assert (there.low, there.value, there.high) == pytest.approx((12 / reach, 12.0, 12 * reach))


def test_what_is_uncertain_of_a_fit_is_counted_about_its_best_curve():
    minutes = level(UNITS, 20.0, -0.3) * np.exp(np.random.default_rng(5).normal(0, 0.3, len(UNITS)))
    found = fit(UNITS, minutes)
    off = np.log(minutes) - np.log(found.at(UNITS))
    assert found.nu == len(UNITS) - 3  # level, slope and plateau are estimated
    assert found.level_variance == pytest.approx((off**2).sum() / (len(UNITS) - 3) / len(UNITS))
    assert off.mean() == pytest.approx(0, abs=1e-12)
    worst = int(found.misfit.argmax())
    first, slope, plateau = (column[worst] for column in found.grid)
    there = np.log(minutes) - np.log(level(UNITS, first, slope, plateau))
    assert found.misfit[worst] == pytest.approx((there**2).sum() / (off**2).sum() * 57 - 57)


def test_shares_are_fitted_by_the_likelihood_of_what_came_back():
    bad = (UNITS % 5 == 0).astype(float)
    found = fit_share(UNITS, bad)
    worst = int(found.misfit.argmax())

    def likelihood(first, slope, plateau):
        share = level(UNITS, first, slope, plateau)
        return (bad * np.log(share) + (1 - bad) * np.log1p(-share)).sum()

    best = likelihood(found.first, found.slope, found.plateau)
    assert found.misfit[worst] == pytest.approx(2 * (best - likelihood(*(column[worst] for column in found.grid))))
    assert found.first == pytest.approx(0.2, abs=0.05)
    assert found.slope == 0  # every fifth from the first to the last: no practice in it


def test_doubling_multiplies_by_the_rate():
    found = fit(UNITS, level(UNITS, 20.0, slope_of(0.8)))
    assert found.rate == pytest.approx(0.8, abs=2e-3)  # slopes of the grid stand .01 apart


def test_a_wish_for_more_confidence_widens_the_interval():
    minutes = level(UNITS, 20.0, -0.3) * np.exp(np.random.default_rng(1).normal(0, 0.3, len(UNITS)))
    found = fit(UNITS, minutes)
    sure, surer = found.project(100, 0.8), found.project(100, 0.95)
    assert surer.low < sure.low < sure.high < surer.high


def test_shares_without_a_single_send_back_still_have_an_upper_bound():
    found = fit_share(UNITS, np.zeros(60))
    assert (
        0 < found.project(60).high < 0.12
    )  # none of 60: at most 4.9 % (one-sided 95 %) were the share the same throughout
    with pytest.raises(UnusableData, match=r"0 \(held\) and 1"):
        fit_share(UNITS, np.full(60, 2))


@pytest.mark.parametrize(
    "call",
    [
        lambda: fit([1, 2, 3], [1.0, 2.0, 3.0]),
        lambda: fit([1, 2, 3, 4], [1.0, 2.0, 3.0, 0.0]),
        lambda: fit([0, 1, 2, 3], [1.0, 2.0, 3.0, 4.0]),
        lambda: fit([1, 2, 3, 4], [1.0, 2.0, 3.0, np.nan]),
        lambda: slope_of(1.2),
        lambda: level(0, 1.0, -0.3),
    ],
)
def test_what_is_no_learning_curve_is_refused(call):
    with pytest.raises(UnusableData):
        call()


@pytest.mark.promise
@pytest.mark.parametrize(("slope", "plateau"), [(-0.32, 0.0), (-0.6, 0.4), (0.0, 0.0)])
@pytest.mark.parametrize("kind", ["minutes", "shares"])
def test_projections_cover_at_least_85_of_100(kind, slope, plateau):
    # Full size: tests.trials.learning_projections.
    rng = np.random.default_rng(20260908)
    hits, runs, n = 0, 100, 50
    i = np.arange(1, n + 1)
    for _ in range(runs):
        if kind == "minutes":
            true = level(2.5 * n, 20.0, slope, plateau)
            found = fit(i, level(i, 20.0, slope, plateau) * np.exp(rng.normal(0, 0.3, n)))
        else:
            true = level(2.5 * n, 0.3, slope, plateau)
            found = fit_share(i, rng.random(n) < level(i, 0.3, slope, plateau))
        there = found.project(2.5 * n)
        hits += there.low <= true <= there.high
    assert hits / runs >= 0.85
