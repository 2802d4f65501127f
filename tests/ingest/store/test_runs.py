"""An order told by stretches is the order told row by row."""

import numpy as np
import pytest

from ingest.store import runs
from ingest.store.runs import Runs


def merged(stands, behind):
    """Rows that stand and fresh ones among them, row by row."""
    kept, fresh = np.flatnonzero(stands), len(stands) + np.arange(len(behind))
    rows = []
    for turn in range(len(kept) + 1):
        rows += [*fresh[behind == turn], *kept[turn : turn + 1]]
    return [int(row) for row in rows]


def drawn(rng):
    stands = rng.random(int(rng.integers(12))) < rng.random()
    return stands, np.sort(rng.integers(0, stands.sum() + 1, int(rng.integers(6))))


def test_rows_that_stand_and_fresh_ones_among_them():
    rng = np.random.default_rng(20261203)
    for _ in range(500):
        stands, behind = drawn(rng)
        told, wanted = Runs.merged(stands, behind), merged(stands, behind)
        assert told.rows.tolist() == wanted
        assert len(told) == len(wanted)
        assert told.at(np.arange(len(wanted))[::-1]).tolist() == wanted[::-1]
        assert (told.lengths > 0).all()


def test_an_order_upon_an_order_is_told_in_the_rows_of_the_one_below():
    rng = np.random.default_rng(20261204)
    for _ in range(500):
        stands, behind = drawn(rng)
        places, whole = rng.integers(0, 9, len(stands)), int(rng.integers(9))
        known = int(max(places.max(initial=0) + 1, whole))
        wanted = np.append(places, known + np.arange(len(behind)))[merged(stands, behind)]
        told = Runs.merged(stands, behind).upon(Runs.of(places, whole), known)
        assert told.rows.tolist() == wanted.tolist()
        joined = told.joined(whole)
        assert joined.rows.tolist() == wanted.tolist()
        assert len(joined.first) == len(Runs.of(wanted, whole).first)
        assert not ((joined.first < whole) & (joined.first + joined.lengths > whole)).any()


@pytest.mark.parametrize("few", [0, 10**9])  # stretch by stretch, row by row
def test_values_stand_in_the_order(few, monkeypatch):
    monkeypatch.setattr(runs, "FEW", few)
    rng = np.random.default_rng(20261205)
    for _ in range(200):
        below, above = (rng.integers(0, 200, int(rng.integers(9))).astype(np.uint8) for _ in range(2))
        both = np.concatenate([below, above])
        rows = rng.permutation(len(both))[: int(rng.integers(len(both) + 1))]
        found = Runs.of(rows, len(below)).laid(below, above)
        assert (found.dtype, found.tolist()) == (np.uint8, both[rows].tolist())
