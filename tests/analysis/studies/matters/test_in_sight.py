"""Every stream of the rack stands once, what an open matter moved under its key, shares in shares of the tolerance."""

from dataclasses import replace
from datetime import date, timedelta
from statistics import NormalDist

import polars as pl
import pytest

from analysis.studies.drift.rack import rack
from analysis.studies.drift.signals import signals
from analysis.studies.matters.in_sight import KEY, cost_if_left, in_sight
from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import Planned
from ingest.store.store import open_snapshot
from tests.dashboard.pages import moving_shop

STEP = 0.05  # mm, of the gauge of `moving_shop`


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


def test_what_a_shift_puts_outside_is_the_tail_of_a_normal_curve_at_the_pace_of_the_last_weeks(snapshot):
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6: the share outside is the area beyond the limits
    row = in_sight(snapshot).streams.filter(pl.col("state") == "moved").row(0, named=True)
    curve = NormalDist(0, row["sigma"])

    def share(mean):
        return curve.cdf(row["lower"] - STEP / 2 - mean) + 1 - curve.cdf(row["upper"] + STEP / 2 - mean)

    held = snapshot.once(signals).streams.readings
    mine = (held.stream == row["stream"]) & (held.taken_at > snapshot.as_of - timedelta(weeks=4)).to_numpy()
    more = (share(row["centre"] + row["shift"]) - share(row["centre"])) * int(mine.sum()) / 4
    assert row["more_outside"] == pytest.approx(more, rel=1e-6)
    assert more > 0


def test_one_instrument_passes_every_stage_and_counts_once_for_all_its_positions():
    rows = pl.DataFrame(
        [("A", "test", 1.0), ("A", "test", 3.0), ("B", "test", 2.0), ("A", "final", 4.0), ("B", "final", None)],
        schema=["model", "stage", "more_outside"],
        orient="row",
    )
    assert cost_if_left(rows) == 5.0  # 3 of A and 2 of B at test; 4 at final
    assert cost_if_left(rows.filter(pl.col("more_outside").is_null())) is None


def test_each_moved_series_stands_with_the_start_of_its_matter(snapshot):
    found = in_sight(snapshot)
    rows = found.streams.filter(pl.col("matter").is_not_null())
    assert rows["matter_began"].to_list() == [found.matters[key].began_at for key in rows["matter"]]
    assert len(rows)
    assert found.streams.filter(pl.col("matter").is_null())["matter_began"].null_count() > 0


def test_what_went_where_it_was_planned_to_go_costs_nothing(snapshot, monkeypatch):
    for followed in (True, False):
        plan = Planned("target", date(2026, 9, 7), 2.0, 2.0, 1.9, 2.1, followed=followed, not_followed_by=[])
        every = [replace(one, planned=plan) for one in open_matters(snapshot)]
        with monkeypatch.context() as planned:
            planned.setattr("analysis.studies.matters.in_sight.open_matters", lambda _shop, every=every: every)
            moved = in_sight(snapshot).streams.filter(pl.col("matter").is_not_null())
        assert len(moved)
        assert moved["more_outside"].is_null().all() == followed
