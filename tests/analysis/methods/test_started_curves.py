import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.methods.normality import anderson_darling
from analysis.methods.started_curves import LEAST, Curve, curves, interval, untested, with_fit
from analysis.methods.values_once import Once

FAMILIES = {
    "lognormal": stats.lognorm,
    "gamma": stats.gamma,
    "Weibull": stats.weibull_min,
    "folded normal": stats.foldnorm,
}
TRUE = {
    "lognormal": stats.lognorm(0.9, loc=2.0),
    "gamma": stats.gamma(2.5, loc=-1.0),
    "Weibull": stats.weibull_min(1.6, loc=5.0, scale=3.0),
    "folded normal": stats.foldnorm(0.0, scale=2.0),
}


def readings(name, n, seed=4):
    return TRUE[name].rvs(n, random_state=np.random.default_rng(seed))


@pytest.mark.parametrize("name", TRUE)
def test_each_curve_is_found_again_wherever_it_starts(name):
    best = curves(readings(name, 3000))[0]
    assert best.name == name
    assert best.frozen.ppf([0.1, 0.5, 0.9]) == pytest.approx(TRUE[name].ppf([0.1, 0.5, 0.9]), rel=0.05)
    assert best.stands


@pytest.mark.parametrize("name", TRUE)
def test_the_likelihood_told_is_that_of_the_curve_and_no_neighbour_with_its_start_is_likelier(name):
    x = readings(name, 80, seed=5)
    told = curves(x)
    assert [curve.likelihood for curve in told] == sorted((curve.likelihood for curve in told), reverse=True)
    assert {curve.name for curve in told} >= {"lognormal", "gamma", "Weibull"}
    for curve in told:
        assert curve.likelihood == pytest.approx(curve.frozen.logpdf(x).sum(), abs=1e-6)
        shape, start, scale = curve.frozen.shape, curve.frozen.loc, curve.frozen.scale
        for a in (0.99, 1.01):
            for b in (0.99, 1.0, 1.01):
                near = FAMILIES[curve.name].logpdf(x, shape * a, start, scale * b).sum()
                assert curve.likelihood >= near - 1e-6, curve.name


@pytest.mark.parametrize("name", TRUE)
def test_readings_of_a_stepped_gauge_are_told_as_all_of_them(name):
    x = np.round(readings(name, 900, seed=7) / 0.25) * 0.25
    assert len(np.unique(x)) < 100
    told = curves(x)
    for curve in told:  # over each reading, one by one
        assert curve.likelihood == pytest.approx(curve.frozen.logpdf(x).sum(), rel=1e-9)
        place = np.clip(curve.frozen.cdf(x), 1e-12, 1 - 1e-12)
        assert curve.p == pytest.approx(anderson_darling(stats.norm.ppf(place))[1][0], rel=1e-6, abs=1e-30)
    alike = curves(x + 1e-9 * np.random.default_rng(1).random(len(x)))  # none equal to another
    for one, other in zip(told[:2], alike[:2], strict=True):
        assert (one.name, one.likelihood) == (other.name, pytest.approx(other.likelihood, rel=1e-6))


def test_segments_fitted_in_one_go_have_the_curves_of_each_to_the_last_digit():
    rng = np.random.default_rng(9)
    parts = [np.round(TRUE[name].rvs(n, random_state=rng), 1) for name in TRUE for n in (2, 40, 41, 300)]
    parts += [np.full(9, 0.5), parts[-1], parts[-1] + 1, -parts[-1]]
    told = Once.of(np.concatenate(parts), np.cumsum([0, *(len(part) for part in parts[:-1])]))
    which = np.array([k for k in range(len(parts)) if k != 3])
    sizes = np.diff(told.starts, append=len(told.value))
    assert len(np.unique(sizes)) < len(sizes)  # some have as many different values
    for k, found in zip(which, untested(told, which), strict=True):
        alone = curves(parts[k])
        assert [(one.name, one.frozen, one.likelihood) for one in found] == [
            (one.name, one.frozen, one.likelihood) for one in alone
        ]
        assert all(np.isnan(one.p) and not one.stands for one in found)
        if alone:
            fitted = with_fit(parts[k], found)
            assert fitted[0].p == alone[0].p
            assert [one.p for one in fitted[1:]] == [one.p for one in alone[1:]] or not alone[0].stands


