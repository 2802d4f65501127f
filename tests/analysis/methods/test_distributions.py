import numpy as np
import pytest
from scipy import stats

from analysis.methods.distributions import folded_normal, percentile_indices
from tests.published.cases import case, tolerance


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


@pytest.mark.parametrize("offset", [0.0, 0.8, 3.0])
def test_no_other_folded_normal_is_likelier(offset):
    readings = stats.foldnorm(offset, scale=2.0).rvs(200, random_state=np.random.default_rng(5))
    curve = folded_normal(readings)
    best = curve.logpdf(readings).sum()
    shape, _, scale = stats.foldnorm.fit(readings, floc=0)
    assert best >= stats.foldnorm.logpdf(readings, shape, 0, scale).sum() - 1e-6
    shape, scale = curve.shape, curve.scale
    for a in (-0.01, 0.01):
        for b in (0.99, 1.0, 1.01):
            assert best >= stats.foldnorm.logpdf(readings, max(shape + a, 0.0), 0, scale * b).sum() - 1e-9


def test_readings_with_longer_tails_than_half_a_normal_curve_have_no_offset():
    # About offset 0 the likelihood bends up only where the mean fourth power is under three times the squared mean
    # square.
    x = stats.expon.ppf((np.arange(400) + 0.5) / 400)
    half = folded_normal(x)
    assert half.shape < 1e-3  # flat to the fourth power: a double tells no nearer
    assert half.scale**2 == pytest.approx((x**2).mean())
