"""In which sheet a visit stands, where a sheet may stand for somebody whom no row names."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from analysis.studies.matters.sheets_kept import sheets
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.benches import shop


def sheets_of(*logs: tuple[str, str, Iterable[int]], tech: str = "") -> dict[str, str]:
    """The sheet of each log's visits; logs as (log_id, name, days it tells of)."""
    rows = [
        {"log_id": log, "line": 2 + day, "serial": f"{log}{day:03}", "model": "LARK", "stage": "final", "tech": tech,
         "finished_at": datetime(2026, 3, 2, 9, tzinfo=UTC) + timedelta(days=day), "time_known": True,
         "outcome": "pass"}
        for log, _, days in logs
        for day in days
    ]  # fmt: skip
    held = pl.DataFrame({"log_id": [log for log, _, _ in logs], "name": [name for _, name, _ in logs]})
    snapshot = Snapshot.of(shop(), visits=pl.DataFrame(rows), logs=held)
    told = snapshot.once(story).visits.select(pl.col("log_id").cast(pl.String), sheet=sheets(snapshot)).unique()
    assert len(told) == len(logs)
    return dict(told.iter_rows())


def test_files_side_by_side_are_sheets_and_those_that_differ_in_digits_are_one():
    logs = ("a1", "One 2026-03.csv", range(5)), ("b1", "one_2026_04.CSV", range(5, 10)), ("c1", "Other.csv", range(10))
    assert sheets_of(*logs) == {"a1": "a1", "b1": "a1", "c1": "c1"}


@pytest.mark.parametrize("names", [("January.csv", "February.csv"), ("w1.csv", "w2.csv")])
def test_files_of_a_time_of_their_own_are_none(names):
    logs = [(f"{name}1", name, range(5 * k, 5 * k + 5)) for k, name in enumerate(names)]
    assert set(sheets_of(*logs).values()) == {""}


def test_where_rows_say_who_it_was_no_sheet_stands_for_them():
    logs = ("a1", "One.csv", range(5)), ("b1", "Other.csv", range(5))
    assert set(sheets_of(*logs, tech="T01").values()) == {""}
