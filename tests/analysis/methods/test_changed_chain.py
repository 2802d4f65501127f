"""A changed chain against solving it anew."""

import numpy as np
import pytest
from scipy import sparse

from analysis.methods.changed_chain import solved
from analysis.methods.problems import UnusableData


def any_chain(seed: int, k: int = 9) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    among = rng.dirichlet(np.ones(k + 1), size=k)[:, :k]
    return among, rng.random((k, 2)), rng.dirichlet(np.ones(k))


@pytest.mark.parametrize("seed", range(5))
def test_a_change_costs_what_solving_anew_says(seed):
    among, per_visit, begin = any_chain(seed)
    rng = np.random.default_rng(100 + seed)
    rows = np.array([2, 5, 6])
    other = rng.dirichlet(np.ones(10), size=3)[:, :9]
    costs = rng.random((3, 2))
    visits = begin @ np.linalg.inv(np.eye(9) - among)
    change = solved(sparse.csr_matrix(among), per_visit, visits, np.array([1, 2, 5, 6])).change(
        rows, other - among[rows], costs
    )
    changed, dearer = among.copy(), per_visit.copy()
    changed[rows], dearer[rows] = other, per_visit[rows] + costs
    before, after = (np.linalg.solve(np.eye(9) - q, each) for q, each in ((among, per_visit), (changed, dearer)))
    assert change == pytest.approx(begin @ after - begin @ before, rel=1e-10)


def test_costs_match_the_printed_drunkards_walk():
    # Grinstead & Snell, Introduction to Probability (AMS 1997), example 11.13: five corners, home and bar absorbing; N
    # = [1.5 1 .5; 1 2 1; .5 1 1.5]
    # and expected steps t = (3, 4, 3). With cost 1 a step the cost is t; the columns are those of N.
    walk = sparse.csr_matrix(np.array([[0, 0.5, 0], [0.5, 0, 0.5], [0, 0.5, 0]]))
    made = solved(walk, np.ones((3, 1)), np.array([1.0, 2.0, 1.0]), np.arange(3))
    assert made.cost[:, 0] == pytest.approx([3, 4, 3])
    assert made.columns == pytest.approx(np.array([[1.5, 1, 0.5], [1, 2, 1], [0.5, 1, 1.5]]))


def test_shapes_that_do_not_fit_are_named():
    with pytest.raises(UnusableData, match="for each of 3 states"):
        solved(sparse.csr_matrix(np.zeros((3, 3))), np.ones((2, 1)), np.ones(3), np.arange(1))


def test_moves_that_lead_to_no_end_are_refused():
    walk = sparse.csr_matrix(np.array([[0, 0.5], [0.5, 0]]))
    made = solved(walk, np.ones((2, 1)), np.array([1.0, 1.0]), np.arange(2))
    with pytest.raises(UnusableData, match="round for ever"):
        made.change(np.arange(2), np.array([[0, 0.5], [0.5, 0]]), np.zeros((2, 1)))
