import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.methods.distributions import expected_ppm, fit_distribution, likeliest, percentile_indices
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

CURVES = {
    "lognormal": stats.lognorm,
    "gamma": stats.gamma,
    "Weibull": stats.weibull_min,
    "folded normal": stats.foldnorm,
}
TRUE = {
    "lognormal": stats.lognorm(0.9),
    "gamma": stats.gamma(2.5),
    "Weibull": stats.weibull_min(3.0),
    "folded normal": stats.foldnorm(0.0),
}


@pytest.mark.parametrize(
    ("name", "curve"),
    [("percentile-lognormal", stats.lognorm(0.5, scale=1.0)), ("percentile-exponential", stats.expon(scale=1.0))],
)
def test_percentile_indices_have_their_closed_form(name, curve):
    # The percentile method of ISO 22514-2 on curves whose points are known in closed form; no printed example was
    # found.
    printed = case(name)
    data, want, close = printed.data, printed.published, tolerance(printed, "")
    assert [curve.ppf(0.00135), curve.ppf(0.5), curve.ppf(0.99865)] == pytest.approx(
        [want["x_00135"], want["x_50"], want["x_99865"]], abs=close
    )
    upper = percentile_indices(curve, upper=data["USL"])
    assert np.isnan(upper[0])
    assert upper[1] == pytest.approx(want["Cpu"], abs=close)
    if "LSL" in data:
        assert percentile_indices(curve, data["LSL"], data["USL"]) == pytest.approx(
            (want["Cp"], want["Cpk"]), abs=close
        )
        assert percentile_indices(curve, lower=data["LSL"])[1] == pytest.approx(want["Cpl"], abs=close)


def test_percentile_indices_of_a_normal_curve_are_the_plain_ones():
    # 0.135 % is the share below -3 sigma rounded to three digits, hence 1e-5.
    assert percentile_indices(stats.norm(16.0, 2.0), 8.0, 20.0) == pytest.approx((1.0, 2 / 3), abs=2e-5)


@pytest.mark.parametrize("name", CURVES)
def test_each_curve_is_found_again(name):
    readings = TRUE[name].rvs(2000, random_state=np.random.default_rng(4))
    found, curve = likeliest(readings)
    assert found == name
    assert curve.ppf([0.1, 0.5, 0.9]) == pytest.approx(TRUE[name].ppf([0.1, 0.5, 0.9]), rel=0.08)


@pytest.mark.parametrize("name", CURVES)
def test_no_other_shape_of_the_curve_is_likelier(name):
    readings = TRUE[name].rvs(60, random_state=np.random.default_rng(5)) + 0.01
    _, curve = likeliest(readings)
    best = curve.logpdf(readings).sum()
    for family in CURVES.values():
        shape, _, scale = family.fit(readings, floc=0)
        assert best >= family.logpdf(readings, shape, 0, scale).sum() - 1e-6
    (shape,), scale = curve.args, curve.kwds["scale"]
    for a in (0.99, 1.01):
        for b in (0.99, 1.0, 1.01):
            assert best >= curve.dist.logpdf(readings, shape * a, 0, scale * b).sum() - 1e-9


def test_a_curve_must_hold_every_reading():
    assert likeliest([0.1, 0.2, -0.1, 0.3]) is None
    assert likeliest([0.0, 0.1, 0.2, 0.7])[0] == "folded normal"
    assert likeliest([5.0] * 10) is None


def test_normal_is_kept_unless_the_test_speaks_clearly_against_it():
    skewed = TRUE["lognormal"].rvs(200, random_state=np.random.default_rng(6))
    assert fit_distribution(skewed, p=0.005)[0] == "normal"
    assert fit_distribution(skewed)[0] == "normal"
    assert fit_distribution(skewed, p=0.0049)[0] == "lognormal"
    name, curve = fit_distribution(skewed - 3, p=0.0)
    assert name == "normal"  # readings below 0 fit no other curve
    assert (curve.mean(), curve.std()) == (pytest.approx(skewed.mean() - 3), pytest.approx(skewed.std(ddof=1)))


def test_expected_readings_outside_add_both_sides():
    assert expected_ppm(stats.norm(0, 1), -3.0, 3.0) == pytest.approx(
        2699.796, abs=1e-3
    )  # NIST e-Handbook, 6.1.6: 0.27 %
    assert expected_ppm(stats.norm(0, 1), upper=3.0) == pytest.approx(1349.898, abs=1e-3)
    assert expected_ppm(stats.norm(0, 1)) == 0


@settings(max_examples=25)
@given(
    st.lists(st.floats(0.01, 50), min_size=4, max_size=30).filter(lambda x: np.ptp(x) > 0.01),
    st.randoms(use_true_random=False),
)
def test_unit_and_order_choose_the_same_curve(readings, random):
    name, curve = likeliest(readings)
    mixed = list(readings)
    random.shuffle(mixed)
    for other, factor in ((mixed, 1.0), (np.array(readings) * 25.4, 25.4)):
        again, same = likeliest(other)
        # two curves can tie, so the likelihood is compared and not the name
        gained = same.logpdf(other).sum() + len(readings) * np.log(factor) - curve.logpdf(readings).sum()
        assert gained == pytest.approx(0, abs=1e-4)
        if again == name:
            assert expected_ppm(same, 2 * factor, 30 * factor) == pytest.approx(
                expected_ppm(curve, 2, 30), rel=1e-3, abs=1e-3
            )


@pytest.mark.parametrize("readings", [[], [1.0, np.nan], [[1.0, 2.0]]])
def test_missing_readings_are_refused(readings):
    with pytest.raises(UnusableData, match="drop the missing"):
        likeliest(readings)


def test_one_reading_has_no_curve():
    with pytest.raises(UnusableData, match="two readings"):
        fit_distribution([1.0])
