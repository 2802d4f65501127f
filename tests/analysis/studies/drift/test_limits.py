"""Limits to put on file: from a named baseline, with what makes it unsteady."""

from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from analysis.methods.constants import d2
from analysis.studies.drift.limits import BEYOND, MOVED, limits_proposal, moved_baselines
from analysis.studies.drift.streams import streams
from ingest.terms import tables
from tests.analysis.studies.drift.test_signals import QUIET
from tests.analysis.studies.drift.test_streams import RELIEF
from tests.analysis.studies.drifting import START, at, shop, snapshot

FROM, TO = START.date(), at(79).date()  # two weeks: eighty readings


def test_limits_come_from_the_readings_of_those_days_and_hold_from_the_next_midnight():
    limits, unsteady = limits_proposal(snapshot(shop(), {RELIEF: QUIET}), from_date=FROM, to_date=TO)
    row = limits.row(0, named=True)
    assert (row["centre"], row["sigma"], row["n"]) == pytest.approx(
        (QUIET[:80].mean(), np.abs(np.diff(QUIET[:80])).mean() / d2(2), 80)
    )
    assert (row["holds_from"], row["baseline_from"], row["baseline_to"]) == (
        datetime(2026, 1, 17, tzinfo=UTC),
        FROM,
        date(2026, 1, 16),
    )
    assert unsteady.is_empty()
    assert limits.columns == [name for name in tables.LIMITS_ON_FILE if name not in ("sequence", "at", "who", "why")]


def test_put_on_file_they_are_the_limits_from_then_on():
    limits, _ = limits_proposal(snapshot(shop(), {RELIEF: QUIET}), from_date=FROM, to_date=TO)
    lines = tables.shaped(
        limits.with_columns(sequence=pl.lit(1), at=pl.lit(at(80)), who=pl.lit("M"), why=pl.lit("first")),
        tables.LIMITS_ON_FILE,
    )
    held = snapshot(shop(), {RELIEF: QUIET}, limits_on_file=lines).once(streams)
    assert held.eras.starts.tolist() == [0, 80]
    assert held.eras.centre[1] == pytest.approx(QUIET[:80].mean())
    assert held.eras.window[1] == 0  # where its baseline began


def test_a_baseline_that_holds_a_bad_lot_is_one_that_moved_until_limits_are_put_on_file():
    x = QUIET.copy()
    x[75:100] += 2.5 * np.abs(np.diff(QUIET[:100])).mean() / d2(2)
    calm, moved = snapshot(shop(), {RELIEF: QUIET}), snapshot(shop(), {RELIEF: x})
    assert moved_baselines(calm).tolist() == [False]
    assert moved_baselines(moved).tolist() == [True]
    limits, _ = limits_proposal(moved, from_date=FROM, to_date=at(70).date())
    lines = tables.shaped(
        limits.with_columns(sequence=pl.lit(1), at=pl.lit(at(80)), who=pl.lit("M"), why=pl.lit("first")),
        tables.LIMITS_ON_FILE,
    )
    assert moved_baselines(snapshot(shop(), {RELIEF: x}, limits_on_file=lines)).tolist() == [False]


def test_what_a_person_leaves_out_is_left_out_and_named():
    x = QUIET.copy()
    x[30] = 50.0
    limits, unsteady = limits_proposal(snapshot(shop(), {RELIEF: x}), from_date=FROM, to_date=TO, left_out=["S000030"])
    assert (limits["n"][0], limits["left_out"][0], len(unsteady)) == (79, '["S000030"]', 0)
    assert limits["centre"][0] == pytest.approx(np.delete(x[:80], 30).mean())


def test_a_reading_far_out_and_a_shift_are_told_with_their_points():
    x = QUIET.copy()
    x[30] = 12.0
    _, far = limits_proposal(snapshot(shop(), {RELIEF: x}), from_date=FROM, to_date=TO)
    assert far.select("serial", "why").rows() == [("S000030", BEYOND)]
    y = QUIET.copy()
    y[40:80] += 2.5
    _, moved = limits_proposal(snapshot(shop(), {RELIEF: y}), from_date=FROM, to_date=TO)
    row = moved.filter(pl.col("why") == MOVED).row(0, named=True)
    assert abs((row["taken_at"] - at(40)).days) <= 1
    assert row["sigmas"] > 1


def test_steady_baselines_are_called_unsteady_in_two_cases_of_a_hundred_at_most():
    rng = np.random.default_rng(20270105)
    models = tuple(f"M{k:03}" for k in range(300))
    place, which = np.divmod(np.arange(300 * 80), 300)
    made = snapshot(
        shop(models),
        {RELIEF: rng.normal(size=300 * 80)},
        model=np.array(models, dtype=object)[which],
        hours=place * 4.0 + which / 300,
    )
    limits, unsteady = limits_proposal(made, from_date=FROM, to_date=date(2026, 3, 1))
    assert len(limits) == 300
    assert unsteady["model"].n_unique() <= 300 * 0.02 + 3 * np.sqrt(300 * 0.02)


def test_only_what_was_asked_for():
    made = snapshot(
        shop(),
        {RELIEF: QUIET, ("action", "bass"): QUIET[::-1].copy()},
        setter=np.where(np.arange(400) % 2 == 0, "T1", "T2"),
    )
    limits, _ = limits_proposal(made, from_date=FROM, to_date=TO, characteristic="relief")
    assert limits.select("characteristic", "tech", "n").rows() == [
        ("relief", "", 80),
        ("relief", "T1", 40),
        ("relief", "T2", 40),
    ]
    assert limits_proposal(made, from_date=FROM, to_date=TO, model="WREN")[0].is_empty()


def test_too_few_readings_give_no_limits():
    limits, unsteady = limits_proposal(snapshot(shop(), {RELIEF: QUIET}), from_date=FROM, to_date=at(15).date())
    assert (len(limits), len(unsteady)) == (0, 0)
    assert limits_proposal(snapshot(shop(), {RELIEF: np.full(3, np.nan)}), from_date=FROM, to_date=TO)[0].is_empty()
