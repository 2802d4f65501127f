"""A reading that lies far and alone is told, whatever the unit; a series that moved has none."""

import numpy as np
import pytest

from analysis.methods.far_readings import lonely
from analysis.methods.problems import UnusableData

SEED = 20281201
STEADY = np.tile([0.08, 0.10, 0.12, 0.10], 10)


def plainly(values, starts, step):
    """Reading for reading, each in its own segment."""
    found = []
    for part, width in zip(np.split(values, starts[1:]), step, strict=True):
        off = part - np.median(part)
        reach = 10 * max(1.4826 * np.median(np.abs(off)), width)
        side = [int(np.sign(one)) if 0 < reach * (1 + 1e-9) < abs(one) else 0 for one in off]
        found += [
            side[k] != 0 and side[k] not in ([side[k - 1]] if k else []) + side[k + 1 : k + 2] for k in range(len(part))
        ]
    return found


@pytest.mark.parametrize("digits", [0, 1, 6])
def test_one_pass_over_the_different_values_finds_what_each_reading_by_itself_says(digits):
    rng = np.random.default_rng(SEED)
    for _ in range(60):
        size = rng.integers(1, 40, 8)
        starts = np.cumsum(size) - size
        values = np.round(rng.standard_t(1.3, int(size.sum())), digits)
        step = rng.choice([0.0, 0.1], 8)
        assert lonely(values, starts, step=step).tolist() == plainly(values, starts, step)


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
