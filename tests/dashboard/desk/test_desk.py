"""The counter: it opens a shop as it stands, and makes an older store again before anybody sees an empty shop."""

import shutil
import sqlite3
from contextlib import closing
from datetime import date
from threading import Event

import pytest

from dashboard.desk.desk import Desk, patient
from ingest.store import ledger
from ingest.store.store import newest
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop


@pytest.fixture
def loaded(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1"), row("A2")])], now=NOW)
    return folder


def test_a_desk_makes_an_older_store_again(loaded):
    with closing(sqlite3.connect(ledger.path_of(loaded))) as connection, connection:
        connection.execute("UPDATE format SET format = ?", (ledger.FORMAT - 1,))
    assert newest(loaded)[0] == 0
    assert Desk(loaded).snapshot().table("visits")["serial"].sort().to_list() == ["A1", "A2"]
    assert newest(loaded)[0] == 1


def test_a_desk_makes_a_store_that_was_deleted_again_while_it_is_open(loaded):
    desk = Desk(loaded)
    before = desk.snapshot()
    shutil.rmtree(loaded / "store")
    assert desk.snapshot().table("visits").equals(before.table("visits"))
    assert desk.shop_words()[1] != "no log loaded yet"


def test_a_desk_of_an_empty_shop_makes_no_store(tmp_path):
    folder = shop(tmp_path)
    assert Desk(folder).snapshot().table("visits").is_empty()
    assert not (folder / "store").exists()


def _actions(snapshot):
    return snapshot.lines("action").height


def _closings(snapshot):
    return snapshot.lines("close", "reopen").height


def _both(snapshot):
    return snapshot.once(_actions) + snapshot.once(_closings)


def _whole(snapshot):
    return snapshot.table("bench_book").height


def test_a_line_in_the_book_leaves_standing_what_read_no_line_of_its_kind(loaded):
    desk = Desk(loaded)
    studies = (_actions, _closings, _both, _whole)
    assert [desk.ask(study) for study in studies] == [0, 0, 0, 0]
    desk.write_entry("action", "look at the jig", who="M")
    after = desk.snapshot()
    assert _closings in after._kept
    assert not {_actions, _both, _whole} & after._kept.keys()
    assert [desk.ask(study) for study in studies] == [1, 0, 1, 1]
    desk.write_entry("note", "spoke to the bench", who="M")
    assert {_actions, _closings, _both} <= desk.snapshot()._kept.keys()
    assert [desk.ask(study) for study in studies] == [1, 0, 1, 2]


@pytest.fixture
def ahead(loaded):
    """A desk that works ahead, and what lets its work end."""
    go, begun = Event(), []

    def work(snapshot):
        begun.append(snapshot.version)
        assert go.wait(30)

    desk = Desk(loaded)
    desk.work_ahead(work)
    token = patient.set(True)
    assert desk.snapshot().version == 1
    yield desk, go, begun
    go.set()
    patient.reset(token)


def _serials(snapshot):
    return snapshot.table("visits")["serial"].sort().to_list()


def test_a_page_shows_the_shop_as_it_stood_until_the_next_answers_are_there(loaded, ahead):
    desk, go, begun = ahead
    load(loaded, [log(loaded, "b.csv", [row("A3")])], now=NOW)
    assert _serials(desk.snapshot()) == ["A1", "A2"]
    assert "being worked out" in desk.shop_words()[1]
    go.set()
    desk._ahead.wait(30)
    assert _serials(desk.snapshot()) == ["A1", "A2", "A3"]
    assert begun == [2]
    assert "being worked out" not in desk.shop_words()[1]


def _many(snapshot, *, above):
    return sum(serial > above for serial in _serials(snapshot))


def test_what_is_worked_out_ahead_is_of_one_standing_though_newer_logs_come_meanwhile(loaded):
    seen, come, go = [], Event(), Event()

    def first(_snapshot):
        desk.ask(_many, above="A1")

    def then(_snapshot):
        come.set()
        assert go.wait(30)
        seen.append(_serials(desk.snapshot()))

    desk = Desk(loaded)
    desk.work_ahead(first, then)
    token = patient.set(True)
    desk.snapshot()
    load(loaded, [log(loaded, "b.csv", [row("A3")])], now=NOW)
    desk.snapshot()
    assert come.wait(30)
    load(loaded, [log(loaded, "c.csv", [row("A4")])], now=NOW)
    patient.set(False)
    assert _serials(desk.snapshot()) == ["A1", "A2", "A3", "A4"]  # who cannot wait opens the newest
    patient.set(True)
    go.set()
    desk._ahead.wait(30)
    assert seen == [["A1", "A2", "A3"]]
    go.clear()
    assert _serials(desk.snapshot()) == ["A1", "A2", "A3"]
    assert 2 in [question[2][0] for question in list(desk._answers)]  # what was worked out of what is shown stands
    assert desk.ask(_many, above="A1") == 2
    go.set()
    desk._ahead.wait(30)
    assert _serials(desk.snapshot()) == ["A1", "A2", "A3", "A4"]
    patient.reset(token)


def test_who_cannot_wait_sees_the_newest_at_once(loaded, ahead):
    desk, _, _ = ahead
    load(loaded, [log(loaded, "b.csv", [row("A3")])], now=NOW)
    assert _serials(desk.snapshot()) == ["A1", "A2"]
    token = patient.set(False)
    assert _serials(desk.snapshot()) == ["A1", "A2", "A3"]
    patient.reset(token)
    assert _serials(desk.snapshot()) == ["A1", "A2"]  # who can, still waits for the answers, not for the rows


def test_what_a_person_writes_is_never_held_back(loaded, ahead):
    desk, _, _ = ahead
    load(loaded, [log(loaded, "b.csv", [row("A3")])], now=NOW)
    assert _serials(desk.snapshot()) == ["A1", "A2"]
    desk.write_entry("decision", "Buy new nut files", who="Mo", week=date(2026, 3, 2))
    assert desk.snapshot().lines("decision")["text"].to_list() == ["Buy new nut files"]
    assert _serials(desk.snapshot()) == ["A1", "A2", "A3"]


def test_a_change_of_a_shop_file_is_never_held_back(loaded, ahead):
    desk, _, _ = ahead
    load(loaded, [log(loaded, "b.csv", [row("A3")])], now=NOW)
    (loaded / "shop.toml").write_text((loaded / "shop.toml").read_text() + "\n# read again\n")
    assert _serials(desk.snapshot()) == ["A1", "A2", "A3"]


def test_work_that_fails_holds_nothing_back(loaded):
    desk = Desk(loaded)
    desk.work_ahead(lambda snapshot: 1 / 0)
    token = patient.set(True)
    desk.snapshot()
    load(loaded, [log(loaded, "b.csv", [row("A3")])], now=NOW)
    desk.snapshot()
    desk._ahead.wait(30)
    assert _serials(desk.snapshot()) == ["A1", "A2", "A3"]
    patient.reset(token)
