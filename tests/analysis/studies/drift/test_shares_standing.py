"""What stands on Rework: shares that were told by the end of a week, counted up to it."""

from datetime import date, timedelta

import polars as pl

from analysis.studies.drift.shares_standing import standing
from analysis.studies.matters.matters import open_matters
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drift.test_share_signals import STAYS
from tests.analysis.studies.rework.test_stage_weeks import weeks_of


def with_a_reading(counts: list[tuple[int, int]]) -> Snapshot:
    """The weeks, and one reading, without which nothing is watched."""
    snap = weeks_of(counts)
    last = snap.table("visits").sort("finished_at").row(-1, named=True)
    reading = {
        "log_id": "l",
        "line": last["line"],
        "serial": last["serial"],
        "stage": "final",
        "taken_at": last["finished_at"],
        "characteristic": "relief",
        "moment": "found",
        "value": 0.2,
    }
    readings = pl.DataFrame([reading]).with_columns(pl.col("taken_at").dt.cast_time_unit("us"))
    return Snapshot.of(snap.shop, visits=snap.table("visits"), readings=readings)


def test_it_stands_from_the_week_it_was_told_counted_up_to_the_week_asked():
    snap = with_a_reading(STAYS)
    weeks = [date(2026, 8, 3) + timedelta(weeks=k) for k in range(12)]
    told = {week: standing(snap, week=week) for week in weeks}
    assert told[weeks[0]] == []
    first = next(week for week in weeks if told[week])
    for week in weeks[weeks.index(first) :]:
        (one,) = told[week]
        n = weeks.index(week) + 1
        assert (one.stage, one.week, one.since.came_back, one.since.instruments) == ("nut", weeks[0], 4 * n, 25 * n)
        assert one.since.sure


def test_the_matter_on_week_says_the_same():
    snap = with_a_reading(STAYS)
    (matter,) = [one for one in open_matters(snap) if not one.characteristics]
    (one,) = standing(snap, week=date(2026, 10, 19))
    assert matter.shown
    assert (matter.main["came_back"], matter.main["instruments"]) == (one.since.came_back, one.since.instruments)
    assert matter.size_low == one.since.expected / one.since.instruments * (one.since.low - 1)


def test_what_all_weeks_since_no_longer_show_stands_back():
    snap = with_a_reading([(25, 2)] * 20 + [(25, 9)] + [(25, 2)] * 10)
    (matter,) = [one for one in open_matters(snap) if not one.characteristics]
    assert not matter.shown
    assert standing(snap, week=date(2026, 8, 3)) == []
    assert len(standing(snap, week=date(2026, 5, 25))) == 1
