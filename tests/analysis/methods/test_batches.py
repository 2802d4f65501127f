"""Readings that share something, against sets of Python."""

import numpy as np
import pytest

from analysis.methods.batches import Batches

SEED = 20281203


def drawn(rng, *, rising):
    """Streams that rise, and a code of each reading."""
    stream = np.repeat(np.arange(6), rng.integers(1, 30, 6))
    code = rng.integers(-2, 9, len(stream))
    return stream, np.sort(code) if rising else code


@pytest.mark.parametrize("rising", [True, False])
def test_readings_of_one_stream_and_code_are_one_batch(rising):
    rng = np.random.default_rng(SEED)
    for _ in range(30):
        stream, code = drawn(rng, rising=rising)
        found = Batches.of(stream, code)
        pairs = sorted(set(zip(stream.tolist(), code.tolist(), strict=True)))
        assert found.which.tolist() == [pairs.index(pair) for pair in zip(stream.tolist(), code.tolist(), strict=True)]
        assert found.stream.tolist() == [s for s, _ in pairs]
        assert found.n.tolist() == np.bincount(found.which).tolist()
        assert found.rising == (np.diff(found.which) >= 0).all()
        assert found.squares(7).tolist() == [sum(found.n[found.stream == s] ** 2) for s in range(7)]


def test_what_is_not_known_is_shared_with_none_and_counted_from_behind():
    stream, lot = np.array([0, 0, 0, 0, 1, 1, 1]), np.array([4, -1, 4, -1, -1, 2, -1])
    found = Batches.known(stream, lot)
    assert found.which.tolist() == [2, 1, 2, 0, 4, 5, 3]
    assert found.n.tolist() == [1, 1, 2, 1, 1, 1]
    assert found.order.tolist() == [3, 1, 0, 2, 6, 4, 5]


@pytest.mark.parametrize("rising", [True, False])
def test_what_stands_in_two_batches_is_counted_once(rising):
    rng = np.random.default_rng(SEED)
    for _ in range(30):
        stream, day = drawn(rng, rising=rising)
        lots, days = Batches.known(stream, rng.integers(-1, 5, len(stream))), Batches.of(stream, day)
        both = lots.within(days)
        plain, n = np.unique(np.column_stack((lots.which, days.which)), axis=0, return_counts=True)
        assert both.batch.tolist() == plain[:, 0].tolist()
        assert both.n.tolist() == n.tolist()
