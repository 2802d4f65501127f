"""Sections of the story and of rework on logs as people wrote them: a week of the demo, loaded, against the plain
recount.
"""

from datetime import UTC, datetime

import polars as pl
import pytest

from analysis.studies.rework.rework import send_backs, stages, weeks
from analysis.studies.rework.savings import what_if
from analysis.studies.story.story import story
from demo_data.generator import write_shop
from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.analysis.studies import recount
from tests.analysis.studies.rework.test_rework import same_rows


@pytest.fixture(scope="module")
def snapshot(tmp_path_factory) -> Snapshot:
    folder = tmp_path_factory.mktemp("demo")
    load(folder, write_shop(folder, weeks=1), now=datetime(2027, 1, 1, tzinfo=UTC))
    return open_snapshot(folder)


@pytest.fixture(scope="module")
def told(snapshot) -> dict:
    return tell(snapshot)


def tell(snapshot: Snapshot) -> dict:
    visits = snapshot.table("visits")
    assert (visits["serial"] != "").all()  # the recount knows no parts
    return recount.tell(snapshot.shop, visits.to_dicts(), snapshot.table("faults").to_dicts(), snapshot.as_of)


def hold_against(snapshot: Snapshot, told: dict) -> None:
    same = [
        "serial",
        "line",
        "log_id",
        "stage",
        "model",
        "supplier",
        "lot",
        "outcome",
        "round",
        "pass_no",
        "minutes",
        "minutes_from",
        "day",
    ]
    rows = [row for rows in told.values() for row in rows]
    ours = snapshot.once(story)
    assert ours.visits.select(same).rows() == [tuple(row[name] for name in same) for row in rows]
    backs = [row for row in rows if "loop" in row]
    assert ours.loops.select("serial", "caught_at", "caused_at", "charged", "minutes").rows() == [
        (row["serial"], row["stage"], row["caused_at"], row["charged"], row["loop"]["minutes"]) for row in backs
    ]
    same_rows(stages(snapshot), ["stage"], recount.stages(snapshot.shop, told))
    same_rows(weeks(snapshot).drop("signals_opened", "set_aside"), ["week"], recount.weeks(snapshot.shop, told))
    expected = recount.send_backs(snapshot.shop, told)
    assert {row[:3]: list(row[3:]) for row in send_backs(snapshot).rows()} == {
        key: pytest.approx(sums, rel=1e-12) for key, sums in expected.items()
    }


def test_the_demo_matches_a_plain_recount(snapshot, told):
    assert len(told) > 250
    hold_against(snapshot, told)


def test_everything_set_aside_has_its_week(snapshot):
    assert weeks(snapshot)["set_aside"].sum() == snapshot.table("set_aside").height > 10


def test_the_chain_gives_back_the_loop_minutes_of_the_demo(snapshot):
    loops = snapshot.once(story).loops.filter(pl.col("round") == 1)
    assert what_if(snapshot, draws=2).loop_minutes == pytest.approx(loops["minutes"].sum(), rel=1e-9)
