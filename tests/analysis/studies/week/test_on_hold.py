"""Instruments that pile up on hold at one stage are told with what they wait for; a few are not."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from analysis.studies.week.on_hold import on_hold
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.benches import shop

BEGIN = datetime(2026, 3, 2, 8, tzinfo=UTC)


def made(held, *, outcome="hold", each=40, went_on=False):
    """Weeks of forty instruments at one bench, so many of each week on hold."""
    rows, faults = [], []
    for week, count in enumerate(held):
        for k in range(each):
            bad, line, at = k < count, len(rows), BEGIN + timedelta(weeks=week, minutes=40 * k)
            rows.append(("log", line, f"S{week}-{k}", "LARK", "bridge", outcome if bad else "pass", True, at))
            if bad:
                faults.append(("log", line, f"S{week}-{k}", "bridge", "no saddle blanks" if k % 4 else "other"))
            if bad and went_on:
                then = at + timedelta(hours=30)
                rows.append(("log", len(rows), f"S{week}-{k}", "LARK", "bridge", "pass", True, then))
    names = ("log_id", "line", "serial", "model", "stage", "outcome", "time_known", "finished_at")
    visits = pl.DataFrame(rows, schema=names, orient="row")
    caught = pl.DataFrame(faults, schema=("log_id", "line", "serial", "stage", "fault"), orient="row")
    return Snapshot.of(shop(), visits=visits, faults=caught)


def test_many_on_hold_are_told_with_the_first_those_of_late_and_what_they_wait_for():
    [row] = on_hold(made([0, 8, 9])).rows(named=True)
    assert (row["stage"], row["count"], row["of_late"], row["tried"]) == ("bridge", 17, 9, 40)
    assert row["first_at"] == BEGIN + timedelta(weeks=1)
    assert row["fault"] == "no saddle blanks"


@pytest.mark.parametrize(
    "snapshot",
    [made([0, 4, 5]), made([0, 8, 9], went_on=True), made([0, 8, 9], outcome="send back"), made([0, 0, 11], each=120)],
    ids=["few", "gone on", "sent back", "few of many"],
)
def test_few_and_those_that_went_on_are_not_told(snapshot):
    assert on_hold(snapshot).is_empty()
