"""Limits that allow for being estimated."""

import numpy as np
import pytest

from analysis.methods.allowance import (
    ewma_delay,
    ewma_rate,
    ewma_spread,
    ewma_width,
    ewma_widths,
    individuals_rate,
    individuals_spread,
    individuals_width,
    moving_range_freedom,
)
from analysis.methods.problems import UnusableData


@pytest.mark.parametrize("baseline", [25, 50, 100, 200, None])
@pytest.mark.parametrize("arl", [500.0, 8000.0])
def test_the_width_gives_back_the_wished_rate(arl: float, baseline: int | None) -> None:
    assert 1 / ewma_rate(ewma_width(arl, baseline=baseline), baseline=baseline) == pytest.approx(arl, rel=1e-4)
    assert 1 / individuals_rate(individuals_width(arl, baseline=baseline), baseline=baseline) == pytest.approx(arl, rel=1e-9)


def test_moving_range_freedom_is_near_its_usual_value() -> None:
    # nu near 0.605 (m - 1): the limit of the ratio is 1 / (2 var), var = pi/2 - 1 + 2 (sqrt(3)/2 + pi/12 - 1)
    assert moving_range_freedom(100_000) / 99_999 == pytest.approx(0.605, abs=5e-4)
    assert moving_range_freedom(2) == pytest.approx(1.0, abs=1e-9)  # one difference is one degree of freedom


def test_many_widths_are_the_single_ones() -> None:
    sizes = np.arange(25, 425, dtype=np.int64)
    many = ewma_widths(8000.0, sizes)
    assert many[::50] == pytest.approx([ewma_width(8000.0, baseline=int(m)) for m in sizes[::50]], abs=2e-4)
    assert ewma_widths(8000.0, [100, 25, 100]) == pytest.approx([ewma_width(8000.0, baseline=m) for m in (100, 25, 100)], abs=1e-6)


def test_a_longer_baseline_needs_narrower_limits_and_a_larger_shift_is_seen_sooner() -> None:
    widths = ewma_widths(8000.0, [25, 50, 100, 200, 1000])
    assert (np.diff(widths) < 0).all()
    assert widths[-1] > ewma_width(8000.0, baseline=None)
    delays = [ewma_delay(shift, 4.19, 0.1, 100) for shift in (1.0, 1.5, 2.0, -2.0)]
    assert delays[0] > delays[1] > delays[2] == pytest.approx(delays[3])


def test_streams_lie_apart_round_the_promised_mean() -> None:
    for spread in (ewma_spread(4.193, baseline=100), individuals_spread(4.1, baseline=100)):
        assert (np.diff(spread) > 0).all()
        assert spread[0] < 8000 < spread[-1]


def test_impossible_wishes_say_what_was_wanted() -> None:
    with pytest.raises(UnusableData, match="wanted at least 2"):
        ewma_width(1.0, baseline=None)
    with pytest.raises(UnusableData, match="no moving range"):
        individuals_width(500.0, baseline=1)
    with pytest.raises(UnusableData, match="weight"):
        ewma_width(500.0, weight=1.5, baseline=None)
