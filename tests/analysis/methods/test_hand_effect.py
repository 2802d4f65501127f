"""Bounds of one hand's ratio: held against mid-p limits where those exist, and against laws."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.methods import hand_effect
from analysis.methods.hand_effect import ratio_bounds
from analysis.methods.problems import UnusableData
from analysis.methods.uncertain_ratio import ratio_mid_p

NO_MIX = np.zeros((1, 1), dtype=np.int64)


def of(own_n, own_k, n, k, level=NO_MIX):
    return ratio_bounds(level, *(np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in (own_n, own_k, n, k)))


# own events among 2,000 pieces, others' events among theirs
@pytest.mark.parametrize(("own", "theirs", "others"), [(10, 12, 2000), (25, 9, 2000), (3, 40, 8000), (40, 40, 2000)])
def test_without_a_mix_rare_events_give_the_mid_p_limits_of_two_counts(own, theirs, others):
    expected = theirs * 2000 / others
    wanted = np.ravel(ratio_mid_p(own, expected, expected**2 / theirs))
    assert of(2000, own, 2000 + others, own + theirs) == pytest.approx(wanted, rel=0.09 if own < 5 else 0.03)


def test_much_work_of_others_gives_the_mid_p_limits_over_a_known_expectation():
    wanted = np.ravel(ratio_mid_p(12, 6.0, 0.0))
    assert of(2000, 12, 2_002_000, 6012) == pytest.approx(wanted, rel=0.02)


def test_what_the_others_leave_unknown_widens_the_bounds():
    level = np.array([[0, 1], [0, 2]])  # an easy model that all do, a hard one that the others did 40 times
    hard = [
        of([100, 400], [3, 60], [500, 400 + others], [15, 60 + others * 0.15], level) for others in (40, 400, 40000)
    ]
    widths = [np.log(high / low) for low, high in hard]
    assert widths[0] > 1.5 * widths[1] > 1.5 * widths[2]
    assert all(low < 1 < high for low, high in hard)


def test_order_of_rows_changes_nothing_and_pieces_of_nobody_count_for_nothing():
    level = np.array([[0, 1], [0, 2], [0, 3]])
    told = ([100, 80, 0], [9, 4, 0], [300, 200, 0], [20, 9, 0])
    turned = [np.asarray(x)[::-1] for x in told]
    assert of(*turned, level[::-1]) == pytest.approx(of(*told, level), rel=1e-6)
    assert of(*(x[:2] for x in told), level[:2]) == pytest.approx(of(*told, level), rel=1e-6)


def test_more_events_move_both_bounds_up():
    ends = np.array([of(400, k, 1600, k + 36) for k in range(1, 40, 3)])
    assert (np.diff(ends, axis=0) > 0).all()


@pytest.mark.parametrize("told", [(10, 0, 30, 4), (10, 10, 30, 14), (30, 4, 30, 4)])
def test_a_hand_that_says_nothing_is_refused(told):
    with pytest.raises(UnusableData, match="bounds of one hand"):
        of(*told)


@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize("middle", [-0.7, 0.0, 0.7])
def test_the_search_for_a_bound_turns_back_before_it_would_cross_the_likeliest_effect(monkeypatch, middle, side):
    # a root that is steep near the middle and flat further out: a secant from out there would jump across the middle
    z, looked = 1.96, []

    def root(pieces, at, start):
        looked.append(at)
        return np.array([at]), float(-4 * z * np.tanh((at - middle) / 0.5))

    monkeypatch.setattr(hand_effect, "_root", root)
    pieces = SimpleNamespace(best=np.array([middle]), spread=1.0)
    found = hand_effect._bound(pieces, side, z)
    assert found[-1] == pytest.approx(middle + side * 0.5 * np.arctanh(0.25), abs=1e-5)
    assert len(looked) <= 10  # halves its way back at once; nine looks, where going further out first takes up to 27


@pytest.mark.parametrize(("own_n", "own_k", "others"), [(5, 4, 1), (9, 8, 20)])
def test_where_others_never_show_a_piece_without_the_event_too_little_is_known(own_n, own_k, others):
    with pytest.raises(UnusableData, match="too few pieces of others"):
        of(own_n, own_k, own_n + others, own_k + others)
