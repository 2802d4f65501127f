"""A young stream judged by itself: the formula written out, and its law by simulation."""

import numpy as np
import pytest
from scipy.stats import kstest, norm
from scipy.stats import t as student

from analysis.methods.problems import UnusableData
from analysis.methods.self_starting import self_starting


def test_q_is_the_formula_written_out():
    # Quesenberry (1991), J. Quality Technology 23: Q_r from the mean and s (n - 1) of the readings before
    x = np.array([0.31, 0.28, 0.35, 0.30, 0.41, 0.22])
    wanted = [0.0, 0.0]
    for r in range(3, len(x) + 1):
        before = x[: r - 1]
        wanted.append(
            norm.ppf(student.cdf(np.sqrt((r - 1) / r) * (x[r - 1] - before.mean()) / before.std(ddof=1), r - 2))
        )
    assert self_starting(x) == pytest.approx(wanted, abs=1e-12)


def test_each_segment_stands_alone():
    rng = np.random.default_rng(20261214)
    x, y = rng.normal(size=30), rng.normal(5, 2, size=17)
    both = self_starting(np.concatenate((x, y)), np.array([0, 30]))
    assert both.tolist() == [*self_starting(x), *self_starting(y)]  # to the last digit


def test_centre_and_unit_leave_q_alone():
    x = np.random.default_rng(20261215).normal(size=60)
    assert self_starting(1000 + 25.4 * x) == pytest.approx(self_starting(x), abs=1e-7)


def test_equal_readings_are_no_surprise_nor_is_one_step_of_a_coarse_gauge():
    x = np.full(30, 0.4)
    assert (self_starting(x) == 0).all()
    x[-1] = 0.5
    assert self_starting(x)[-1] == 0  # nothing had moved yet: there is no yardstick
    assert abs(self_starting(x, step=0.1)[-1]) < 3.2


def test_in_control_q_is_standard_normal_and_independent():
    rng = np.random.default_rng(20261216)
    q = self_starting(rng.normal(3.0, 0.2, size=400 * 30), np.arange(400) * 30).reshape(400, 30)[:, 2:]
    assert kstest(q.ravel(), "norm").pvalue > 0.001
    assert abs(np.corrcoef(q[:, :-1].ravel(), q[:, 1:].ravel())[0, 1]) < 0.03


def test_missing_readings_are_refused():
    with pytest.raises(UnusableData):
        self_starting([1.0, np.nan, 2.0])
