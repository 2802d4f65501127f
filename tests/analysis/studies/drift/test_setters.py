"""Techs whose means differ: the chart of all works on deviations from each one's mean."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import f_oneway

from analysis.studies.drift.setters import deviations, differing
from analysis.studies.drift.signals import signals
from analysis.studies.drift.states import stream_rows
from analysis.studies.drift.streams import streams
from analysis.studies.drift.watching import AVERAGE
from tests.analysis.studies.drift.test_streams import RELIEF, filed
from tests.analysis.studies.drifting import shop, snapshot

RNG = np.random.default_rng(20261220)
SETTER = RNG.choice(["T1", "T2"], 400)
PLAIN = RNG.normal(size=400)
APART = PLAIN + np.where(SETTER == "T1", 0.0, 1.5)


def test_p_is_that_of_a_one_way_analysis_of_variance_over_the_baseline():
    held = snapshot(shop(), {RELIEF: PLAIN}, setter=SETTER).once(streams)
    wanted = f_oneway(*(PLAIN[:100][SETTER[:100] == tech] for tech in ("T1", "T2"))).pvalue
    differs, p = differing(held)
    assert p[0] == pytest.approx(wanted)
    assert not differs.any()


def test_what_a_setter_does_after_the_baseline_changes_no_verdict():
    x = PLAIN.copy()
    x[100:][SETTER[100:] == "T1"] += 5.0
    differs, _ = differing(snapshot(shop(), {RELIEF: x}, setter=SETTER).once(streams))
    assert not differs.any()


def test_where_setters_differ_each_is_held_against_their_own_baseline_mean():
    held = snapshot(shop(), {RELIEF: APART}, setter=SETTER).once(streams)
    plotted, sigma, worked = deviations(held)
    assert worked[0]
    for tech in ("T1", "T2"):
        mine = tech == SETTER
        assert plotted[:400][mine] == pytest.approx(APART[mine] - APART[:100][mine[:100]].mean())
    assert sigma[0] < held.own.sigma[0]


def test_a_change_in_who_works_how_often_is_no_drift():
    rng = np.random.default_rng(20261221)
    setter = np.where(rng.random(600) < np.where(np.arange(600) < 300, 0.5, 0.05), "T1", "T2")
    x = rng.normal(size=600) + np.where(setter == "T1", 0.0, 2.0)
    judged = snapshot(shop(false_signals_per_week=0.01), {RELIEF: x}, setter=setter).once(signals)
    everyone = judged.charts.rows.with_columns(why=judged.charts.adjusted).filter(
        (pl.col("tech") == "") & (pl.col("chart") == AVERAGE)
    )
    assert everyone["why"].to_list() == ["setters differ"]
    assert judged.found.filter((pl.col("tech") == "") & (pl.col("chart") == AVERAGE)).is_empty()


def test_the_limits_in_the_figures_stay_those_of_the_plain_readings():
    made = snapshot(shop(), {RELIEF: APART}, setter=SETTER)
    assert made.once(stream_rows)["centre"][0] == pytest.approx(APART[:100].mean())
    assert made.once(stream_rows)["sigma"][0] == pytest.approx(made.once(streams).own.sigma[0])


def test_limits_on_file_judge_the_plain_readings():
    made = snapshot(shop(), {RELIEF: APART}, setter=SETTER, limits_on_file=filed(150, centre=0.75, sigma=1.3))
    assert deviations(made.once(streams))[2].tolist() == [True, False, False, False]


def test_classical_charts_know_nothing_of_setters():
    judged = snapshot(shop(width=3.0), {RELIEF: APART}, setter=SETTER).once(signals)
    assert set(judged.charts.adjusted) <= {"", "held against all techs"}


def test_before_a_tech_has_a_baseline_they_are_held_against_all_techs():
    setter = np.where(np.arange(400) % 10 == 0, "T9", "T1")
    x = PLAIN.copy()
    x[(np.arange(400) >= 200) & (setter == "T9")] += 5.0
    judged = snapshot(shop(false_signals_per_week=0.01), {RELIEF: x}, setter=setter).once(signals)
    young = judged.found.filter((pl.col("tech") == "T9") & (pl.col("chart") == AVERAGE))
    assert young["adjusted"].to_list() == ["held against all techs"]


def test_where_setters_differ_a_new_tech_is_not_held_against_the_others():
    judged = snapshot(shop(), {RELIEF: APART}, setter=SETTER).once(signals)
    assert "held against all techs" not in set(judged.charts.adjusted)
