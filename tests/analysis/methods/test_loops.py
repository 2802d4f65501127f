import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from analysis.methods.loops import chain, from_counts
from analysis.methods.problems import UnusableData

counts = st.integers(1, 5).flatmap(
    lambda k: st.tuples(
        arrays.arrays(np.int64, (k, k), elements=st.integers(0, 6)),
        arrays.arrays(np.int64, (k, 2), elements=st.integers(1, 6)),
    )
)


def test_a_walk_between_two_ends_has_the_printed_fundamental_matrix():
    # Kemeny & Snell 1960, Finite Markov Chains, chapter III: random walk on five points with chance 1/2 each way
    # (values from memory;
    # also Grinstead & Snell, Introduction to Probability, section 11.2, the drunkard's walk).
    walk = chain([[0, 0.5, 0], [0.5, 0, 0.5], [0, 0.5, 0]], [[0.5, 0], [0, 0], [0, 0.5]])
    assert walk.visits == pytest.approx(np.array([[1.5, 1, 0.5], [1, 2, 1], [0.5, 1, 1.5]]))
    assert walk.steps == pytest.approx([3, 4, 3])
    assert walk.steps_variance == pytest.approx([8, 8, 8])
    assert walk.absorbed == pytest.approx(np.array([[0.75, 0.25], [0.5, 0.5], [0.25, 0.75]]))
    assert walk.visits_variance == pytest.approx(np.array([[0.75, 2, 0.75], [1, 2, 1], [0.75, 2, 0.75]]))


def test_a_single_loop_is_a_geometric_series():
    # A stage that sends back a quarter: 4/3 visits, variance q / (1 - q)^2 = 4/9; by hand.
    stage = chain([[0.25]], [[0.75]])
    assert (stage.visits[0, 0], stage.visits_variance[0, 0], stage.ever[0, 0]) == (
        pytest.approx(4 / 3),
        pytest.approx(4 / 9),
        pytest.approx(0.25),
    )
    assert stage.cost([9.0]) == pytest.approx([12])
    assert stage.cost([[9.0, 2.0]]) == pytest.approx(np.array([[12, 8 / 3]]))


def test_expected_visits_give_back_the_visits_counted():
    # 100 begin at setting, 20 of 130 tests send them back to it, 10 of those by way of repair: visits of all three, by
    # hand.
    among = [[0, 120, 0], [10, 0, 10], [10, 0, 0]]  # setting -> test; test -> setting or repair; repair -> setting
    bench = from_counts(among, [[0], [100], [0]])
    assert 100 * bench.visits[0] == pytest.approx([120, 120, 10])


@given(counts)
def test_laws_of_absorbing_chains(moves):
    among, ends = moves
    work = from_counts(among, ends)
    k = len(among)
    assert work.absorbed.sum(axis=1) == pytest.approx(np.ones(k))
    assert work.visits @ (np.eye(k) - work.among) == pytest.approx(np.eye(k), abs=1e-9)
    assert work.steps == pytest.approx(1 + work.among @ work.steps)
    assert (work.steps_variance >= -1e-7).all()
    assert (work.visits_variance >= -1e-7).all()
    turned = from_counts(among[::-1, ::-1], ends[::-1])
    assert turned.visits == pytest.approx(work.visits[::-1, ::-1], rel=1e-9)
    assert work.cost(np.ones(k)) == pytest.approx(work.steps)


@given(counts, st.floats(0, 1))
def test_fewer_moves_into_a_dearer_state_never_cost_more(moves, share):
    among, ends = moves
    work = from_counts(among, ends)
    cost = work.cost(np.arange(1.0, len(among) + 1))
    order = np.argsort(cost)
    cheap, dear = int(order[0]), int(order[-1])
    better = work.redirected(dear, dear, share, cheap)
    assert better.cost(np.arange(1.0, len(among) + 1))[dear] <= cost[dear] + 1e-9
    assert better.among.sum() == pytest.approx(work.among.sum())
    assert work.among[dear, dear] == among[dear, dear] / (
        among[dear].sum() + ends[dear].sum()
    )  # the chain itself stays as it was


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: from_counts([[0]], [[0]]), "never left"),
        (lambda: from_counts([[0, 1], [1, 0]], [[0], [0]]), "round for ever"),
        (lambda: chain([[0.5]], [[0.4]]), "sum to 1"),
        (lambda: from_counts([[1, 2]], [[1]]), "state by state"),
        (lambda: from_counts([[-1]], [[1]]), "below 0"),
        (lambda: chain([[0.5]], [[0.5]]).cost([1.0, 2.0]), "cost a state"),
        (lambda: chain([[0.5]], [[0.5]]).redirected(0, 0, 2.0, 0), "between 0 and 1"),
    ],
)
def test_chains_that_cannot_be_are_refused(call, words):
    with pytest.raises(UnusableData, match=words):
        call()
