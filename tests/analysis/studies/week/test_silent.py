"""Weeks of which nothing was read: told where the shop usually works, and not where it does not."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from analysis.studies.week.silent import _days, awaited, silent
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies import benches
from tests.analysis.studies.drifting import shop, snapshot

MONDAY = date(2026, 1, 5)  # the first week of the readings


def of_weeks(weeks, made=None):
    days = [7 * week + day for week in weeks for day in range(5)]
    hours = 24.0 * np.array(days, dtype=float)
    return snapshot(made or shop(), {("relief", ""): np.zeros(len(days))}, hours=hours)


def week(number):
    return MONDAY + timedelta(weeks=number)


def test_a_week_without_a_row_between_others_is_told_with_its_working_days():
    here = of_weeks([0, 1, 2, 3, 4, 6, 7])
    assert silent(here, week=week(7)).rows() == [(date(2026, 2, 9), date(2026, 2, 13))]
    assert silent(here, week=week(4)).is_empty()  # what comes later is not said of an earlier week
    assert silent(here, week=week(5)).rows() == [(date(2026, 2, 9), date(2026, 2, 13))]  # of that week itself too


@pytest.mark.parametrize(
    "weeks",
    [
        range(8),  # none is missing
        [0, 1, 2, 4, 5],  # nobody knows yet how the shop works
        range(0, 16, 2),  # it works every second week
    ],
)
def test_no_alarm_where_nothing_is_missing_or_the_shop_rests_often(weeks):
    assert silent(of_weeks(weeks), week=week(max(weeks))).is_empty()


def test_weeks_missing_soon_after_the_first_ones_are_told_once_it_is_known_how_the_shop_works():
    here = of_weeks([0, 1, 2, 6, 7, 8, 9, 10, 11])
    assert silent(here, week=week(9)).is_empty()
    assert silent(here, week=week(10)).height == 3
    assert silent(here, week=week(10))["first"].to_list() == [week(3), week(4), week(5)]
    every_second = of_weeks([0, 2, 4, 6, 10, 12, 14, 16, 18])
    assert silent(every_second, week=week(18)).is_empty()


def test_no_alarm_in_a_week_that_somebody_called_closed():
    made = shop().model_copy(
        update={"calendar": shop().calendar.model_copy(update={"closed": ("2026-02-09/2026-02-13",)})}
    )
    assert silent(of_weeks([0, 1, 2, 3, 4, 6, 7], made), week=week(7)).is_empty()


def test_no_alarm_in_the_weeks_that_were_a_holiday_the_year_before():
    weeks = [one for one in range(60) if one not in (6, 58)]
    assert silent(of_weeks(weeks), week=week(59)).is_empty()
    weeks = [one for one in range(60) if one != 58]
    assert silent(of_weeks(weeks), week=week(59)).height == 1


def test_it_fades_after_a_quarter():
    weeks = [one for one in range(20) if one != 5]
    assert silent(of_weeks(weeks), week=week(18)).height == 1
    assert silent(of_weeks(weeks), week=week(19)).is_empty()


@pytest.mark.parametrize(
    ("today", "many"),
    [
        (week(6), 0),  # the Monday after the last week with rows
        (week(6) + timedelta(days=6), 0),  # that week goes on
        (week(7), 1),
        (week(9), 3),
        (week(10), 0),  # nobody waits any more
    ],
)
def test_the_newest_week_is_awaited_once_it_is_over(today, many):
    assert awaited(of_weeks(range(6)), today=today).height == many


def test_a_week_missing_among_the_last_rows_is_awaited_however_old_they_are():
    assert awaited(of_weeks([0, 1, 2, 3, 4, 6]), today=week(30)).rows() == [(date(2026, 2, 9), date(2026, 2, 13))]


@pytest.mark.parametrize("zone", ["Europe/Berlin", "Asia/Kathmandu", "Australia/Lord_Howe", "Africa/Monrovia"])
@pytest.mark.parametrize("year", [1971, 1972, 2026, 2027])
def test_days_with_rows_are_those_of_each_row(zone, year):
    # a second before or behind midnight; until 1972 a clock in Liberia stood 44 minutes and 30 seconds behind
    rng = np.random.default_rng(year)
    days = [date(year, 1, 3) + timedelta(days=int(day)) for day in rng.choice(360, 40, replace=False)]
    midnights = [datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone)) for day in days]
    times = [one.astimezone(UTC) + timedelta(seconds=int(rng.choice([-1, 1]))) for one in midnights]
    finished = pl.Series([None if place % 3 == 0 else one for place, one in enumerate(times)], dtype=tables.TIME)
    rows = pl.DataFrame({"started_at": pl.Series(times, dtype=tables.TIME), "finished_at": finished})
    visits = tables.shaped(rows.with_columns(serial=pl.lit("A"), stage=pl.lit("nut")), tables.VISITS)
    made = benches.shop(shop={"name": "x", "timezone": zone, "labour_per_hour": 41.0})
    found = Snapshot.of(made, visits=visits).once(_days)
    assert found["day"].to_list() == sorted({one.astimezone(ZoneInfo(zone)).date() for one in times})
