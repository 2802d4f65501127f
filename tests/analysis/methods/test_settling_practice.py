"""Where practice settles, and what may be said of tomorrow."""

import numpy as np
import pytest

from analysis.methods.learning import level
from analysis.methods.problems import UnusableData
from analysis.methods.settling_practice import fit_settling
from tests.trials.settling_practice import TRUTHS

UNITS = np.arange(1, 241)


def scattered(rng, curve, sd=0.15):
    return curve * np.exp(rng.normal(0, sd, len(curve)))


def test_two_steep_weeks_are_no_promise_of_more():
    # 10 minutes for 160 instruments, 7 ever since: a power curve through them falls on and on
    rng, i = np.random.default_rng(71), np.arange(1, 501)
    there = fit_settling(i, scattered(rng, np.where(i <= 160, 10.0, 7.0))).project(750)
    assert there.low < 7.0 < there.high
    assert there.value == pytest.approx(7.0, rel=0.03)
    assert there.high / there.low < 1.1


@pytest.mark.parametrize("curve", [level(UNITS, 20.0, -0.5), level(UNITS, 20.0, -1.0), np.full(240, 9.0)])
def test_a_clean_curve_is_found_again(curve):
    found = fit_settling(UNITS, curve)
    assert found.at(UNITS) == pytest.approx(curve, rel=0.01)


def test_getting_slower_is_no_practice_and_shows_as_one_level():
    found = fit_settling(UNITS, 5 + UNITS / 100)
    assert np.ptp(found.at(UNITS)) == pytest.approx(0, abs=1e-9)


def test_nothing_is_said_before_forty_instruments_nor_far_ahead():
    with pytest.raises(UnusableData, match="cannot be said yet: 39 instruments seen, 40 are needed"):
        fit_settling(UNITS[:39], level(UNITS[:39], 20.0, -0.3)).project(45)
    with pytest.raises(UnusableData, match=r"cannot be said yet: 361 lies beyond 1\.5 times the 240 seen"):
        fit_settling(UNITS, level(UNITS, 20.0, -0.3)).project(361)


def test_unit_of_time_and_order_of_rows_change_nothing():
    minutes = scattered(np.random.default_rng(72), level(UNITS, 20.0, -0.3))
    order = np.random.default_rng(73).permutation(len(UNITS))
    there = fit_settling(UNITS, minutes).project(300)
    for other, factor in ((fit_settling(UNITS, minutes / 60), 1 / 60), (fit_settling(UNITS[order], minutes[order]), 1)):
        again = other.project(300)
        assert (again.low, again.value, again.high) == pytest.approx(
            (there.low * factor, there.value * factor, there.high * factor)
        )
    assert there.low <= there.value <= there.high


@pytest.mark.parametrize(
    ("unit", "amount"),
    [([1, 2, 3, 4], [1.0] * 4), ([1, 2, 3, 4, 5], [1.0, 2, 3, 4, 0]), ([0, 1, 2, 3, 4], [1.0] * 5), ([1], [[1.0]])],
)
def test_what_is_no_run_of_amounts_is_refused(unit, amount):
    with pytest.raises(UnusableData):
        fit_settling(unit, amount)


@pytest.mark.promise
@pytest.mark.parametrize("kind", TRUTHS)
def test_projections_cover_at_least_85_of_100(kind):
    # Full size: tests.trials.settling_practice.
    rng, n, runs = np.random.default_rng(20261201), 200, 60
    i, held = np.arange(1, n + 1), 0
    for _ in range(runs):
        there = fit_settling(i, scattered(rng, TRUTHS[kind](i, n), 0.2)).project(1.5 * n)
        held += there.low <= float(TRUTHS[kind](np.array([1.5 * n]), n)[0]) <= there.high
    assert held / runs >= 0.85
