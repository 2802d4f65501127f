"""Every stream of the rack stands once, what an open matter moved under its key, shares in shares of the tolerance."""

import polars as pl
import pytest

from analysis.studies.drift.rack import rack
from analysis.studies.matters.in_sight import KEY, in_sight
from analysis.studies.matters.matters import open_matters
from ingest.store.store import open_snapshot
from tests.dashboard.pages import moving_shop


@pytest.fixture
def snapshot(moving_desk):
    return moving_desk.snapshot()


def test_streams_are_those_of_the_rack_and_each_moved_one_has_its_matter(snapshot):
    found, rows = in_sight(snapshot), rack(snapshot).streams
    assert found.streams.select(KEY).equals(rows.select(KEY))
    moved = found.streams.filter(pl.col("state") == "moved")
    assert moved["matter"].to_list() == [one.key for one in open_matters(snapshot) if one.key in moved["matter"]]
    assert set(found.matters) >= set(moved["matter"])
    row = moved.row(0, named=True)
    assert row["moved_share"] == pytest.approx(row["shift"] / row["tolerance"])


def test_a_steady_stream_stands_where_its_average_does(snapshot):
    rows = in_sight(snapshot).streams.filter(pl.col("state") == "steady")
    assert len(rows)
    for row in rows.iter_rows(named=True):
        last = [value for value in row["line"] if value is not None][-1]
        assert row["moved_share"] == pytest.approx(last * row["scale"] / row["tolerance"], rel=1e-6)
        assert abs(row["moved_share"]) < 0.2


def test_a_shop_without_readings_has_nothing_in_sight(tmp_path):
    found = in_sight(open_snapshot(moving_shop.stands(tmp_path / "shop", with_logs=False)))
    assert found.streams.is_empty()
    assert found.matters == {}
