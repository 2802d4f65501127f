"""A share that rose: against print, and how often it is told of shares that did not."""

import numpy as np
import pytest
from statsmodels.stats.contingency_tables import StratifiedTable

from analysis.methods.problems import UnusableData
from analysis.methods.risen_share import above, risen

CITIES = np.array(  # smokers and others, with lung cancer and without, in eight cities of China (Liu 1992)
    [
        [126, 100, 35, 61],
        [908, 688, 497, 807],
        [913, 747, 336, 598],
        [235, 172, 58, 121],
        [402, 308, 121, 215],
        [182, 156, 72, 98],
        [60, 99, 11, 43],
        [104, 89, 21, 36],
    ]
)


def test_the_statistic_is_that_of_print():
    # Agresti 1996, An Introduction to Categorical Data Analysis, section 3.2.3: CMH = 280.1 with 1 df.
    a, b, c, d = CITIES.T
    assert above(a, a + b, c, c + d, correction=0.0) ** 2 == pytest.approx(280.1, abs=0.05)
    tables = [np.array([[a, b], [c, d]]) for a, b, c, d in CITIES]
    told = StratifiedTable(tables).test_null_odds(correction=True).statistic
    assert above(a, a + b, c, c + d) ** 2 == pytest.approx(told, rel=1e-9)
    assert above(c, c + d, a, a + b) == pytest.approx(-above(a, a + b, c, c + d), rel=1e-9)


def test_a_rise_is_told_from_its_period_on():
    size = np.full((19, 1), 120)
    count = np.full((19, 1), 8)
    count[8:] = 18
    found = risen(count, size)
    assert found.first == 8
    assert found.z > 5
    assert risen(count[::-1], size).z < 0


def test_another_mix_of_groups_is_no_rise():
    of = np.array([[80, 20]] * 8 + [[20, 80]] * 8)
    count = np.round(of * np.array([0.05, 0.25])).astype(int)
    assert risen(count, of).z < 1
    assert risen(count.sum(axis=1, keepdims=True), of.sum(axis=1, keepdims=True)).z > 4


def test_periods_that_vary_by_more_than_chance_tell_less():
    size = np.full((16, 1), 100)
    even, uneven = (np.array(rows).reshape(-1, 1) for rows in ([6] * 8 + [14] * 8, [0, 12] * 4 + [4, 24] * 4))
    assert risen(even, size).z > 1.5 * risen(uneven, size).z > 0


def test_too_few_before_say_nothing_and_counts_must_fit():
    assert risen([[3], [9]], [[50], [50]]) is None
    assert risen([[3], [9]], [[100], [9]]) is None
    with pytest.raises(UnusableData):
        risen([[3]], [[2]])
    assert float(above(0, 10, 0, 10)) == 0.0


def test_shares_that_stay_are_seldom_told():
    """Of 24 shares looked at each week over a year, one in some years: under 1 in 800 of series end beyond 4."""
    rng = np.random.default_rng(20261201)
    told = 0
    for _ in range(2000):
        share = rng.uniform(0.01, 0.15)
        size = rng.integers(60, 200, (rng.integers(5, 52), 1))
        found = risen(rng.binomial(size, share), size)
        told += found is not None and found.z >= 4
    assert told <= 5
