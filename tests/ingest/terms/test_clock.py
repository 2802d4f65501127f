"""Times as typed, the shop's clock and UTC. Clock changes: Europe/Dublin 2026-03-29 and 2026-10-25 at 01:00 UTC (EU
rule, IANA tz database).
"""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.terms import clock

DUBLIN, SANTIAGO = ZoneInfo("Europe/Dublin"), ZoneInfo("America/Santiago")


@pytest.mark.parametrize(
    ("text", "order", "local", "has_day", "has_clock"),
    [
        ("2026-03-02 08:15", "ymd", datetime(2026, 3, 2, 8, 15), True, True),
        ("2026-03-02T08:15:30", "dmy", datetime(2026, 3, 2, 8, 15, 30), True, True),
        ("2026-03-02", "ymd", datetime(2026, 3, 2), True, False),
        ("02/03/2026", "dmy", datetime(2026, 3, 2), True, False),
        ("03/02/2026 8:15", "mdy", datetime(2026, 3, 2, 8, 15), True, True),
        ("2.3.26", "dmy", datetime(2026, 3, 2), True, False),
        ("2026/3/2 8:15 pm", "ymd", datetime(2026, 3, 2, 20, 15), True, True),
        ("12:05 AM", "ymd", datetime(1899, 12, 30, 0, 5), False, True),
        ("2 Mar 2026", "ymd", datetime(2026, 3, 2), True, False),
        ("08:15", "ymd", datetime(1899, 12, 30, 8, 15), False, True),
        ("46083", "ymd", datetime(2026, 3, 2), True, False),
        ("46083.34375", "dmy", datetime(2026, 3, 2, 8, 15), True, True),
        ("26-03-02", "ymd", datetime(2026, 3, 2), True, False),
        ("20261102", "ymd", datetime(2026, 11, 2), True, False),
        ("20261102 0741", "dmy", datetime(2026, 11, 2, 7, 41), True, True),
        ("Nov 2 2026", "dmy", datetime(2026, 11, 2), True, False),
        ("Nov. 2nd, 2026 7:41 am", "ymd", datetime(2026, 11, 2, 7, 41), True, True),
        ("2. März 2026", "mdy", datetime(2026, 3, 2), True, False),
        ("02.11.26", "dmy", datetime(2026, 11, 2), True, False),
        ("7h41", "ymd", datetime(1899, 12, 30, 7, 41), False, True),
        ("0741", "ymd", datetime(1899, 12, 30, 7, 41), False, True),
        ("7.41 Uhr", "dmy", datetime(1899, 12, 30, 7, 41), False, True),
    ],
)
def test_a_stamp_as_it_is_typed(text, order, local, has_day, has_clock):
    assert clock.read_stamp(text, order) == (local, None, has_day, has_clock)
    row = clock.read_stamps(pl.Series([text]), order).row(0, named=True)
    assert (row["local"], row["has_day"], row["has_clock"]) == (local, has_day, has_clock)


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("31/02/2026", "dmy"),
        ("2026-13-01", "ymd"),
        ("02/03/2026", "ymd"),
        ("12", "ymd"),
        ("yesterday", "ymd"),
        ("2026-03-02 25:00", "ymd"),
        ("13:00 pm", "ymd"),
        ("2026-03-02 08:61", "ymd"),
        ("23468", "ymd"),
        ("0000-01-01", "ymd"),
        ("2026-02-29", "ymd"),
        ("2026-02-29 08:00", "ymd"),
        ("", "ymd"),
        ("2026-03-02 ?", "ymd"),
        ("20261302", "ymd"),
        ("Foo 2 2026", "ymd"),
        ("2561", "ymd"),
    ],
)
def test_what_is_no_stamp_is_not_read(text, order):
    assert clock.read_stamp(text, order) is None
    assert clock.read_stamps(pl.Series([text]), order).select("local", "utc").row(0) == (None, None)


@pytest.mark.parametrize("text", ["2026-03-02T08:15Z", "2026-03-02 09:15+01:00", "2026-03-02 03:15 -0500"])
def test_a_stamp_with_an_offset_is_utc(text):
    row = clock.read_stamps(pl.Series([text]), "ymd").row(0, named=True)
    assert row["utc"] == datetime(2026, 3, 2, 8, 15, tzinfo=UTC)
    assert row["local"] is None


def local_series(*times: datetime) -> pl.DataFrame:
    return pl.DataFrame({"local": times}, schema={"local": clock.LOCAL})


def test_a_time_that_the_clock_skipped_has_no_utc():
    frame = local_series(datetime(2026, 3, 29, 1, 30), datetime(2026, 3, 29, 2, 30)).select(
        clock.to_utc(pl.col("local"), DUBLIN)
    )
    assert frame.to_series().to_list() == [None, datetime(2026, 3, 29, 1, 30, tzinfo=UTC)]


def test_a_time_that_exists_twice_is_the_earlier():
    frame = local_series(datetime(2026, 10, 25, 1, 30), datetime(2026, 10, 25, 2, 30)).select(
        utc=clock.to_utc(pl.col("local"), DUBLIN),
        twice=clock.shown_again(pl.col("local"), clock.to_utc(pl.col("local"), DUBLIN), DUBLIN),
    )
    assert frame.rows() == [
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), True),
        (datetime(2026, 10, 25, 2, 30, tzinfo=UTC), False),
    ]


def test_a_day_begins_at_its_first_hour_that_exists():
    # Chile sets its clocks forward at midnight: 2026-09-06 begins at 01:00 on the wall, 04:00 UTC.
    frame = local_series(datetime(2026, 9, 6), datetime(2026, 9, 7)).select(clock.day_begins(pl.col("local"), SANTIAGO))
    assert frame.to_series().to_list() == [datetime(2026, 9, 6, 4, tzinfo=UTC), datetime(2026, 9, 7, 3, tzinfo=UTC)]


@given(
    st.datetimes(datetime(2020, 1, 1), datetime(2035, 1, 1)),
    st.sampled_from(["Europe/Dublin", "America/New_York", "Asia/Kolkata", "UTC"]),
)
def test_the_wall_shows_the_time_that_was_typed(local, zone_name):
    zone = ZoneInfo(zone_name)
    back = (
        local_series(local)
        .select(utc=clock.to_utc(pl.col("local"), zone))
        .select("utc", local=clock.to_local(pl.col("utc"), zone))
        .row(0, named=True)
    )
    assert back["utc"] is None or back["local"] == local


@given(
    st.datetimes(datetime(2001, 1, 1), datetime(2099, 1, 1)).map(lambda t: t.replace(microsecond=0)),
    st.sampled_from(["%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%d"]),
)
def test_the_regular_stamp_is_read_the_same_at_once_and_one_by_one(moment, form):
    text = moment.strftime(form)
    local, _, has_day, has_clock = clock.read_stamp(text, "dmy")
    row = clock.read_stamps(pl.Series([text]), "dmy").row(0, named=True)
    assert (row["local"], row["has_day"], row["has_clock"]) == (local, has_day, has_clock)
