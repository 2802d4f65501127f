"""Lanes hold what the flows hold: sums, the part of each cause, the weeks before, and which are drawn."""

from datetime import date, timedelta

import polars as pl
import pytest

from analysis.studies.rework import rework
from analysis.studies.rework.lanes import MAIN, MOST, lanes
from analysis.studies.story.scope import Scope

LAST = date(2026, 11, 16)
FOUR = Scope(first=LAST - timedelta(weeks=3), last=LAST)


@pytest.mark.parametrize("unit", ["minutes", "cost", "count"])
def test_lanes_and_their_catches_add_up_to_the_flows(demo, unit):
    found, flows = lanes(demo, FOUR, of=unit), rework.flows(demo, FOUR)
    total = float(flows.total[unit][0])
    for part in (found.rows, found.catches, found.caught):
        assert part["value"].sum() == pytest.approx(total)
    assert found.rows["count"].sum() == flows.total["count"][0]
    assert (found.rows["value"].diff().drop_nulls() <= 0).all()
    inside = found.rows.filter(pl.col("low").is_not_null())
    assert ((inside["low"] <= inside["value"]) & (inside["value"] <= inside["high"])).all()


def test_before_is_the_same_number_of_weeks_just_before(demo):
    earlier = Scope(first=LAST - timedelta(weeks=7), last=LAST - timedelta(weeks=4))
    found, ago = lanes(demo, FOUR), rework.flows(demo, earlier)
    assert found.before == pytest.approx(float(ago.total["minutes"][0]))
    summed = dict(ago.rows.group_by("caused_at").agg(pl.col("minutes").sum()).iter_rows())
    for row in found.rows.iter_rows(named=True):
        assert row["before"] == pytest.approx(summed.get(row["caused_at"], 0.0))


def test_weeks_that_are_not_on_file_are_no_weeks_before(demo):
    found = lanes(demo, Scope(first=LAST - timedelta(weeks=12), last=LAST))
    assert found.before is None
    assert found.rows["before"].null_count() == len(found.rows)


def test_lanes_in_colour_make_four_fifths_and_no_more_are_drawn_than_fit(demo):
    rows = lanes(demo, Scope(last=LAST)).rows
    main = rows.filter("main")
    assert main["share"].sum() >= MAIN - 1e-9
    assert main["share"][:-1].sum() < MAIN
    assert rows["drawn"].sum() <= MOST
