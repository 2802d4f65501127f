"""Expected counts at the same mix: statsmodels' GLM as the prior fades, laws, and a change of mix that is no change."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf

from analysis.methods.expected_counts import Pieces, at_the_same_mix
from analysis.methods.problems import UnusableData

ONE = np.zeros(40, dtype=np.int64)


def rows(rng):
    """Forty cells of four models and three inspectors, one group."""
    levels = np.column_stack([rng.integers(0, 4, 40), rng.integers(0, 3, 40)])
    n = rng.integers(20, 60, 40).astype(float)
    chance = 0.1 * np.array([1.0, 2.0, 0.5, 1.5])[levels[:, 0]] * np.array([1.0, 1.4, 0.8])[levels[:, 1]]
    return levels, n, rng.binomial(n.astype(int), chance).astype(float)


def test_it_is_the_poisson_model_of_statsmodels_without_prior():
    levels, n, k = rows(np.random.default_rng(1))
    frame = pd.DataFrame({"k": k, "model": levels[:, 0], "inspector": levels[:, 1]})
    fit = smf.glm("k ~ C(model) + C(inspector)", frame, family=sm.families.Poisson(), offset=np.log(n)).fit()
    found = at_the_same_mix(Pieces(ONE, levels, n), k, Pieces(ONE, levels, 2 * n), 1, prior=1e-9)
    assert found.fitted == pytest.approx(np.asarray(fit.fittedvalues), rel=1e-4)
    assert found.expected[0] == pytest.approx(2 * k.sum(), rel=1e-6)


def test_the_at_the_same_mix_expects_the_same_share_and_a_harder_one_more():
    levels = np.array([[0], [1]])
    group = np.zeros(2, dtype=np.int64)
    n, k = np.array([800.0, 200.0]), np.array([40.0, 60.0])
    same, harder = (
        at_the_same_mix(Pieces(group, levels, n), k, Pieces(group, levels, later), 1).expected[0]
        for later in (n / 10, np.array([60.0, 40.0]))
    )
    assert same == pytest.approx(10.0)
    assert harder == pytest.approx(60 * 0.05 + 40 * 0.3, rel=0.03)


def test_groups_do_not_know_of_each_other():
    levels, n, k = rows(np.random.default_rng(2))
    alone = at_the_same_mix(Pieces(ONE, levels, n), k, Pieces(ONE, levels, n), 1).expected
    group = np.concatenate([ONE, ONE + 1])
    twice = Pieces(group, np.tile(levels, (2, 1)), np.tile(n, 2))
    both = at_the_same_mix(twice, np.concatenate([k, n - k]), Pieces(ONE, levels, n), 2).expected
    assert both[0] == pytest.approx(alone[0])
    assert both[1] == 0


def test_a_level_never_seen_is_expected_like_the_rest_and_nothing_before_is_nan():
    levels = np.array([[0], [0]])
    group = np.zeros(2, dtype=np.int64)
    n, k = np.array([50.0, 50.0]), np.array([5.0, 5.0])
    before, new = Pieces(group, levels, n), Pieces(group[:1], np.array([[7]]), np.array([30.0]))
    assert at_the_same_mix(before, k, new, 1).expected[0] == pytest.approx(3.0)
    nothing = Pieces(group[:0], levels[:0], n[:0])
    assert np.isnan(at_the_same_mix(nothing, k[:0], Pieces(group[:1], levels[:1], n[:1]), 1).expected[0])


def test_a_level_seldom_seen_stays_near_the_rest_however_many_come_later():
    # forty levels of 50 pieces, two of each counted, and one of two pieces, of which one was: by its prior of one
    # expected piece (1 + 1) / (.08 + 1) times the rest, not a half of all that come
    levels, n = np.arange(41)[:, None], np.append(np.full(40, 50.0), 2.0)
    before, later = Pieces(np.zeros(41, dtype=np.int64), levels, n), Pieces(ONE[:1], levels[-1:], np.array([60.0]))
    expected = at_the_same_mix(before, np.append(np.full(40, 2.0), 1.0), later, 1).expected[0]
    assert expected == pytest.approx(60 * 0.04 * 2 / 1.08, rel=0.05)


def test_more_counted_than_pieces_is_refused():
    two = Pieces(ONE[:1], np.array([[0]]), np.array([2.0]))
    with pytest.raises(UnusableData, match="at most so many"):
        at_the_same_mix(two, np.array([3.0]), two, 1)
