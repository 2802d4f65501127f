"""Each value of a segment once: nothing of what was read is lost."""

import numpy as np
import pytest

from analysis.methods.values_once import Once

SEED = 20281202


def drawn(rng, digits):
    """Readings of several segments, and where each begins."""
    size = rng.integers(1, 60, 7)
    return np.round(rng.normal(size=int(size.sum())), digits), np.cumsum(size) - size


@pytest.mark.parametrize("digits", [0, 1, 9])
def test_values_and_how_often_are_numpys(digits):
    rng = np.random.default_rng(SEED)
    for _ in range(40):
        values, starts = drawn(rng, digits)
        told = Once.of(values, starts)
        parts = [np.unique(part, return_counts=True) for part in np.split(values, starts[1:])]
        assert told.value.tolist() == [one for value, _ in parts for one in value]
        assert told.often.tolist() == [one for _, often in parts for one in often]
        assert np.diff(told.starts, append=len(told.value)).tolist() == [len(value) for value, _ in parts]
        assert told.order.tolist() == [
            place + int(start)
            for start, part in zip(starts, np.split(values, starts[1:]), strict=True)
            for place in np.argsort(part, kind="stable")
        ]


def test_medians_are_numpys_of_the_values_and_of_what_each_says():
    rng = np.random.default_rng(SEED)
    for digits in (0, 1, 9):
        values, starts = drawn(rng, digits)
        told = Once.of(values, starts)
        assert told.medians().tolist() == [np.median(part) for part in np.split(values, starts[1:])]
        square = told.medians(told.value**2)
        assert square.tolist() == [np.median(part**2) for part in np.split(values, starts[1:])]
