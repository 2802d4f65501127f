import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, special, stats

from analysis.methods.coarse import rounded_normal
from analysis.methods.problems import UnusableData

steps = st.lists(st.integers(-3, 3), min_size=6, max_size=40).filter(lambda x: len(set(x)) >= 3)


def by_search(readings, step):
    """The same likelihood, climbed by a general optimiser."""
    x = np.asarray(readings, dtype=float)

    def minus(mu_log):
        mu, sigma = mu_log[0], np.exp(mu_log[1])
        return -np.log(special.ndtr((x + step / 2 - mu) / sigma) - special.ndtr((x - step / 2 - mu) / sigma)).sum()

    best = optimize.minimize(
        minus, [x.mean(), np.log(x.std() + step / 3)], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12}
    )
    return best.x[0], np.exp(best.x[1])


def test_the_mean_and_sigma_are_the_likeliest():
    # Vardeman & Lee 2005 print no data set we could read; the likelihood itself is climbed by another way instead.
    readings = [0, 1, 1, 2, 1, 0, 1, 3, 2, 1, 1, 0]
    found = rounded_normal(readings, step=1.0)
    mean, sigma = by_search(readings, 1.0)
    assert found.mean[0] == pytest.approx(mean, abs=1e-6)
    assert found.sd[0] == pytest.approx(sigma * np.sqrt(12 / 11), abs=1e-6)


def test_a_fine_gauge_gives_mean_and_s():
    x = np.round(np.random.default_rng(7).normal(3, 0.2, 50), 4)
    found = rounded_normal(x, step=1e-4)
    assert found.mean[0] == pytest.approx(x.mean(), abs=1e-7)
    assert found.sd[0] == pytest.approx(x.std(ddof=1), rel=1e-4)
    assert found.mean_error[0] == pytest.approx(x.std(ddof=1) / 50**0.5, rel=1e-3)


def test_fewer_than_three_values_tell_no_sigma_and_say_so():
    found = rounded_normal([1, 1, 2, 2, 1, 2, 3, 2], [0, 4], step=1.0)
    assert found.known.tolist() == [False, True]
    assert np.isnan([found.mean[0], found.sd[0], found.mean_error[0], found.sd_error[0]]).all()
    assert np.isfinite([found.mean[1], found.sd[1], found.mean_error[1], found.sd_error[1]]).all()


@settings(max_examples=25)
@given(st.lists(steps, min_size=1, max_size=4))
def test_streams_together_mirrored_or_in_inches_give_what_each_gives_alone(parts):
    values = np.array([v for part in parts for v in part], dtype=float)
    starts = np.cumsum([0] + [len(part) for part in parts[:-1]])
    together, mirror, inch = (
        rounded_normal(x, starts, step=q) for x, q in ((values, 1.0), (-values, 1.0), (values / 64, 1 / 64))
    )
    for i, part in enumerate(parts):
        alone = rounded_normal(part, step=1.0)
        assert together.mean[i] == pytest.approx(alone.mean[0], abs=1e-8)
        assert together.sd[i] == pytest.approx(alone.sd[0], abs=1e-8)
        assert mirror.mean[i] == pytest.approx(-alone.mean[0], abs=1e-7)
        assert mirror.sd[i] == pytest.approx(alone.sd[0], abs=1e-7)
        assert inch.mean[i] * 64 == pytest.approx(alone.mean[0], abs=1e-7)
        assert inch.sd[i] * 64 == pytest.approx(alone.sd[0], abs=1e-7)


@pytest.mark.promise
@pytest.mark.parametrize("step", [1.0, 2.0])
def test_sigma_of_coarse_readings_is_right_on_average_where_s_is_not(step):
    rng = np.random.default_rng(20260902)
    n, streams = 60, 4000
    readings = np.round(rng.normal(0.3, 1, (streams, n)) / step) * step
    found = rounded_normal(readings.ravel(), np.arange(streams) * n, step=step)
    likely, plain = np.sqrt((found.sd[found.known] ** 2).mean()), np.sqrt(readings.var(axis=1, ddof=1).mean())
    assert found.known.mean() > 0.99
    assert likely == pytest.approx(1, abs=0.015)
    assert plain > 1 + step**2 / 30
    assert found.mean[found.known].std() == pytest.approx(found.mean_error[found.known].mean(), rel=0.06)


@pytest.mark.parametrize("step", [0.0, -1.0, np.nan])
def test_a_step_must_be_above_zero(step):
    with pytest.raises(UnusableData, match="step must be above 0"):
        rounded_normal([1.0, 2.0], step=step)


@pytest.mark.parametrize("readings", [[0, 1, 1, 2, 1, 0, 1, 3, 2, 1, 1, 0, 2, 4], [0] * 20 + [1] * 3 + [2, 2, 4]])
def test_standard_errors_are_those_of_the_curvature_of_the_likelihood(readings):
    readings = np.array(readings)
    found = rounded_normal(readings, step=1.0)
    unbiased = np.sqrt(len(readings) / (len(readings) - 1))
    at = np.array([found.mean[0], found.sd[0] / unbiased])

    def minus(mean, sd):
        return -np.log(
            stats.norm.cdf((readings + 0.5 - mean) / sd) - stats.norm.cdf((readings - 0.5 - mean) / sd)
        ).sum()

    h, curve = 1e-3, np.empty((2, 2))
    for i, a in enumerate(np.eye(2) * h):
        for j, b in enumerate(np.eye(2) * h):
            corners = [minus(*(at + x * a + y * b)) * x * y for x in (1, -1) for y in (1, -1)]
            curve[i, j] = sum(corners) / (4 * h * h)
    errors = np.sqrt(np.diag(np.linalg.inv(curve))) * unbiased
    assert [found.mean_error[0], found.sd_error[0]] == pytest.approx(errors, rel=1e-4)
