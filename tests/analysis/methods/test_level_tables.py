"""Tables of levels in blocks: held against the whole table as numpy solves it."""

import numpy as np
import pytest

from analysis.methods import additive_logit, level_tables
from analysis.methods.hand_effect import ratio_bounds
from analysis.methods.level_tables import Parted, Tables, Whole


def levels(rng, *parts, rows=400):
    """Rows of one level of each part, the intercept first; every level is there."""
    columns, begun = [np.zeros(rows, dtype=np.int64)], 1
    for count in parts:
        columns.append(begun + rng.permutation(np.arange(rows) % count))
        begun += count
    return np.column_stack(columns)


@pytest.mark.parametrize("with_hand", [False, True])
@pytest.mark.parametrize("parts", [(3, 170, 20), (170, 3), (2, 4, 161)])
def test_in_blocks_it_is_the_whole_table(parts, with_hand):
    rng = np.random.default_rng(len(parts) + 10 * with_hand)
    level = levels(rng, *parts)
    mine = (rng.random(len(level)) < 0.3).astype(float) if with_hand else None
    effects = 1 + sum(parts) + with_hand
    weight, more = rng.uniform(0.1, 2, len(level)), rng.uniform(0.2, 0.5, effects)
    columns = np.zeros((len(level), effects))
    columns[np.arange(len(level))[:, None], level] = 1.0
    if mine is not None:
        columns[:, -1] = mine
    table = columns.T @ (weight[:, None] * columns) + np.diag(more)
    found = Tables(level, mine, effects).of(weight, more)
    assert isinstance(found, Parted)
    wanted = rng.normal(size=effects)
    assert found.solved(wanted) == pytest.approx(np.linalg.solve(table, wanted), rel=1e-8)
    assert found.log_det(effects) == pytest.approx(np.linalg.slogdet(table)[1], rel=1e-10)
    if with_hand:
        assert found.last_variance() == pytest.approx(np.linalg.inv(table)[-1, -1], rel=1e-8)
        # its effect held: that of the others alone
        less = table[:-1, :-1]
        assert found.solved(wanted[:-1]) == pytest.approx(np.linalg.solve(less, wanted[:-1]), rel=1e-8)
        assert found.log_det(effects - 1) == pytest.approx(np.linalg.slogdet(less)[1], rel=1e-10)


def test_few_effects_and_parts_of_like_size_are_worked_on_whole():
    rng = np.random.default_rng(3)
    for parts in ((5, 9), (100, 100)):
        level, effects = levels(rng, *parts), 1 + sum(parts)
        assert isinstance(Tables(level, None, effects).of(np.ones(len(level)), np.ones(effects)), Whole)


def test_what_a_hand_did_is_the_same_whichever_way_the_table_is_worked_on(monkeypatch):
    rng = np.random.default_rng(4)
    level = levels(rng, 4, 200, 12, rows=900)
    n = rng.integers(2, 12, 900).astype(float)
    k = rng.binomial(n.astype(int), 0.1).astype(float)
    own = (rng.random(900) < 0.25).astype(float)

    def told():
        effects = additive_logit.fit(level, n, k)
        chance = additive_logit.as_many(level, own * n, own * k, n, k, effects)
        return (*additive_logit.expected(level, effects, n, own), chance, *ratio_bounds(level, own * n, own * k, n, k))

    in_blocks = told()
    monkeypatch.setattr(level_tables, "FEW", 10_000)
    assert told() == pytest.approx(in_blocks, rel=1e-7)
    assert 0 < in_blocks[2] < 1


def test_years_of_lots_ask_for_no_table_of_all_of_them():
    rng = np.random.default_rng(5)
    level = levels(rng, 10, 6_000, 200, rows=30_000)
    found = Tables(level, None, 6_211).of(np.ones(len(level)), np.full(6_211, 0.25))
    assert isinstance(found, Parted)
    assert found.rest.shape == (211, 211)
    assert found.meet.nnz < 4 * len(level)
