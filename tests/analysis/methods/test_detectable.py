"""The smallest shift that a quiet chart would have shown."""

import numpy as np
import pytest

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
