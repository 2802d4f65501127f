"""Texts kept beside the store: what is damaged or gone is as if it had never been there; nobody keeps one in a shop in
which somebody has been forgotten since.
"""

import shutil

import pytest

from ingest.store import kept_texts
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


def kept(folder, key="k", text="T07 did it\nand T08"):
    open_snapshot(folder).kept_texts.keep(key, text)
    return folder / "store" / kept_texts.FOLDER


def held(folder, *keys):
    place = open_snapshot(folder).kept_texts
    return [place.of(key) for key in keys]


def test_what_was_kept_is_there_for_whoever_opens_the_shop_next(folder):
    kept(folder)
    kept(folder, "other", "")
    assert held(folder, "k", "other", "none") == ["T07 did it\nand T08", "", None]


def test_the_newest_stay(folder, monkeypatch):
    monkeypatch.setattr(kept_texts, "MOST", 3)
    for number in range(9):
        place = kept(folder, f"k{number}", "x")
    assert len(list(place.iterdir())) == 3
    assert held(folder, "k0", "k6", "k8") == [None, "x", "x"]


def test_a_text_too_long_is_not_kept(folder, monkeypatch):
    monkeypatch.setattr(kept_texts, "LONGEST", 5)
    kept(folder, "long", "é" * 3)
    kept(folder, "short", "é" * 2)
    assert held(folder, "long", "short") == [None, "éé"]


@pytest.mark.parametrize("damage", ["cut", "flipped", "noise", "empty", "gone", "a folder", "another's"])
def test_what_is_damaged_is_as_if_it_were_not_there(folder, damage):
    (path,) = kept(folder).iterdir()
    data = path.read_bytes()
    path.unlink()
    if damage == "a folder":
        path.mkdir()
    elif damage == "another's":  # whole, but kept under another key
        kept(folder, "other", "3")
        (other,) = path.parent.iterdir()
        other.rename(path)
    elif damage != "gone":
        new = {"cut": data[:-9], "flipped": data.replace(b"did", b"dad"), "noise": b"\xff\x00\n\xff", "empty": b""}
        path.write_bytes(new[damage])
    assert held(folder, "k") == [None]
    kept(folder, "new", "3")
    assert held(folder, "new") == ["3"]


def test_a_file_in_the_way_is_no_fault(folder):
    (folder / "store" / kept_texts.FOLDER).write_text("in the way")
    kept(folder)
    assert held(folder, "k") == [None]


def test_whoever_is_forgotten_stands_in_no_text_and_comes_back_by_nobody(folder):
    before = open_snapshot(folder)
    place = kept(folder)
    forget.forget(folder, "T07", now=NOW)
    assert not place.exists()
    before.kept_texts.keep("k", "T07 did it")
    assert not place.exists() or not list(place.iterdir())


def test_a_backup_holds_none_and_a_restore_leaves_none(folder, tmp_path):
    place = kept(folder)
    made = backup(folder, tmp_path / "all.zip", now=NOW, why="")
    assert b"did it" not in made.path.read_bytes()
    restore(folder, made.path, now=NOW)
    assert not place.exists()


def test_a_shop_that_cannot_be_written_answers_all_the_same(folder):
    place = open_snapshot(folder).kept_texts
    shutil.rmtree(folder / "store")
    place.keep("k", "1")
    assert place.of("k") is None
