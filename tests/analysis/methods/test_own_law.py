"""Limits for readings of any law: the normal one gives the normal width, heavier ones the rates that are simulated."""

import numpy as np
import pytest
from scipy.special import ndtri

from analysis.methods.allowance import ewma_width
from analysis.methods.own_law import OF_NORMAL, own_law, unsure
from analysis.methods.problems import UnusableData
from analysis.methods.signal_life import lives

NORMAL = ndtri((np.arange(20_000) + 0.5) / 20_000)  # normal readings without chance


@pytest.mark.parametrize("arl", [100.0, 1500.0, 8000.0, 50_000.0])
def test_normal_readings_ask_for_the_normal_width(arl):
    law = own_law(NORMAL)
    assert law.factor(arl) == pytest.approx(1.0, abs=0.004)
    assert law.width(arl) == pytest.approx(ewma_width(arl, baseline=None), rel=0.01)


def test_the_order_and_the_sign_of_the_readings_never_matter():
    x = np.random.default_rng(20270310).gamma(4, size=500)
    x = (x - x.mean()) / x.std()
    plain = own_law(x).factor(2000.0)
    assert own_law(np.random.default_rng(1).permutation(x)).factor(2000.0) == plain
    assert own_law(-x).factor(2000.0) == pytest.approx(plain, rel=1e-6)


def test_readings_that_spread_more_than_their_sigma_says_get_limits_as_much_wider():
    assert own_law(NORMAL * 1.1).width(2000.0) == pytest.approx(1.1 * own_law(NORMAL).width(2000.0), rel=0.01)


def test_a_heavy_tail_widens_and_a_short_one_narrows():
    heavy = np.random.default_rng(20270311).standard_t(5, 20_000) / np.sqrt(5 / 3)
    even = np.linspace(-np.sqrt(3), np.sqrt(3), 20_001)
    assert own_law(heavy).factor(8000.0) > 1.05
    assert own_law(even).factor(8000.0) < 0.99


def test_readings_on_a_few_steps_are_a_law_too():
    assert 0.9 < own_law(np.array([-1.0, 1.0] * 200)).factor(500.0) < 1.0


@pytest.mark.parametrize("readings", [[1.0], [1.0, np.nan]])
def test_a_law_wants_readings(readings):
    with pytest.raises(UnusableData, match="a law wants two or more"):
        own_law(np.array(readings))


@pytest.mark.promise
@pytest.mark.parametrize("law", ["t5", "gamma"])
def test_at_known_limits_the_wished_rate_is_kept(law):
    rng = np.random.default_rng(20270312)

    def draw(*shape: int) -> np.ndarray:
        if law == "t5":
            return rng.standard_t(5, size=shape) / np.sqrt(5 / 3)
        return (rng.gamma(4, size=shape) - 4) / 2

    width = own_law(draw(50_000)).width(1000.0)
    z = draw(300, 4000)
    found = lives(z.ravel(), np.arange(300) * 4000, begin=np.zeros(300, dtype=np.int64), width=np.full(z.size, width))
    starts = np.unique(found.segment, return_index=True)[1]
    run = np.where(np.isin(np.arange(300), found.segment), 4000, 4000)
    run[found.segment[starts]] = found.opened[starts] - found.segment[starts] * 4000 + 1
    rate = len(starts) / run.sum()  # first openings over the readings until then
    assert rate * 1000 == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("law", ["normal", "t3", "gamma4"])
def test_how_far_a_sigma_by_moving_ranges_errs_is_that_of_simulated_baselines(law):
    rng = np.random.default_rng([20310114, len(law)])
    n, many = 100, 6000
    draws = {
        "normal": rng.normal(size=(many, n)),
        "t3": rng.standard_t(3, size=(many, n)),
        "gamma4": rng.gamma(4, size=(many, n)),
    }
    x = draws[law]
    ranges = np.abs(np.diff(x, axis=1)).mean(axis=1)
    assert unsure(np.sort(x.ravel())) == pytest.approx((n - 1) * ranges.var() / ranges.mean() ** 2, rel=0.1)


def test_of_normal_readings_it_errs_as_is_known_and_the_unit_says_nothing():
    values = np.sort(np.random.default_rng(20310115).normal(size=40_000))
    assert unsure(values) == pytest.approx(OF_NORMAL, rel=0.02)
    assert unsure(25.4 * values + 3) == pytest.approx(unsure(values))
    assert unsure(np.zeros(5)) == OF_NORMAL