def test_no_family_of_curves_is_copied_to_be_asked_at_one_place(monkeypatch):
    x = readings("gamma", 300)

    def copied(*_, **__):
        raise AssertionError("scipy's frozen curve: 3 ms each, and an interval asks at thirty places a curve")

    monkeypatch.setattr(stats.rv_continuous, "freeze", copied)
    told = curves(x)
    assert np.isfinite(interval(x, told, np.nan, 4.0)).all()
    for curve in told:
        of = FAMILIES[curve.name], (curve.frozen.shape, curve.frozen.loc, curve.frozen.scale)
        for name in ("cdf", "sf", "pdf", "logpdf"):
            assert (getattr(curve.frozen, name)(x) == getattr(of[0], name)(x, *of[1])).all()
        assert curve.frozen.ppf(0.3) == of[0].ppf(0.3, *of[1])


@settings(max_examples=10)
@given(st.integers(0, 2**32 - 1), st.sampled_from([1.0, 25.4, 0.01]), st.sampled_from([0.0, -40.0, 7.0]))
def test_unit_zero_and_order_change_nothing_of_curves_that_start_anywhere(seed, unit, zero):
    rng = np.random.default_rng(seed)
    x = rng.gamma(3.0, size=60)
    plain = {curve.name: curve for curve in curves(x)}
    moved = {curve.name: curve for curve in curves(unit * rng.permutation(x) + zero)}
    for name in ("lognormal", "gamma", "Weibull"):
        one, other = plain[name], moved[name]
        assert other.likelihood == pytest.approx(one.likelihood - 60 * np.log(unit), abs=1e-6)
        assert other.ppm(unit * 0.5 + zero, unit * 8.0 + zero) == pytest.approx(one.ppm(0.5, 8.0), rel=1e-5)
        assert other.p == pytest.approx(one.p, abs=1e-6)


def test_what_lies_outside_adds_both_sides_and_a_missing_limit_is_none():
    curve = Curve("normal", stats.norm(0, 1), 0.0, 1.0)
    assert curve.ppm(-3.0, 3.0) == pytest.approx(2699.796, abs=1e-3)  # NIST e-Handbook, section 6.1.6: 0.27 %
    assert curve.ppm(upper=3.0) == pytest.approx(1349.898, abs=1e-3)
    assert curve.ppm(lower=-3.0) == pytest.approx(1349.898, abs=1e-3)
    assert curve.ppm() == 0


def test_readings_without_a_shape_have_no_curve():
    assert curves([5.0] * 10) == []
    assert curves([1.0, 2.0]) == []
    assert "folded normal" not in [curve.name for curve in curves([-0.1, 0.1, 0.2, 0.4, 0.9])]
    assert "folded normal" in [curve.name for curve in curves([0.0, 0.1, 0.2, 0.4, 0.9])]


def test_an_interval_holds_what_its_curve_expects_and_narrows_with_more_readings():
    upper = float(TRUE["gamma"].ppf(0.99))  # ten thousand in a million
    widths = []
    for n in (5 * LEAST, 45 * LEAST):
        x = readings("gamma", n, seed=6)
        told = curves(x)
        low, high = interval(x, told, np.nan, upper)
        assert low < told[0].ppm(upper=upper) < high
        assert low < 10_000 < high
        widths.append(np.log(high / low))
    assert widths[1] < 0.5 * widths[0]


def test_a_curve_that_does_not_stand_has_no_interval():
    x = np.r_[readings("gamma", 300), np.full(60, 30.0)]
    told = curves(x)
    assert not told[0].stands
    assert np.isnan(interval(x, told, np.nan, 10.0)).all()
    assert np.isnan(interval(x, [], np.nan, 10.0)).all()
