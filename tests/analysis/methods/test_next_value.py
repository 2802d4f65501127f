"""The next value: by hand, laws, and how often it holds."""

import numpy as np
import pytest

from analysis.methods.next_value import COUNT, SHARE, next_value
from analysis.methods.problems import UnusableData


def test_by_hand():
    # mean 3, s = sqrt(2.5), t(4, .975) = 2.776445: 3 -+ 2.776445 * 1.581139 * sqrt(1.2)
    assert next_value([1, 2, 3, 4, 5]) == pytest.approx((-1.8089, 7.8089), abs=1e-4)


def test_a_constant_run_expects_itself():
    for kind, value in ((COUNT, 40.0), (SHARE, 0.8)):
        assert next_value([value] * 20, kind) == pytest.approx((value, value))


def test_counts_stay_above_nothing_and_shares_within_all():
    low, _ = next_value([0, 0, 1, 0, 3, 0], COUNT)
    assert low == 0
    low, high = next_value([0.9, 1.0, 1.0, 0.5, 1.0], SHARE)
    assert 0 <= low < high <= 1


@pytest.mark.parametrize("kind", [COUNT, SHARE])
def test_nineteen_weeks_in_twenty_lie_inside_from_twenty_weeks_on(kind):
    rng = np.random.default_rng(20270301)
    inside = 0
    for _ in range(1000):
        values = rng.poisson(60, 21) if kind == COUNT else rng.binomial(60, 0.8, 21) / 60
        low, high = next_value(values[:20], kind)
        inside += low <= values[20] <= high
    assert inside == pytest.approx(950, abs=4 * np.sqrt(1000 * 0.05 * 0.95))


@pytest.mark.parametrize(
    ("values", "kind"), [([1.0], COUNT), ([1.0, np.nan], COUNT), ([-1.0, 2.0], COUNT), ([0.5, 1.2], SHARE)]
)
def test_what_cannot_be_used_is_refused(values, kind):
    with pytest.raises(UnusableData):
        next_value(values, kind)
