"""Days, weeks and paid minutes of the clock on the wall."""

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from analysis.studies.story.calendar import first_day, local_day, paid_minutes, week_of
from ingest.shopfiles.house_rules import DAYS
from ingest.shopfiles.shop import Shop
from tests.analysis.studies.benches import shop


def in_zone(zone: str, *, week_starts: str = "Monday", **calendar: object) -> Shop:
    return shop(shop={"name": "x", "timezone": zone, "week_starts": week_starts}, calendar=calendar)


def paid(made: Shop, start: str, finish: str) -> float:
    begin, end = (
        pl.Series([datetime.fromisoformat(text).replace(tzinfo=made.zone).astimezone(UTC)]).cast(
            pl.Datetime("us", "UTC")
        )
        for text in (start, finish)
    )
    return float(paid_minutes(begin, end, made)[0])


def test_a_day_is_that_of_the_wall():
    made = in_zone("Pacific/Auckland")  # 13 hours ahead in March
    times = pl.DataFrame({"at": [datetime(2026, 3, 1, 10, 59, tzinfo=UTC), datetime(2026, 3, 1, 11, 0, tzinfo=UTC)]})
    assert times.select(local_day(pl.col("at"), made)).to_series().to_list() == [date(2026, 3, 1), date(2026, 3, 2)]


@pytest.mark.parametrize("start", DAYS)
def test_a_week_begins_on_the_shops_first_day(start):
    made = in_zone("UTC", week_starts=start)
    days = [date(2025, 12, 20) + timedelta(days=i) for i in range(30)]
    weeks = pl.DataFrame({"day": days}).select(week_of(pl.col("day"), made)).to_series().to_list()
    assert all(
        week.weekday() == DAYS.index(start) and 0 <= (day - week).days < 7
        for day, week in zip(days, weeks, strict=True)
    )
    assert weeks == [first_day(day, made) for day in days]


def test_without_a_calendar_every_minute_of_real_time_is_paid():
    made = in_zone("Europe/Dublin")
    assert paid(made, "2026-03-02T23:30", "2026-03-03T00:15") == 45.0
    assert paid(made, "2026-03-29T00:30", "2026-03-29T02:30") == 60.0  # clocks went on an hour at 1:00


def test_breaks_and_closed_days_are_not_paid_even_without_opening_hours():
    made = in_zone("UTC", breaks=["12:00-12:30", "12:40-12:50"], closed=["2026-03-03"])
    assert paid(made, "2026-03-02T11:50", "2026-03-02T12:50") == 20.0
    assert paid(made, "2026-03-02T23:30", "2026-03-04T00:10") == 40.0


def test_a_break_outside_the_opening_hours_takes_nothing():
    made = in_zone("UTC", open="08:00-16:00", breaks=["07:30-08:15", "18:00-19:00"])
    assert paid(made, "2026-03-02T07:00", "2026-03-02T20:00") == 8 * 60 - 15


def test_a_stretch_of_closed_days_counts_both_its_ends():
    made = in_zone("UTC", open="08:00-16:00", closed=["2026-12-24/2027-01-01", "2026-12-31"])
    assert paid(made, "2026-12-23T15:00", "2027-01-02T09:00") == 120.0
    assert paid(made, "2026-12-24T08:00", "2027-01-01T16:00") == 0.0


def test_seconds_count():
    made = in_zone("UTC", open="08:00-16:00")
    assert paid(made, "2026-03-02T07:59:30", "2026-03-02T08:00:45") == 0.75
