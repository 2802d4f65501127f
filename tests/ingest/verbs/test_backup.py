"""One file of one moment, and the shop made of it again: the same rows, the same book, the same figures."""

import json
import shutil
import sqlite3
import threading
import time
import zipfile
from contextlib import closing, contextmanager
from datetime import timedelta
from pathlib import Path

import pytest

from dashboard.commands import cli
from dashboard.desk.desk import Desk
from ingest.store import book
from ingest.store.problems import StoreProblem
from ingest.store.store import open_snapshot
from ingest.verbs import backup, restore, unfinished
from ingest.verbs.check import check
from ingest.verbs.load import load, unload
from tests.ingest.bench import NOW, held, log, row
from tests.ingest.verbs.damage import cut, flip, full_shop
from tests.ingest.verbs.test_load import same


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    return full_shop(tmp_path_factory.mktemp("sound") / "shop")


@pytest.fixture
def folder(sound, tmp_path):
    shutil.copytree(sound, tmp_path / "shop")
    return tmp_path / "shop"


def everything(folder):
    """Rows, lines of the book and shop files."""
    said = {name: lines.rows() for name, lines in book.read(folder).items()}
    files = {path.name: path.read_bytes() for path in folder.glob("*.*") if path.suffix in (".toml", ".csv")}
    return {name: table.rows() for name, table in held(folder).items()} | said | files


def test_restoring_into_an_empty_folder_gives_the_same_shop(folder, tmp_path):
    (folder / "changes.csv").write_text("from_date,to_date,model,stage,what,note\n2026-03-03,,,,strings,new\n")
    made = backup.backup(folder, tmp_path / "one.truerun", now=NOW)
    assert (made.logs, made.automatic) == (3, False)
    new = tmp_path / "elsewhere" / "shop"
    done = restore.restore(new, tmp_path / "one.truerun", now=NOW)
    assert (done.logs, done.before, done.made_at) == (3, None, NOW)
    assert everything(new) == everything(folder)
    assert open_snapshot(new).version == open_snapshot(folder).version
    assert all(part.whole for part in check(new, now=NOW))
    load(new, [log(new, "d.csv", [row("D1")])], now=NOW)
    book.write_entry(new, "note", "goes on", "Mo", now=NOW)
    assert all(part.whole for part in check(new, now=NOW))


def test_a_restore_puts_the_folder_back_and_keeps_what_stood_there(folder, tmp_path):
    before = everything(folder)
    backup.backup(folder, tmp_path / "one.truerun", now=NOW)
    load(folder, [log(folder, "d.csv", [row("D1")])], now=NOW)
    (folder / "lots.csv").write_text("supplier,lot\nWest,L1\n")
    unload(folder, "a.csv", now=NOW)
    later = everything(folder)
    done = restore.restore(folder, tmp_path / "one.truerun", now=NOW)
    assert everything(folder) == before
    assert done.before is not None
    restore.restore(folder, done.before, now=NOW)
    assert everything(folder) == later


def test_whoever_has_the_shop_open_sees_that_it_was_restored(folder, tmp_path):
    desk = Desk(folder)
    backup.backup(folder, tmp_path / "one.truerun", now=NOW)
    load(folder, [log(folder, "d.csv", [row("D1")])], now=NOW)
    early = desk.snapshot()
    assert "D1" in early.table("visits")["serial"].to_list()
    restore.restore(folder, tmp_path / "one.truerun", now=NOW)
    load(folder, [log(folder, "e.csv", [row("E1")])], now=NOW)
    serials = desk.snapshot().table("visits")["serial"].to_list()
    assert "D1" not in serials
    assert "E1" in serials
    assert desk.snapshot().key != early.key


