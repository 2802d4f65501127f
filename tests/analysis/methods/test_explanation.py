"""Explaining a shift: marginal likelihoods against dense algebra, sizes against statsmodels' mixed model, laws."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy.stats import multivariate_normal

from analysis.methods.candidates import Column, Factor, Readings
from analysis.methods.explanation import SHARE_NOTHING, UNEXPLAINED, Explainer, Hypothesis, Look, together
from analysis.methods.hypotheses import LEVELS, Sieve
from analysis.methods.problems import UnusableData
from analysis.methods.scopes import SIZE_PRIOR

N, DAYS, SINCE = 600, 60, 40


def made(rng, *, effect=0.0, level=1, days_apart=0.0):
    """Two streams, three techs, lots that come and go; from day 45 on one tech is off."""
    day = np.repeat(np.arange(DAYS), N // DAYS)
    stream, tech = rng.integers(0, 2, N), rng.integers(0, 3, N)
    lot = day // 4
    values = rng.normal(size=N) + effect * ((tech == level) & (day >= 45))
    values += days_apart * rng.normal(size=DAYS)[day]
    given = [Factor("tech", tech, nested=True), Factor("lot", lot, own_start=True)]
    return Explainer(values, day, stream, given, [], SINCE)


def test_the_odds_of_a_shift_are_those_of_dense_algebra():
    one = made(np.random.default_rng(1), effect=0.8)
    touched = (one.factors[0].code == 1) & (one.day >= 45)
    found, look = one.measured(touched.astype(float), 45, 45)
    z = (one.effects.place[:, :, None] == np.arange(len(one.effects.precision))).sum(axis=0)
    nothing = np.eye(N) + z @ np.diag(1 / one.effects.precision) @ z.T
    moved = nothing + SIZE_PRIOR * np.outer(touched, touched)
    logs = [multivariate_normal(np.zeros(N), v).logpdf(one.values) for v in (moved, nothing)]
    odds = np.exp(logs[0] - logs[1]) * (1 - SHARE_NOTHING) / SHARE_NOTHING  # of one start alone
    assert found.probability / look.nothing == pytest.approx(odds, rel=1e-6)


def test_the_size_and_its_error_are_those_of_generalized_least_squares():
    one = made(np.random.default_rng(2), effect=1.2)
    touched = ((one.factors[0].code == 1) & (one.day >= 45)).astype(float)
    found, _ = one.measured(touched, 45, 45)
    z = (one.effects.place[:, :, None] == np.arange(len(one.effects.precision))).sum(axis=0)
    inverse = np.linalg.inv(np.eye(N) + z @ np.diag(1 / one.effects.precision) @ z.T)
    info = touched @ inverse @ touched + 1 / SIZE_PRIOR
    assert found.effect == pytest.approx(touched @ inverse @ one.values / info)
    assert found.error == pytest.approx(info**-0.5)


def test_a_shift_agrees_with_the_mixed_model_of_statsmodels():
    one = made(np.random.default_rng(3), effect=1.0, days_apart=0.5)
    touched = ((one.factors[0].code == 1) & (one.day >= 45)).astype(float)
    frame = pd.DataFrame(
        {"y": one.values, "x": touched, "tech": one.factors[0].code, "stream": one.stream, "day": one.day}
    )
    fit = smf.mixedlm("y ~ x + C(stream) + C(tech)", frame, groups="day").fit(reml=True)
    found, _ = one.measured(touched, 45, 45)
    assert found.effect == pytest.approx(fit.params["x"], abs=0.5 * fit.bse["x"])
    assert found.error == pytest.approx(fit.bse["x"], rel=0.3)


def test_the_tech_that_is_off_is_found_and_after_it_nothing_is_left():
    one = made(np.random.default_rng(4), effect=1.5)
    first = one.look()
    (named,) = together(first, sure=0.9)
    assert (named.factor, named.level) == ("tech", 1)
    assert abs(named.start - 45) <= 2
    one.take(named)
    after = one.look()
    assert together(after, sure=0.9) == []
    assert after.nothing > 0.7  # a third before any reading


def new_strings(rng, last, *, effect=2.0):
    """Six streams of five instruments a day; from day 20 on half of them are strung with a new set. What may have moved
    is looked for from day 10 on; variances come from the readings up to day 40.
    """
    day = np.repeat(np.arange(last), 30)
    stream = np.tile(np.arange(6), len(day) // 6)
    new = (stream < 3) & (day >= 20)
    values = rng.normal(size=len(day)) + effect * new
    return Explainer(values, day, stream, [Factor("strings", np.where(new, 3, stream // 3))], [], 10, calm=40)


def test_a_level_that_came_new_is_sized_the_surer_the_more_of_it_there_is():
    rng, errors = np.random.default_rng(10), []
    for last in (25, 35, 60):
        one = new_strings(rng, last)
        (named,) = together(one.look(), sure=0.9)
        assert (named.factor, named.level) == ("strings", 3)
        assert abs(named.effect - 2.0) < 3 * named.error
        errors.append(named.error)
    assert errors[0] > errors[1] > errors[2]
    assert errors[2] < 0.15


def test_a_level_that_came_new_and_moved_nothing_is_not_named():
    named = [together(new_strings(np.random.default_rng([11, k]), 60, effect=0.0).look(), sure=0.9) for k in range(40)]
    assert sum(map(bool, named)) <= 1


def test_days_that_differ_since_then_are_no_weekday_that_moved():
    rng = np.random.default_rng(9)
    day = np.repeat(np.arange(DAYS), 50)
    damp = (np.arange(DAYS) >= SINCE) & (rng.random(DAYS) < 0.5)
    values = rng.normal(size=len(day)) + 1.2 * damp[day]
    stream, weekday = np.zeros(len(day), dtype=np.int64), Factor("weekday", day % 5, weight=0.3)
    assert together(Explainer(values, day, stream, [weekday], [], SINCE).look(), sure=0.9) == []
    air = Column("air", damp[day] + 0.1 * rng.normal(size=DAYS)[day], kin="air")
    (named,) = together(Explainer(values, day, stream, [weekday], [air], SINCE).look(), sure=0.9)
    assert named.factor == "air"


def test_probabilities_add_up_to_one_and_turning_the_sign_changes_no_odds():
    one, other = (made(np.random.default_rng(5), effect=by) for by in (0.7, 0.7))
    other.values = -other.values
    other.__post_init__()
    looks = [each.look() for each in (one, other)]
    for look in looks:
        assert sum(h.probability for h in look.hypotheses) + look.nothing == pytest.approx(1.0)
    assert looks[0].nothing == pytest.approx(looks[1].nothing)
    assert looks[0].hypotheses[0].effect == pytest.approx(-looks[1].hypotheses[0].effect)


def test_a_lot_counts_only_against_the_spread_between_lots():
    rng = np.random.default_rng(6)
    day = np.repeat(np.arange(DAYS), 10)
    lot = day // 4
    unrest = rng.normal(size=lot.max() + 1)[lot]  # lots differ by a sigma: another that does is nothing new
    calm, restless = (rng.normal(size=N) + 1.5 * (lot == 12) + by * unrest for by in (0.0, 1.0))
    first, second = (
        Explainer(values, day, np.zeros(N, dtype=np.int64), [Factor("lot", lot, own_start=True)], [], SINCE).look()
        for values in (calm, restless)
    )
    assert together(first, sure=0.9)[0].level == 12
    assert together(second, sure=0.9) == []


def test_a_column_is_found_by_its_slope():
    rng = np.random.default_rng(7)
    day = np.repeat(np.arange(DAYS), 10)
    air = rng.normal(size=DAYS)[day]
    one = Explainer(rng.normal(size=N) + 0.6 * air, day, np.zeros(N, dtype=np.int64), [], [Column("air", air)], SINCE)
    (named,) = together(one.look(), sure=0.9)
    assert named.factor == "air"
    assert named.effect == pytest.approx(0.6, abs=0.15)


def test_nothing_is_named_where_nothing_moved_and_what_cannot_be_used_is_refused():
    named = [together(made(np.random.default_rng([8, k])).look(), sure=0.9) for k in range(20)]
    assert named == [[]] * 20
    assert together(Look([], 1.0), sure=0.9) == []
    with pytest.raises(UnusableData, match="missing"):
        Explainer(np.array([np.nan]), np.zeros(1, int), np.zeros(1, int), [], [], 1)
    with pytest.raises(UnusableData, match="before"):
        Explainer(np.ones(3), np.arange(3), np.zeros(3, int), [], [], 0)


def said(kin, probability, *, factor="tech", level=0):
    return Hypothesis(factor, level, kin, np.zeros(1, dtype=np.int64), probability, 1.0, 0.1, 40, 39, 41, 10)


def test_the_likeliest_stands_first_and_those_of_one_kin_count_as_one():
    found = [said("a", 0.20), said("b", 0.42), said("c", 0.25), said("a", 0.10), said("d", 0.03)]
    told = together(Look(found, 0.0), sure=0.9)
    assert [(one.kin, one.probability) for one in told] == [("b", 0.42), ("a", pytest.approx(0.3)), ("c", 0.25)]
    assert [one.kin for one in together(Look(found, 0.0), sure=0.4)] == ["b"]
    assert together(Look(found, 0.0), sure=0.9, most=2) == []  # three would be needed
    assert together(Look(found, 0.0), sure=0.97, most=3) != []  # .42 + .3 + .25 is just enough
    first = [said("e", 0.5, level=4), said("e", 0.3, level=5)]
    assert together(Look(first, 0.2), sure=0.8)[0].level == 4  # a kin is told as its likeliest


def test_nothing_is_named_once_the_unexplained_would_have_to_be():
    unexplained = said(UNEXPLAINED, 0.3, factor=UNEXPLAINED, level=-1)
    found = [said("a", 0.65), unexplained, said("b", 0.05)]
    assert together(Look(found, 0.0), sure=0.9) == []
    assert [one.kin for one in together(Look(found, 0.0), sure=0.6)] == ["a"]


def test_a_look_tells_its_hypotheses_by_falling_probability():
    told = [one.probability for one in made(np.random.default_rng(10), effect=0.6).look().hypotheses]
    assert told == sorted(told, reverse=True)
    assert told[0] > told[-1]


def test_of_many_columns_of_one_kin_the_most_promising_are_looked_at():
    rng = np.random.default_rng(20_281_201)
    day = np.repeat(np.arange(40), 5)
    damp = (rng.random(40) < 0.3)[day].astype(float)
    rest = rng.normal(size=200) + damp
    seen = Readings(day, np.zeros(200, dtype=np.int64), 1, 40, 10, 30)
    others = [Column(f"air {k}", rng.normal(size=200), kin="air") for k in range(20)]
    wet = Column("damp", damp, kin="air")
    every = [*others[:12], wet, *others[12:]]
    found = Sieve(seen, [], [(one, 0.0) for one in every]).sift(rest, most=1000)
    assert max(found, key=lambda one: one.score).factor == "damp"
    assert len({one.factor for one in found}) <= LEVELS
    alone = Sieve(seen, [], [(wet, 0.0)]).sift(rest, most=1000)
    assert max(one.score for one in alone) == max(one.score for one in found)
