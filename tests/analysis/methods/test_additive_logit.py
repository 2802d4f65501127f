"""Additive odds: held against the GLM of statsmodels, and a hand's share of events against its exact conditional
distribution.
"""

import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from analysis.methods import additive_logit
from analysis.methods.additive_logit import as_many, expected, fit, share


def rows(rng, *, count=60, models=3, lots=9):
    """(level, columns, n, k) of `count` rows with effects of a model and a lot; columns are the dummies a general
    program wants.
    """
    level = np.column_stack(
        [np.zeros(count, dtype=np.int64), 1 + rng.integers(0, models, count), 1 + models + np.arange(count) % lots]
    )
    level[:models, 1] = 1 + np.arange(models)
    columns = np.zeros((count, 1 + models + lots))
    columns[np.arange(count)[:, None], level] = 1.0
    n = rng.integers(20, 60, count).astype(float)
    return level, columns, n, rng.binomial(n.astype(int), 0.08).astype(float)


def test_the_fit_is_the_glm_of_statsmodels_with_the_prior_as_rows():
    level, columns, n, k = rows(np.random.default_rng(6))
    prior = np.eye(columns.shape[1])[1:]
    counts = np.vstack([np.column_stack([k, n - k]), np.full((len(prior), 2), additive_logit.PRIOR / 2)])
    wanted = sm.GLM(counts, np.vstack([columns, prior]), family=sm.families.Binomial()).fit(tol=1e-12)
    assert fit(level, n, k) == pytest.approx(wanted.params, abs=1e-6)


def test_where_levels_are_well_known_the_prior_moves_nothing_and_the_plain_glm_stands():
    level, columns, n, k = rows(np.random.default_rng(7), count=40, lots=4)
    n, k = 100 * n, np.random.default_rng(8).binomial((100 * n).astype(int), 0.05).astype(float)
    dummies = np.delete(columns, [1, 4], axis=1)  # without the first model and the first lot
    plain = sm.GLM(np.column_stack([k, n - k]), dummies, family=sm.families.Binomial()).fit()
    own = np.arange(40.0)
    count, variance = expected(level, fit(level, n, k), n, own)
    assert count == pytest.approx(float(own @ plain.predict(dummies)), rel=1e-3)
    chance = plain.predict(dummies)
    slope = dummies.T @ (own * chance * (1 - chance))
    assert variance == pytest.approx(float(slope @ plain.cov_params() @ slope), rel=0.02)


def test_a_level_without_events_where_the_plain_glm_runs_away_keeps_a_small_chance():
    level = np.array([[0, 1], [0, 2]])
    n, k = np.array([500.0, 20.0]), np.array([50.0, 0.0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that it runs away
        plain = sm.GLM(
            np.column_stack([k, n - k]), np.array([[1.0, 0.0], [1.0, 1.0]]), family=sm.families.Binomial()
        ).fit()
    assert plain.params[1] < -15
    assert 0.003 < share(level, fit(level, n, k))[1] < 0.06


# own pieces, others' pieces, own events, all events
@pytest.mark.parametrize(
    ("own", "others", "k", "s"),
    [(400, 400, 24, 36), (400, 400, 16, 22), (400, 1600, 19, 60), (50, 50, 9, 11), (400, 400, 7, 22)],
)
def test_without_a_mix_a_hands_share_has_its_exact_hypergeometric_chance(own, others, k, s):
    # Fisher's exact test, half of the tie counted
    exact = stats.hypergeom(own + others, s, own)
    found = as_many(np.zeros((1, 1), dtype=np.int64), *(np.array([float(x)]) for x in (own, k, own + others, s)))
    assert found == pytest.approx(exact.sf(k) + exact.pmf(k) / 2, rel=0.2)


@pytest.mark.parametrize("k", [3, 5, 8])
def test_a_hand_with_every_event_gets_a_finite_cautious_chance(k):
    found = as_many(np.zeros((1, 1), dtype=np.int64), *(np.array([float(x)]) for x in (400, k, 800, k)))
    exact = stats.hypergeom(800, k, 400)
    assert exact.pmf(k) / 2 < found < exact.pmf(k)


@pytest.mark.parametrize("strata", [4, 12, 24])
def test_with_a_mix_the_chance_is_near_the_exact_one_given_what_each_level_saw(strata):
    # exact: the convolution of a hypergeometric distribution a stratum
    rng = np.random.default_rng(strata)
    own, others = rng.integers(20, 60, strata), rng.integers(40, 200, strata)
    events = rng.binomial(own + others, 0.04)
    pmf = np.ones(1)
    for n, m, s in zip(own, others, events, strict=True):
        pmf = np.convolve(pmf, stats.hypergeom(n + m, s, n).pmf(np.arange(s + 1)))
    tails = pmf[::-1].cumsum()[::-1]
    for wanted in (0.3, 0.05, 0.01):
        k = int(np.argmax(tails < wanted))
        mine = np.minimum(events, np.round(events * own / (own + others))).astype(int)
        for place in np.resize(np.arange(strata), 10 * strata):
            mine[place] += (
                int(np.sign(k - mine.sum())) if 0 <= mine[place] + np.sign(k - mine.sum()) <= events[place] else 0
            )
        assert mine.sum() == k
        level = np.column_stack([np.zeros(strata, dtype=np.int64), 1 + np.arange(strata)])
        found = as_many(
            level, own.astype(float), mine.astype(float), (own + others).astype(float), events.astype(float)
        )
        assert found == pytest.approx(tails[k] - pmf[k] / 2, rel=0.25)


def test_a_hand_without_events_or_without_others_has_chance_one():
    level = np.zeros((1, 1), dtype=np.int64)
    assert as_many(level, *(np.array([x]) for x in (10.0, 0.0, 30.0, 4.0))) == 1.0
    assert as_many(level, *(np.array([x]) for x in (30.0, 4.0, 30.0, 4.0))) == 1.0


def test_chances_of_the_rows_are_worked_out_once_a_step_of_a_fit(monkeypatch):
    level, _, n, k = rows(np.random.default_rng(9))
    asked = {"chances": 0, "steps": 0}
    expit, solve = additive_logit.special.expit, np.linalg.solve

    def chances(odds):
        asked["chances"] += len(odds) == len(n)
        return expit(odds)

    def steps(*table):
        asked["steps"] += 1
        return solve(*table)

    monkeypatch.setattr(additive_logit.special, "expit", chances)
    monkeypatch.setattr(np.linalg, "solve", steps)
    fit(level, n, k)
    assert asked["chances"] == asked["steps"] > 2
