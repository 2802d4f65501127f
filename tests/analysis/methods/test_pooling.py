"""Means of an instrument's readings, chart by chart, in the order of time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods.pooling import instrument_means, points


def test_the_mean_of_an_instruments_readings_is_one_point():
    found = instrument_means(np.array([1.0, 3.0, 5.0]), np.array([0, 0, 0]), np.array([7, 7, 2]))
    assert (found.mean.tolist(), found.chart.tolist(), found.reading.tolist()) == ([5.0, 2.0], [0, 0], [2, 0])


def test_nothing_gives_nothing():
    none = np.zeros(0, dtype=np.int64)
    assert len(instrument_means(np.zeros(0), none, none).mean) == 0


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 30), st.integers(-9, 9)), min_size=1, max_size=60))
def test_points_are_those_of_a_plain_walk(rows):
    chart, instrument, z = (np.array(column, dtype=np.int64) for column in zip(*rows, strict=True))
    found = instrument_means(z.astype(np.float64), chart, instrument)
    by = {}
    for c, i, value in rows:
        by.setdefault((c, i), []).append(value)
    assert found.chart.tolist() == [c for c, _ in sorted(by)]
    assert np.allclose(found.mean, [np.mean(by[key]) for key in sorted(by)])
    assert [(int(chart[at]), int(instrument[at])) for at in found.reading] == sorted(by)


def test_the_first_reading_stands_for_its_point_however_many_charts_there_are():
    z, instrument = np.arange(6.0), np.array([3, 3, 3, 8, 8, 9])
    few, many = (instrument_means(z, np.full(6, chart), instrument) for chart in (0, 10_000))
    assert few.reading.tolist() == many.reading.tolist() == [0, 3, 5]


def test_of_a_point_some_readings_can_be_left_out_and_one_without_any_is_none():
    found = points(np.array([0, 0, 1, 1, 0]), np.array([2, 2, 2, 5, 1]))
    some = found.means(np.array([4.0, 7.0, 9.0]), np.array([1, 2, 4]))
    assert (some.mean.tolist(), some.chart.tolist(), some.reading.tolist()) == ([9.0, 4.0, 7.0], [0, 0, 1], [2, 0, 1])


@pytest.mark.parametrize("mixed", [0, 3])
@pytest.mark.parametrize("by", [0, 7])
def test_points_on_other_charts_are_those_found_anew(mixed, by):
    rng = np.random.default_rng(20270306)
    chart, instrument = rng.integers(0, 3, 400), rng.integers(0, 60, 400)
    other = 5 - (chart * by + instrument) % 4  # one for all readings of a point
    other[:mixed] = 9  # but for some
    parted, anew = points(chart, instrument).parted(other), points(other, instrument)
    for name in ("of", "chart", "instrument", "first"):
        assert getattr(parted, name).tolist() == getattr(anew, name).tolist()
