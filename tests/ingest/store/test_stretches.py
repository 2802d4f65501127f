"""Stretches of time that some visits fill: parted at the widest gaps, each with its own two ends."""

from datetime import UTC, datetime, timedelta

import polars as pl

from ingest.store.stretches import stretches

DAY = datetime(2026, 3, 2, tzinfo=UTC)


def days(*numbers):
    return pl.Series([DAY + timedelta(days=n) for n in numbers], dtype=pl.Datetime("us", "UTC"))


def test_stretches_are_parted_at_the_widest_gaps_and_leave_no_time_out():
    assert stretches(days(0, 1, 2, 10, 11, 40), most=3) == [
        (DAY, DAY + timedelta(days=2)),
        (DAY + timedelta(days=10), DAY + timedelta(days=11)),
        (DAY + timedelta(days=40), DAY + timedelta(days=40)),
    ]


def test_fewer_stretches_keep_the_widest_gap_only():
    assert stretches(days(40, 0, 10, 11), most=2) == [
        (DAY, DAY + timedelta(days=11)),
        (DAY + timedelta(days=40), DAY + timedelta(days=40)),
    ]


def test_one_moment_is_one_stretch():
    assert stretches(days(5, 5), most=3) == [(DAY + timedelta(days=5), DAY + timedelta(days=5))]