def test_a_backup_is_of_one_moment_while_others_write(folder, tmp_path):
    stop = threading.Event()
    faults: list[BaseException] = []

    def write() -> None:
        n = 0
        while not stop.is_set():
            try:
                book.write_entry(folder, "note", f"while {n}", "Mo", now=NOW)
                load(folder, [log(folder, f"w{n}.csv", [row(f"W{n}")])], now=NOW)
            except BaseException as fault:
                faults.append(fault)
                return
            n += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for n in range(4):
            backup.backup(folder, tmp_path / f"{n}.truerun", now=NOW)
    finally:
        stop.set()
        writer.join()
    assert faults == []
    for n in range(4):
        new = tmp_path / f"new{n}"
        restore.restore(new, tmp_path / f"{n}.truerun", now=NOW)
        assert all(part.whole for part in check(new, now=NOW) if not part.what.startswith("the notes beside"))
        logs = book.active_logs(book.read(new)["loads"])["log_id"].to_list()
        assert sorted(logs) == sorted(open_snapshot(new).table("logs")["log_id"].to_list())


def test_a_writer_that_waits_to_commit_and_a_backup_do_not_wait_for_each_other(folder, tmp_path, monkeypatch):
    held = sqlite3.connect(
        folder / "store" / "ledger.sqlite", isolation_level=None, timeout=20, check_same_thread=False
    )
    held.execute("BEGIN IMMEDIATE")
    held.execute("CREATE TABLE of_a_test (n INTEGER)")
    waits, whole = threading.Thread(target=held.execute, args=("COMMIT",)), backup.one_moment

    @contextmanager
    def commits_meanwhile(*args, **kept):
        with whole(*args, **kept) as at_hand:
            waits.start()  # takes the pending lock: nobody new may read until we have let go
            time.sleep(0.2)
            yield at_hand

    monkeypatch.setattr(backup, "one_moment", commits_meanwhile)
    began = time.monotonic()
    made = backup.backup(folder, tmp_path / "one.truerun", now=NOW)
    waits.join()
    held.close()
    assert made.logs == 3
    assert time.monotonic() - began < 4  # nobody's patience was used up


def test_a_backup_lets_the_ledger_go_while_the_book_is_not_to_be_had(folder, tmp_path):
    has_the_book, got = threading.Event(), []

    def writes_both() -> None:
        with (
            closing(sqlite3.connect(folder / "book.sqlite", isolation_level=None)) as of_book,
            closing(sqlite3.connect(folder / "store" / "ledger.sqlite", isolation_level=None, timeout=4)) as of_ledger,
        ):
            of_book.execute("BEGIN EXCLUSIVE")
            has_the_book.set()
            time.sleep(0.3)
            of_ledger.execute("BEGIN EXCLUSIVE")
            got.append("both")

    writer = threading.Thread(target=writes_both)
    writer.start()
    has_the_book.wait()
    made = backup.backup(folder, tmp_path / "one.truerun", now=NOW)
    writer.join()
    assert (made.logs, got) == (3, ["both"])


def test_five_automatic_backups_are_kept_and_a_persons_own_stays(folder):
    backup.backup(folder, folder / "backups" / "mine.truerun", now=NOW)
    for n in range(7):
        backup.before("unload", folder, now=NOW + timedelta(minutes=n))
    assert len(backup.automatic(folder)) == 5
    assert backup.automatic(folder)[0].name.startswith("2026-06-01-120600-before-unload")
    assert (folder / "backups" / "mine.truerun").exists()
    with zipfile.ZipFile(backup.automatic(folder)[0]) as held_:
        assert not any(name.startswith("backups") for name in held_.namelist())


def test_what_is_no_backup_is_one_line_and_changes_nothing(folder, tmp_path):
    before = everything(folder)
    good = tmp_path / "good.truerun"
    backup.backup(folder, good, now=NOW)
    halved, flipped, newer, strange = (
        tmp_path / f"{name}.truerun" for name in ("halved", "flipped", "newer", "strange")
    )
    for path, harm in ((halved, cut), (flipped, flip)):
        shutil.copy(good, path)
        harm(path)
    with zipfile.ZipFile(newer, "w") as out:
        out.writestr(backup.LIST, json.dumps({"format": 99, "files": {}}))
    with zipfile.ZipFile(strange, "w") as out:
        out.writestr("../evil", "x")
        out.writestr(
            backup.LIST, json.dumps({"format": 1, "made_at": NOW.isoformat(), "logs": 0, "files": {"../evil": ""}})
        )
    for path, said in (
        (halved, "damaged"),
        (flipped, "damaged"),
        (newer, "newer Truerun"),
        (strange, "no file of a shop"),
        (tmp_path / "none.truerun", "not there"),
        (folder / "shop.toml", "no backup"),
    ):
        with pytest.raises(StoreProblem, match=said) as problem:
            restore.restore(folder, path, now=NOW)
        assert "\n" not in str(problem.value)
        assert everything(folder) == before
    assert not (tmp_path / "evil").exists()
    with pytest.raises(StoreProblem, match="there already"):
        backup.backup(folder, good, now=NOW)


