"""Limits to be put on file: from the days a person names, with what makes them unsteady."""

import json
from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from analysis.studies.limits import BEYOND, MOVED, limits_proposal
from analysis.studies.stream_view import stream_view
from ingest import tables
from tests.analysis.studies.drifting import shop, snapshot

RELIEF = ("relief", "")
ALL = {"from_date": date(2026, 1, 5), "to_date": date(2026, 12, 31)}


def steady(n, seed=1):
    return 0.20 + 0.02 * np.random.default_rng(seed).standard_normal(n)


def test_centre_and_sigma_are_those_of_the_days_named_only():
    values = np.concatenate((np.full(40, 0.5), [0.20, 0.24] * 20, np.full(40, 0.9)))  # 40 readings are a week of eight a day
    rows, _ = limits_proposal(snapshot(shop(), {RELIEF: values}), from_date=date(2026, 1, 12), to_date=date(2026, 1, 16))
    row = rows.row(0, named=True)
    assert (len(rows), row["n"], row["baseline_from"], row["baseline_to"]) == (1, 40, date(2026, 1, 12), date(2026, 1, 16))
    assert row["centre"] == pytest.approx(0.22)
    assert row["sigma"] == pytest.approx(0.04 / 1.1283791670955126)  # mean moving range over d2(2) = 2 / sqrt(pi)
    assert row["holds_from"] == datetime(2026, 1, 17, tzinfo=UTC)


def test_a_serial_left_out_by_a_person_is_written_down_and_changes_the_limits():
    values = steady(60)
    values[30] = 0.9
    made = snapshot(shop(), {RELIEF: values})
    whole, unsteady = limits_proposal(made, **ALL)
    less, calm = limits_proposal(made, **ALL, left_out=["S000030"])
    assert less["n"][0] == whole["n"][0] - 1
    assert less["sigma"][0] < whole["sigma"][0]
    assert json.loads(less["left_out"][0]) == ["S000030"]
    assert unsteady["serial"].to_list() == ["S000030"]
    assert unsteady["why"].to_list() == [BEYOND]
    assert calm.is_empty()


def test_a_baseline_whose_mean_steps_says_where():
    values = steady(100)
    values[60:] += 0.04
    unsteady = limits_proposal(snapshot(shop(), {RELIEF: values}), **ALL)[1].filter(pl.col("why") == MOVED)
    assert len(unsteady) == 1
    assert abs(int(unsteady["serial"][0][1:]) - 60) <= 3
    assert unsteady["sigmas"][0] > 0


def test_streams_with_too_few_readings_get_no_limits():
    made = snapshot(shop(("LARK", "WREN")), {RELIEF: steady(60)}, model=["LARK"] * 50 + ["WREN"] * 10)
    assert limits_proposal(made, **ALL)[0]["model"].to_list() == ["LARK"]
    assert limits_proposal(made, **ALL, model="WREN")[0].is_empty()
    assert limits_proposal(made, from_date=date(2027, 2, 1), to_date=date(2027, 3, 1))[0].is_empty()


def test_limits_once_on_file_are_drawn_from_the_day_they_hold():
    values = np.concatenate((steady(120), steady(80) + 0.1))
    rows, _ = limits_proposal(snapshot(shop(), {RELIEF: values}), from_date=date(2026, 1, 19), to_date=date(2026, 1, 23))
    written = rows.with_columns(sequence=pl.lit(1), at=pl.lit(datetime(2026, 3, 1, tzinfo=UTC)), who=pl.lit("R"))
    made = snapshot(shop(), {RELIEF: values}, limits_on_file=tables.shaped(written, tables.LIMITS_ON_FILE))
    seen = stream_view(made, characteristic="relief", model="LARK", stage="final", weeks=None)
    assert seen.limits["on_file"].to_list() == [False, True]
    assert seen.limits["centre"][1] == pytest.approx(rows["centre"][0])
    assert seen.limits["from_at"][1].date() == date(2026, 1, 26)  # the Monday after the baseline
