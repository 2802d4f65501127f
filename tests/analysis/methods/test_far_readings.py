"""A reading that lies far and alone is told, whatever the unit; a series that moved has none."""

import numpy as np
import pytest

from analysis.methods.far_readings import lonely, medians
from analysis.methods.problems import UnusableData

SEED = 20281201
STEADY = np.tile([0.08, 0.10, 0.12, 0.10], 10)


def test_medians_are_numpys():
    rng = np.random.default_rng(SEED)
    values, starts = rng.normal(size=500), np.array([0, 1, 3, 10, 101, 400])
    assert medians(values, starts) == pytest.approx([np.median(part) for part in np.split(values, starts[1:])])


def test_a_point_that_was_lost_is_told_by_series_and_gauge():
    values = np.concatenate([np.append(STEADY, 3.0), STEADY, np.full(12, 0.2), [0.2, 0.3]])
    starts = np.array([0, 41, 81])
    assert np.flatnonzero(lonely(values, starts)).tolist() == [40]  # of the third nothing says how far is far
    assert np.flatnonzero(lonely(values, starts, step=0.02)).tolist() == [40]
    assert np.flatnonzero(lonely(values, starts, step=[0.0, 0.0, 0.009])).tolist() == [40, 94]


def test_unit_reversal_and_sign_change_nothing():
    values = np.concatenate([STEADY, [3.0], STEADY, [-3.0], STEADY])
    far = lonely(values, [0])
    assert np.flatnonzero(far).tolist() == [40, 81]
    assert (lonely(values / 25.4, [0]) == far).all()
    assert (lonely(values + 100, [0]) == far).all()
    assert (lonely(-values[::-1], [0]) == far[::-1]).all()
    assert not lonely(np.full(30, 0.1), [0], step=0.02).any()


def test_a_series_that_moved_has_no_slips_nor_has_the_next_one():
    moved = np.concatenate([STEADY, STEADY[:12] + 5])
    assert not lonely(moved, [0]).any()
    assert np.flatnonzero(lonely(np.concatenate([STEADY, [3.0], [3.0], STEADY]), [0, 41])).tolist() == [40, 41]


@pytest.mark.parametrize("law", ["normal", "t5", "gamma4"])
def test_readings_without_slips_hardly_ever_have_any(law):
    rng = np.random.default_rng(SEED)
    draw = {"normal": rng.standard_normal, "t5": lambda n: rng.standard_t(5, n), "gamma4": lambda n: rng.gamma(4, 1, n)}
    values = draw[law](200_000)
    # t5 lies beyond ten of its middle's spreads once in some 8,000 readings, the two others never
    assert lonely(values, np.arange(0, 200_000, 500)).mean() <= (3e-4 if law == "t5" else 0)


def test_a_missing_reading_is_refused():
    with pytest.raises(UnusableData, match="missing"):
        lonely([0.1, np.nan], [0])
