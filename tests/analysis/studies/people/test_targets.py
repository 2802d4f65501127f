"""Target bands: whose readings make them, how they sit on spec and gauge, and what the sequential test says."""

from datetime import date

import numpy as np
import pytest

from analysis.methods.tolerance import two_sided
from analysis.studies.people.bands import CONFIDENCE, COVERAGE, LIMITS, QUALIFIED, bands, targets_of
from analysis.studies.people.targets import NOT_SHOWN, SHOWN, TOO_FEW, lasting_test, latest, stands
from tests.analysis.studies.measured import made, visit

PEOPLE = {"tech": [{"key": "OLD", "qualified": ["neck"]}, {"key": "AGE", "qualified": ["neck"]}, {"key": "NEW"}]}
SPEC = {"characteristic": "relief", "target": 0.2, "lower": 0.0, "upper": 0.5}


def relief(tech, values, start=0.0):
    rows = []
    for k, value in enumerate(values):
        s = f"{tech}{start:05.0f}{k:04d}"
        rows += [
            visit(s, start + k / 10, "neck", tech=tech),
            visit(s, start + k / 10 + 0.05, "final", tech="T9", readings={"relief": float(value)}),
        ]
    return rows


def normal(rng, n=100, mean=0.2, sd=0.03):
    return rng.normal(mean, sd, n)


def test_what_is_read_at_its_own_bench_alone_has_targets_there_and_what_final_reads_is_judged_there():
    rng = np.random.default_rng(73)
    own = [
        visit(f"{tech}{k}", k / 10, "neck", tech=tech, readings={"relief": float(value)})
        for tech in ("OLD", "AGE")
        for k, value in enumerate(normal(rng, 60))
    ]
    row = bands(made(own, [SPEC], **PEOPLE)).row(0, named=True)
    assert (row["stage"], row["n"], row["techs"], row["source"]) == ("neck", 120, 2, QUALIFIED)
    [stand] = stands(made(own, [SPEC], **PEOPLE), "OLD")
    assert (len(stand.values), stand.verdict) == (60, SHOWN)
    unsigned = made(own, [SPEC], tech=[{"key": "OLD"}, {"key": "AGE"}])
    assert [one.band["source"] for one in stands(unsigned, "OLD")] == [LIMITS]
    both = made([*own, *relief("OLD", normal(rng, 40), 300)], [SPEC], **PEOPLE)
    assert [len(one.values) for one in stands(both, "OLD")] == [40]


def test_a_band_holds_nine_tenths_of_what_qualified_techs_set():
    rng = np.random.default_rng(71)
    x, y = normal(rng, 60), normal(rng, 40)
    snapshot = made(
        [*relief("OLD", x), *relief("AGE", y, 100), *relief("NEW", normal(rng, 50, 0.4), 200)], [SPEC], **PEOPLE
    )
    row = bands(snapshot).row(0, named=True)
    both = np.concatenate([x, y])
    factor = two_sided(100, COVERAGE, CONFIDENCE)
    assert (row["n"], row["techs"], row["curve"]) == (100, 2, "normal")
    assert (row["lower"], row["upper"]) == pytest.approx(
        (both.mean() - factor * both.std(ddof=1), both.mean() + factor * both.std(ddof=1))
    )
    assert (row["stage"], row["target"], row["model"]) == ("neck", 0.2, "LARK")


def test_nobody_is_held_against_what_they_set_themselves():
    rng = np.random.default_rng(79)
    x, y = normal(rng, 60), normal(rng, 40)
    snapshot = made([*relief("OLD", x), *relief("AGE", y, 100)], [SPEC], **PEOPLE)
    factor = two_sided(40, COVERAGE, CONFIDENCE)
    row = targets_of(snapshot, "OLD").row(0, named=True)
    assert (row["source"], row["n"], row["techs"]) == (QUALIFIED, 40, 1)
    assert row["lower"] == pytest.approx(y.mean() - factor * y.std(ddof=1))
    assert targets_of(snapshot, "NEW").row(0, named=True)["n"] == 100
    alone = made(relief("OLD", x), [SPEC], **PEOPLE)
    assert targets_of(alone, "OLD").row(0, named=True)["source"] == LIMITS  # a shop of one
    assert targets_of(alone, "NEW").row(0, named=True)["n"] == 60


def test_a_band_sits_on_whole_steps_of_its_gauge_and_within_the_spec():
    rng = np.random.default_rng(72)
    leaves = {"gauge": [{"key": "leaves", "measures": ["relief"], "resolution": "0.001 in"}]}
    snapshot = made(
        relief("OLD", (normal(rng) / 0.0254).round() * 0.0254), [SPEC | {"upper": 0.22}], **PEOPLE, **leaves
    )
    row = bands(snapshot).row(0, named=True)
    assert row["lower"] == pytest.approx(row["lower_steps"] * 0.0254)
    assert row["upper"] == 0.22  # the spec ends between two leaves
    assert (row["gauge"], row["resolution"]) == ("leaves", "0.001 in")
    assert 4 <= row["lower_steps"] <= 6


