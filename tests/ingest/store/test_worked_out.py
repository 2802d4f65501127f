"""Answers beside the store: what is damaged or gone is as if it had never been there; nobody keeps one in a shop that
somebody has been forgotten in since.
"""

import shutil

import pytest

from ingest.store import worked_out
from ingest.store.store import open_snapshot
from ingest.verbs import forget
from ingest.verbs.backup import backup
from ingest.verbs.load import load
from ingest.verbs.restore import restore
from tests.ingest.bench import NOW, log, row, shop


@pytest.fixture
def folder(tmp_path):
    folder = shop(tmp_path / "shop")
    load(folder, [log(folder, "a.csv", [row("A1", tech="T07"), row("A2", tech="T08")])], now=NOW)
    return folder


def kept(folder, key="k", text="T07 did it", *, past=True):
    held = open_snapshot(folder).worked_out
    held.keep(key, text, past=past)
    held.write()
    return folder / "store" / worked_out.FILE


def test_what_was_kept_is_there_for_whoever_opens_the_shop_next(folder):
    kept(folder)
    kept(folder, "other", "2")
    held = open_snapshot(folder).worked_out
    assert (held.of("k"), held.of("other"), held.of("none")) == ("T07 did it", "2", None)


@pytest.mark.parametrize("damage", ["cut", "flipped", "noise", "gone", "a folder"])
def test_what_is_damaged_is_as_if_it_were_not_there(folder, damage):
    path = kept(folder)
    kept(folder, "other", "2")
    data = path.read_bytes()
    path.unlink()
    if damage == "a folder":
        path.mkdir()
    elif damage != "gone":
        new = {"cut": data[:-9], "flipped": data.replace(b"did", b"dad"), "noise": b"\xff\x00\n" + bytes(range(256))}
        path.write_bytes(new[damage])
    held = open_snapshot(folder).worked_out
    assert held.of("k") == ("T07 did it" if damage == "cut" else None)
    held.keep("new", "3", past=False)
    held.write()
    assert open_snapshot(folder).worked_out.of("new") == (None if damage == "a folder" else "3")


def test_a_file_that_grew_too_large_keeps_what_is_of_the_past_and_the_newest(folder, monkeypatch):
    monkeypatch.setattr(worked_out, "MOST", 3000)
    monkeypatch.setattr(worked_out, "NEWEST", 300)
    for number in range(80):
        path = kept(folder, f"k{number}", "x" * 40, past=number == 0)
    held = open_snapshot(folder).worked_out
    assert path.stat().st_size <= 3000
    assert [held.of(f"k{number}") is not None for number in (0, 1, 79)] == [True, False, True]


def test_who_is_forgotten_is_in_no_answer_and_comes_back_by_none(folder):
    before = open_snapshot(folder)
    path = kept(folder)
    forget.forget(folder, "T07", now=NOW)
    assert not path.exists()
    before.worked_out.keep("k", "T07 did it", past=True)
    before.worked_out.write()
    assert not path.exists()
    kept(folder, text="X01 did it")
    assert path.exists()


def test_a_backup_holds_none_and_a_restore_leaves_none(folder, tmp_path):
    path = kept(folder)
    made = backup(folder, tmp_path / "all.zip", now=NOW, why="")
    assert b"did it" not in made.path.read_bytes()
    restore(folder, made.path, now=NOW)
    assert not path.exists()


def test_a_shop_that_cannot_be_written_answers_all_the_same(folder):
    held = open_snapshot(folder).worked_out
    shutil.rmtree(folder / "store")
    held.keep("k", "1", past=True)
    held.write()
    assert held.of("k") is None or held.of("k") == "1"
