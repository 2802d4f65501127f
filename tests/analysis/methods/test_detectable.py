"""The smallest shift that a quiet chart would have shown."""

import numpy as np
import pytest
from scipy.stats import norm

from analysis.methods.detectable import smallest_shift
from analysis.methods.signal_life import lives


def test_more_readings_and_tighter_limits_show_less():
    by_readings = smallest_shift(np.array([10, 20, 50, 100, 300, 1000]), np.full(6, 3.2))
    assert (np.diff(by_readings) < 0).all()
    by_width = smallest_shift(np.full(4, 50), np.array([2.0, 2.5, 3.0, 4.0]))
    assert (np.diff(by_width) > 0).all()


def test_a_stream_without_readings_would_have_shown_nothing():
    assert np.isnan(smallest_shift(np.array([0, 1]), np.full(2, 3.2))).tolist() == [True, True]
    assert len(smallest_shift(np.zeros(0, dtype=np.int64), np.zeros(0))) == 0


def test_streams_do_not_touch_each_other():
    n, width = np.array([30, 200, 5]), np.array([3.0, 3.4, 2.6])
    alone = [smallest_shift(n[[k]], width[[k]])[0] for k in range(3)]
    assert smallest_shift(n, width) == pytest.approx(alone, rel=0.02)


@pytest.mark.promise
@pytest.mark.parametrize("n", [20, 60, 200, 600])
def test_a_shift_of_that_size_is_seen_in_nine_of_ten(n):
    shift = smallest_shift(np.array([n]), np.array([3.1]))[0]
    z = np.random.default_rng([20270330, n]).normal(size=(2000, n)) + shift
    width = np.full(z.size, 3.1)
    found = lives(z.ravel(), np.arange(2000) * n, begin=np.zeros(2000, dtype=np.int64), width=width)
    assert len(np.unique(found.segment)) / 2000 == pytest.approx(0.9, abs=0.035)


def missed(shift, n, width, weight=0.1, cells=201):
    """The chance that a running average of n readings off by `shift` has not left its limits, by a chain of cells."""
    half = width * np.sqrt(weight / (2 - weight))
    edges = np.linspace(-half, half, cells + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    held = np.diff(norm.cdf(edges / weight - shift))
    moves = np.diff(norm.cdf((edges[None, :] - (1 - weight) * middle[:, None]) / weight - shift), axis=1)
    return (held @ np.linalg.matrix_power(moves, n - 1)).sum()


@pytest.mark.parametrize(("n", "width"), [(5, 2.2), (20, 3.0), (60, 2.8), (300, 3.2), (401, 3.2), (900, 3.2)])
def test_the_shift_told_is_missed_once_in_ten_by_a_finer_chain(n, width):
    (shift,) = smallest_shift(np.array([n]), np.array([width]))
    # many readings show shifts between two that are looked at, where the chance falls steeply
    assert missed(shift, n, width) == pytest.approx(0.1, abs=0.004 if n < 100 else 0.03)
    if n > 60:
        return  # half are seen below a tenth of sigma, the smallest shift that is looked at
    (often,) = smallest_shift(np.array([n]), np.array([width]), chance=0.5, weight=0.2)
    assert missed(often, n, width, 0.2) == pytest.approx(0.5, abs=0.03)


def test_between_two_widths_the_shift_lies_where_that_of_the_width_itself_does():
    widths = np.array([2.0, 2.31, 2.77, 3.4])
    together = smallest_shift(np.full(4, 40), widths)
    assert [missed(s, 40, w) for s, w in zip(together, widths, strict=True)] == pytest.approx([0.1] * 4, abs=0.004)


def test_one_reading_shows_what_lies_beyond_its_limit_and_nothing_is_told_beyond_six_sigma():
    half = 2.0 * np.sqrt(0.1 / 1.9) / 0.1  # in sigmas of one reading
    (shift,) = smallest_shift(np.array([1]), np.array([2.0]))
    assert shift == pytest.approx(half + norm.ppf(0.9), abs=0.02)
    assert np.isnan(smallest_shift(np.array([1]), np.array([2.6]))[0])
    low = smallest_shift(np.array([100_000]), np.array([2.0]))[0]
    assert low == pytest.approx(0.1)  # the smallest that is looked at