@pytest.mark.parametrize("steps", [0, 1, 3, 6, 9])
def test_a_restore_that_dies_between_two_steps_is_ended_by_whoever_comes_next(folder, tmp_path, monkeypatch, steps):
    backup.backup(folder, tmp_path / "one.truerun", now=NOW)
    before = everything(folder)
    load(folder, [log(folder, "d.csv", [row("D1")])], now=NOW)
    real, left = Path.replace, [steps]

    class Died(BaseException):
        pass

    def dying(path, target):
        if restore.READY in {each.name for each in (folder / restore.UNDER_WAY).glob("ready")}:
            if not left[0]:
                raise Died
            left[0] -= 1
        return real(path, target)

    monkeypatch.setattr(Path, "replace", dying)
    try:
        restore.restore(folder, tmp_path / "one.truerun", now=NOW)
    except Died:
        assert restore.under_way(folder)
    monkeypatch.undo()
    unfinished.end(folder, now=NOW)
    assert everything(folder) == before
    assert not (folder / restore.UNDER_WAY).exists()
    assert all(part.whole for part in check(folder, now=NOW))


def test_commands_say_what_they_have_done(capsys, folder, tmp_path):
    file = tmp_path / "one.truerun"
    assert cli.run(["backup", str(file), "--shop", str(folder)]) == 0
    assert "3 logs" in capsys.readouterr().out
    assert cli.run(["restore", str(file), "--yes", "--shop", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "is as it was on" in out
    assert "before-restore" in out
    assert cli.run(["backup", str(file), "--shop", str(folder)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_before_an_older_store_is_made_again_there_is_a_backup(folder):
    import sqlite3

    before = held(folder)
    with sqlite3.connect(folder / "store" / "ledger.sqlite") as connection:
        connection.execute("UPDATE format SET format = 1")
    connection.close()
    load(folder, [], now=NOW)
    same(held(folder), before)
    assert [path.name for path in backup.automatic(folder)] == ["2026-06-01-120000-before-upgrade.truerun"]


def test_the_oldest_backup_can_be_restored_though_a_new_one_is_made_first(folder):
    before = everything(folder)
    for n in range(5):
        backup.before("unload", folder, now=NOW + timedelta(minutes=n))
    load(folder, [log(folder, "d.csv", [row("D1")])], now=NOW)
    restore.restore(folder, backup.automatic(folder)[-1], now=NOW + timedelta(hours=1))
    assert everything(folder) == before


def test_a_backup_is_made_while_a_load_is_under_way(folder, tmp_path):
    from ingest.store.store import drafting

    with drafting(folder, NOW):
        made = backup.backup(folder, tmp_path / "meanwhile.truerun", now=NOW)
    assert made.logs == 3
    restore.restore(tmp_path / "new", made.path, now=NOW)
    assert everything(tmp_path / "new") == everything(folder)


def test_versions_go_on_counting_from_those_of_the_folder_or_of_the_backup_whichever_is_further(folder, tmp_path):
    backup.backup(folder, tmp_path / "one.truerun", now=NOW)
    load(folder, [log(folder, "d.csv", [row("D1")])], now=NOW)
    load(folder, [log(folder, "e.csv", [row("E1")])], now=NOW)
    before = open_snapshot(folder).version
    restore.restore(folder, tmp_path / "one.truerun", now=NOW)
    assert open_snapshot(folder).version == before + 1
    backup.backup(folder, tmp_path / "two.truerun", now=NOW)
    shutil.rmtree(folder / "store")
    load(folder, [log(folder, "f.csv", [row("F1")])], now=NOW)  # made again, and counted from the beginning
    restore.restore(folder, tmp_path / "two.truerun", now=NOW)
    assert open_snapshot(folder).version == before + 2
