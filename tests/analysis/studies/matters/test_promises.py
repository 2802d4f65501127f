"""A tenth of tests/trials/matters.py: one cause is one line, rightly named, and nothing is named for nothing."""

import numpy as np
import pytest

from tests.trials.matters import WANTED, friday, lines_of, looked, open_matters, planted

SEED = 20270212


@pytest.mark.promise
@pytest.mark.parametrize("kind", WANTED)
def test_the_planted_cause_is_named_on_few_lines_and_no_other(kind):
    scope = {"lot": "three", "air": "all"}.get(kind, "all")
    one = planted(np.random.default_rng([SEED, list(WANTED).index(kind)]), kind, scope, 1.5)
    found = looked(one, kind, scope, 1.5, 3 if kind == "lot" else 4)
    assert found.enough
    assert found.open
    assert found.right
    assert not found.wrong
    assert found.start
    assert lines_of(one) <= 3


@pytest.mark.promise
def test_where_nothing_moved_no_cause_is_named():
    for k in range(3):
        one = planted(np.random.default_rng([SEED, 99, k]), "none", "all", 0.0)
        assert not any(m.moves_with.named for m in friday(one, 4)[0].once(open_matters))
