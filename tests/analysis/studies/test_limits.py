"""Limits to be put on file: from the days a person names, with what makes them unsteady."""

import json
from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.limits import OUT, STEP, limits_proposal
from analysis.studies.stream_view import stream_view
from ingest import tables
from tests.analysis.studies.drifting import shop, snapshot

RELIEF = ("relief", "")
ALL = {"first": date(2026, 1, 5), "last": date(2026, 12, 31), "tech": ""}


def steady(n, seed=1):
    return 0.20 + 0.02 * np.random.default_rng(seed).standard_normal(n)


def test_centre_and_sigma_are_those_of_the_days_named_only():
    values = np.concatenate((np.full(40, 0.5), [0.20, 0.24] * 20, np.full(40, 0.9)))  # 40 readings are a week of eight a day
    found = limits_proposal(snapshot(shop(), {RELIEF: values}), first=date(2026, 1, 12), last=date(2026, 1, 16), tech="")
    row = found.rows.row(0, named=True)
    assert (row["n"], row["baseline_from"], row["baseline_to"]) == (40, date(2026, 1, 12), date(2026, 1, 16))
    assert row["centre"] == pytest.approx(0.22)
    assert row["sigma"] == pytest.approx(0.04 / 1.1283791670955126)  # mean moving range over d2(2) = 2 / sqrt(pi)
    assert row["holds_from"] == datetime(2026, 1, 17, tzinfo=UTC)


def test_a_serial_left_out_by_a_person_is_written_down_and_changes_the_limits():
    values = steady(60)
    values[30] = 0.9
    made = snapshot(shop(), {RELIEF: values})
    whole, less = limits_proposal(made, **ALL), limits_proposal(made, **ALL, left_out=["S000030"])
    assert less.rows["n"][0] == whole.rows["n"][0] - 1
    assert less.rows["sigma"][0] < whole.rows["sigma"][0]
    assert json.loads(less.rows["left_out"][0]) == ["S000030"]
    assert whole.rows["left_out"][0] == ""
    assert whole.unsteady["serial"].to_list() == ["S000030"]
    assert whole.unsteady["why"].to_list() == [OUT]
    assert less.unsteady.is_empty()


def test_a_baseline_whose_mean_steps_says_where():
    values = steady(100)
    values[60:] += 0.04
    found = limits_proposal(snapshot(shop(), {RELIEF: values}), **ALL).unsteady.filter(pl.col("why") == STEP)
    assert len(found) == 1
    assert abs(int(found["serial"][0][1:]) - 60) <= 3
    assert found["sigmas"][0] > 0


def test_a_steady_baseline_is_called_unsteady_about_as_rarely_as_it_says():
    models = tuple(f"M{k}" for k in range(200))
    values = np.random.default_rng(7).standard_normal(200 * 50)
    found = limits_proposal(snapshot(shop(models), {RELIEF: values}, model=np.repeat(models, 50), hours=np.arange(200 * 50) / 4), **ALL)
    assert len(found.rows) == 200
    for why in (OUT, STEP):  # 5 % promised at most; limits from 50 readings are themselves uncertain, so some more are allowed for
        assert found.unsteady.filter(pl.col("why") == why)["model"].n_unique() <= 30


def test_streams_with_too_few_readings_are_set_apart_and_none_at_all_is_said():
    made = snapshot(shop(("LARK", "WREN")), {RELIEF: steady(60)}, model=["LARK"] * 50 + ["WREN"] * 10)
    found = limits_proposal(made, **ALL)
    assert found.rows["model"].to_list() == ["LARK"]
    assert found.left_aside.select("model", "n").rows() == [("WREN", 10)]
    with pytest.raises(UnusableData, match="holds 10 readings; wanted at least 25"):
        limits_proposal(made, **ALL, model="WREN")
    with pytest.raises(UnusableData, match="before it begins"):
        limits_proposal(made, first=date(2026, 2, 1), last=date(2026, 1, 1))
    with pytest.raises(UnusableData, match="no reading from"):
        limits_proposal(made, first=date(2027, 2, 1), last=date(2027, 3, 1))
    with pytest.raises(UnusableData, match="no stream like that"):
        limits_proposal(made, **ALL, model="KITE")


def test_limits_once_on_file_are_drawn_from_the_day_they_hold():
    values = np.concatenate((steady(120), steady(80) + 0.1))
    found = limits_proposal(snapshot(shop(), {RELIEF: values}), first=date(2026, 1, 26), last=date(2026, 1, 30), holds_from=date(2026, 1, 27), tech="")
    filed = tables.shaped(found.rows.with_columns(sequence=pl.lit(1), at=pl.lit(datetime(2026, 3, 1, tzinfo=UTC)), who=pl.lit("R")), tables.LIMITS_ON_FILE)
    seen = stream_view(snapshot(shop(), {RELIEF: values}, limits_on_file=filed), characteristic="relief", model="LARK", stage="final", weeks=None)
    assert seen.limits["on_file"].to_list() == [False, True]
    assert seen.limits["centre"][1] == pytest.approx(found.rows["centre"][0])
    assert seen.limits["from_at"][1].date() == date(2026, 1, 27)