def test_readings_that_are_not_normal_get_a_band_without_a_curve():
    x = 0.1 + np.random.default_rng(73).exponential(0.05, 200)
    row = bands(made(relief("OLD", x), [SPEC], **PEOPLE)).row(0, named=True)
    assert row["curve"] == "free"
    assert row["lower"] in x
    assert ((x >= row["lower"]) & (x <= row["upper"])).mean() >= COVERAGE


def test_fewer_than_thirty_readings_make_no_band_and_an_old_spec_s_readings_none_for_the_new():
    rng = np.random.default_rng(74)
    assert bands(made(relief("OLD", normal(rng, 29)), [SPEC], **PEOPLE)).is_empty()
    assert bands(made(relief("OLD", normal(rng, 30)), [SPEC], **PEOPLE)).height == 1
    changed = [SPEC, SPEC | {"target": 0.4, "from_date": date(2026, 3, 5)}]
    visits = [*relief("OLD", normal(rng, 100)), *relief("OLD", normal(rng, 40, 0.4), 24 * 4)]
    row = bands(made(visits, changed, **PEOPLE)).row(0, named=True)
    assert (row["n"], row["target"]) == (40, 0.4)
    assert row["lower"] > 0.25


def test_where_a_trainee_stands_is_said_by_the_test_in_time_order():
    rng = np.random.default_rng(75)
    base = relief("OLD", normal(rng, 200))
    for values, word in ((np.full(60, 0.2), SHOWN), (np.full(60, 0.4), NOT_SHOWN), (np.full(3, 0.2), TOO_FEW)):
        stand = stands(made([*base, *relief("NEW", values, 300)], [SPEC], **PEOPLE), "NEW")[0]
        assert stand.verdict == word
        assert stand.inside == (len(values) if values[0] == 0.2 else 0)
        assert stand.decided_at <= len(values)
        assert stand.inside_low <= stand.inside / len(values) <= stand.inside_high
        assert stand.mean == pytest.approx(values[0])


def test_the_test_may_begin_on_a_day_so_that_first_weeks_are_not_held_against_anybody():
    rng = np.random.default_rng(76)
    visits = [
        *relief("OLD", normal(rng, 200)),
        *relief("NEW", np.full(30, 0.45), 24),
        *relief("NEW", np.full(60, 0.2), 24 * 10),
    ]
    snapshot = made(visits, [SPEC], **PEOPLE)
    whole, since = stands(snapshot, "NEW")[0], stands(snapshot, "NEW", since=date(2026, 3, 10))[0]
    assert (whole.verdict, since.verdict) == (
        SHOWN,
        SHOWN,
    )  # what was not shown in the first weeks is not kept against them
    assert (len(whole.values), len(since.values)) == (90, 60)
    assert whole.began_at >= 30 > since.began_at - 30


def test_after_each_answer_the_test_begins_anew_and_the_latest_counts():
    test = lasting_test(0.05, 0.20).test
    first, good = 3, int(np.argmax(test.shown_at >= 0)) + 1  # three outside in a row deny it; so many inside show it
    out = np.array([1] * first + [0] * good + [0])
    assert latest(test, out[:2]) == ("too few", 0, 2)
    assert latest(test, out[:first]) == ("not shown", 0, first)
    assert latest(test, out[: first + good - 1]) == ("not shown", 0, first)
    assert latest(test, out) == ("shown", first, first + good)


def test_the_latest_of_many_answers_tells_few_who_hold_it_not_yet():
    test = lasting_test(0.05, 0.20).test
    rng = np.random.default_rng(77)
    told = [latest(test, (rng.random(250) < 0.05).astype(np.int64))[0] for _ in range(800)]
    assert np.mean([word == "not shown" for word in told]) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 800)


def test_what_the_test_promises_is_told_before_it_starts():
    lasts = lasting_test(0.05, 0.20)
    assert lasts.poor_ever <= 0.10
    assert lasts.good_ever >= 0.90
    assert np.argmax(lasts.test.shown_at >= 0) + 1 < lasts.half_by < lasts.nine_by < lasts.within


def test_what_somebody_did_not_set_is_not_theirs_and_nobody_stands_without_readings():
    rng = np.random.default_rng(77)
    snapshot = made(relief("OLD", normal(rng, 40)), [SPEC], **PEOPLE)
    assert stands(snapshot, "NEW") == []
    assert stands(snapshot, "T9") == []  # who read the gauge
