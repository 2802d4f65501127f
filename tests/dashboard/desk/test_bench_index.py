"""What the index of the benches is told by the studies: what moved, where, and what lies outside or far off."""

import re
from dataclasses import replace

import pytest

from analysis.studies.matters.records import MovesWith
from dashboard.desk import bench_index
from dashboard.desk.desk import Desk
from ingest.store import at_bench
from tests.dashboard.pages.moving_shop import stands


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = stands(tmp_path_factory.mktemp("index") / "shop")
    bench_index.write(folder, Desk(folder).snapshot())
    return folder


def test_what_moved_is_said_where_it_is_set_and_where_it_is_read(folder):
    for stage in ("bridge_fitting", "final_inspection"):
        (line,) = at_bench.moved_at(folder, stage, "LARK-25", "")
        assert re.match(
            r"Action treble on LARK-25 has stood about 0\.(2[5-9]|3[0-5])\s?mm higher since \d+\s\w+\. ", line
        )
    assert at_bench.moved_at(folder, "packing", "LARK-25", "") == []
    assert at_bench.moved_at(folder, "bridge_fitting", "HERON-D", "") == []


def test_what_is_usual_is_that_of_streams_that_judge_one_instrument(folder):
    centre, sigma, reach = at_bench.usual(folder, "final_inspection", "LARK-25", ("action", "bass"))
    assert centre == pytest.approx(2.6, abs=0.1)
    assert reach == pytest.approx(4 * sigma)
    assert at_bench.usual(folder, "final_inspection", "WREN-S", ("action", "bass")) is None  # too few


def test_serials_on_file_say_what_a_scanner_may_send(folder):
    assert "LA-#" in at_bench.shapes(folder)


@pytest.mark.parametrize("change", [{"size_low": -0.05, "size_high": 0.6}, {"share_of_tolerance": 0.01}])
def test_what_no_reading_shows_or_is_slight_asks_nothing_of_a_bench(folder, monkeypatch, change):
    made = Desk(folder).snapshot()
    (one,) = made.once(bench_index.open_matters)
    plain = replace(one, moves_with=MovesWith(), planned=None)

    def told(snapshot):
        return [replace(plain, **change)]

    assert list(bench_index._moved(made))
    monkeypatch.setattr(bench_index, "open_matters", told)
    assert list(bench_index._moved(made)) == []
