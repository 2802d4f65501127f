"""Short random walks over the verbs; the long ones are a trial (tests/trials/store_walk.py)."""

import pytest

from tests.trials.store_walk import SEED, walk


@pytest.mark.long
def test_whatever_was_done_a_store_made_again_is_the_same(tmp_path):
    assert len(walk(tmp_path / "shop", SEED, 8)) == 8


@pytest.mark.promise
@pytest.mark.parametrize("number", range(1, 5))
def test_longer_walks_end_in_the_same_store_too(tmp_path, number):
    assert len(walk(tmp_path / "shop", SEED + number, 12)) == 12
