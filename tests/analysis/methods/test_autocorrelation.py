"""Are points independent, and limits when they are not."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.signal import lfilter

from analysis.methods.allowance import ewma_width
from analysis.methods.autocorrelation import (
    dependence,
    effective_size,
    ewma_factor,
    ewma_variance,
    ewma_widening,
    lag_one,
    sigma_factor,
)
from analysis.methods.constants import d2
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats
from tests.trials.false_signals import autoregressive, average

PUBLISHED = Path(__file__).parents[2] / "published"
READINGS = arrays(np.float64, st.integers(4, 40), elements=st.floats(-50, 50, width=32)).filter(
    lambda x: np.std(x) > 0.01
)


@pytest.mark.parametrize("name", ["lew", "lottery", "mavro", "michelso", "numacc1", "numacc2", "numacc3"])
def test_lag_one_as_certified(name: str) -> None:
    # NIST Statistical Reference Datasets, univariate: certified lag-1 autocorrelation, to twelve digits
    case = json.loads((PUBLISHED / f"strd-{name}.json").read_text())
    got = lag_one(np.array(case["data"]["y"], dtype=np.float64))[0]
    assert got == pytest.approx(case["published"]["lag1_autocorrelation"], rel=1e-12)


@given(READINGS, st.floats(0.01, 100), st.floats(-100, 100))
def test_unit_zero_and_direction_leave_it_alone(x: Floats, unit: float, zero: float) -> None:
    plain = lag_one(x)[0]
    assert -1 <= plain <= 1
    for other in (x * unit + zero, -x, x[::-1]):
        assert lag_one(other)[0] == pytest.approx(plain, abs=1e-6)


@given(st.lists(READINGS, min_size=2, max_size=5))
def test_streams_do_not_see_each_other_and_groups_pool_their_own(parts: list[Floats]) -> None:
    starts = np.cumsum([0] + [len(part) for part in parts[:-1]])
    alone = [dependence(part) for part in parts]
    apart = dependence(np.concatenate(parts), starts, groups=np.arange(len(parts)))
    assert apart.lag_one.tolist() == pytest.approx([result.lag_one[0] for result in alone], abs=1e-12)
    assert apart.z.tolist() == pytest.approx([result.z[0] for result in alone], abs=1e-9)
    twice = dependence(np.concatenate(parts * 2), np.append(starts, starts + sum(map(len, parts))))
    once = dependence(np.concatenate(parts), starts)
    assert (twice.phi[0], twice.z[0]) == pytest.approx((once.phi[0], once.z[0] * np.sqrt(2)), abs=1e-9)


def test_streams_that_say_nothing_are_left_out() -> None:
    result = dependence([1.0, 2.0, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3], [0, 2])
    assert (result.used.tolist(), result.phi.tolist(), result.p.tolist(), result.readings.tolist()) == (
        [False, False],
        [0.0],
        [1.0],
        [0.0],
    )


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_correlation_told_stays_off_one(sign: float) -> None:
    swing = np.cumprod(np.full(4000, sign)) * np.linspace(1, 3, 4000) if sign < 0 else np.linspace(0, 1, 4000)
    assert dependence(swing).phi[0] == pytest.approx(sign * 0.99)


def test_independent_readings_widen_nothing() -> None:
    assert (float(sigma_factor(0.0)), float(ewma_factor(0.0)), ewma_widening(0.0)) == (1.0, 1.0, 1.0)
    assert ewma_variance([1, 2, 500], 0.0).tolist() == pytest.approx([0.01, 0.0181, 0.1 / 1.9])


@pytest.mark.parametrize("phi", [-0.4, 0.3, 0.7, 0.9])
def test_the_variance_of_the_average_is_the_double_sum(phi: float) -> None:
    for t in (1, 2, 7, 40):
        powers = 0.9 ** np.arange(t)
        wanted = 0.01 * float(powers @ phi ** np.abs(np.subtract.outer(np.arange(t), np.arange(t))) @ powers)
        assert float(ewma_variance(t, phi)) == pytest.approx(wanted, rel=1e-5)
    assert float(ewma_variance(5000, phi)) == pytest.approx(0.1 / 1.9 * float(ewma_factor(phi)) ** 2, rel=1e-5)


@pytest.mark.parametrize("phi", [-0.3, 0.3, 0.6])
def test_the_mean_is_as_sure_as_its_effective_size(phi: float) -> None:
    covariance = phi ** np.abs(np.subtract.outer(np.arange(50), np.arange(50)))
    assert float(effective_size(50, phi)) == pytest.approx(50**2 / covariance.sum())


@pytest.mark.parametrize("phi", [-0.3, 0.15, 0.3, 0.5])
def test_an_average_of_correlated_readings_widens_a_little_less_than_by_its_variance(phi: float) -> None:
    by_variance = float(ewma_factor(phi) * sigma_factor(phi))
    assert 0.93 < ewma_widening(phi) / by_variance < 1.03
    assert (ewma_widening(phi) < by_variance) == (phi > 0)


def test_bad_input_says_what_was_wanted() -> None:
    with pytest.raises(UnusableData, match="between -1 and 1"):
        sigma_factor(1.0)
    with pytest.raises(UnusableData, match="groups"):
        dependence([1.0, 2.0, 3.0], groups=[0, 1])


@pytest.mark.promise
def test_independent_streams_are_called_dependent_as_often_as_promised() -> None:
    rng = np.random.default_rng(20261130)
    for n, streams in ((30, 8), (100, 5)):
        starts = np.arange(2000 * streams) * n
        p = dependence(rng.normal(size=2000 * streams * n), starts, groups=np.repeat(np.arange(2000), streams)).p
        assert (p < 0.05).mean() == pytest.approx(0.05, abs=3 * np.sqrt(0.05 * 0.95 / 2000))


@pytest.mark.promise
@pytest.mark.parametrize("phi", [0.15, 0.3, 0.5])
def test_correlation_sigma_and_the_average_are_as_computed(phi: float) -> None:
    x = autoregressive(phi)(np.random.default_rng(20261201), 3000, 100)
    starts = np.arange(3000) * 100
    assert dependence(x.ravel(), starts).phi[0] == pytest.approx(phi, abs=0.01)
    assert np.abs(np.diff(x, axis=1)).mean() / d2(2) * float(sigma_factor(phi)) == pytest.approx(1.0, abs=0.005)
    average = lfilter([0.1], [1.0, -0.9], x, axis=1)
    assert average[:, 99].std() == pytest.approx(np.sqrt(float(ewma_variance(100, phi))), rel=0.04)
    assert average[:, 4].std() == pytest.approx(np.sqrt(float(ewma_variance(5, phi))), rel=0.04)


@pytest.mark.promise
@pytest.mark.parametrize("phi", [0.15, 0.3, 0.5])
def test_widened_limits_give_the_wished_openings_and_plain_ones_many_more(phi: float) -> None:
    rng, plain = np.random.default_rng(20261205), ewma_width(1000.0, baseline=100)
    widened = plain * ewma_widening(phi, arl=1000.0)
    rate, _ = average(rng, autoregressive(phi), width=widened, baseline=100, streams=4000, readings=1000)
    assert rate * 1000 == pytest.approx(1.0, abs=0.15)
    assert average(rng, autoregressive(phi), width=plain, baseline=100, streams=500, readings=1000)[0] * 1000 > 2.5
