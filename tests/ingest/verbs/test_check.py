"""Everything read back: what is damaged is named with what to type, a load refuses it, and what to type mends it."""

import errno
import os
import shutil
import sqlite3
from datetime import datetime, timedelta

import pytest

from dashboard.commands import cli
from ingest.store import book, index, ledger, originals
from ingest.store.problems import Busy, StoreProblem
from ingest.store.store import open_snapshot
from ingest.verbs import recover
from ingest.verbs.again import again, again_all
from ingest.verbs.check import check
from ingest.verbs.load import load
from ingest.verbs.sound import refuse_later_files
from tests.ingest.bench import NOW, held, log, row, shop
from tests.ingest.verbs.damage import cut, flip, full_shop, gone, the_file
from tests.ingest.verbs.test_load import same


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    return full_shop(tmp_path_factory.mktemp("sound") / "shop")


@pytest.fixture
def folder(sound, tmp_path):
    shutil.copytree(sound, tmp_path / "shop")
    return tmp_path / "shop"


def run(capsys, *arguments):
    code = cli.run([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out.splitlines(), err.splitlines()


def damaged(folder):
    return [part.part for part in check(folder, now=NOW) if not part.whole]


def test_a_shop_that_was_left_alone_is_whole(folder):
    assert damaged(folder) == []
    assert {part.part for part in check(folder, now=NOW)} == {"shop.toml", "book.sqlite", "originals", "store"}


def looked_at(folder):
    """What a page reads."""
    snapshot = open_snapshot(folder)
    return [snapshot.table(name) for name in ("visits", "readings", "faults", "set_aside", "bench_book")]


LEDGER, BOOK = "store/ledger.sqlite", "book.sqlite"


@pytest.mark.parametrize(
    ("pattern", "harm", "named"),
    [
        (LEDGER, cut, LEDGER),
        pytest.param(LEDGER, flip, LEDGER, marks=pytest.mark.long),
        (BOOK, cut, BOOK),
        pytest.param(BOOK, flip, BOOK, marks=pytest.mark.long),
        pytest.param(BOOK, gone, BOOK, marks=pytest.mark.long),
        ("store/visits/*.parquet", cut, "store/visits/"),
        pytest.param("store/readings/*.parquet", flip, "store/readings/", marks=pytest.mark.long),
        ("store/faults/*.parquet", gone, "store/faults/"),
        pytest.param("store/visits/_delta_log/*.json", cut, "store/visits/_delta_log/", marks=pytest.mark.long),
        ("store/readings/_delta_log/*.json", flip, "store/readings/_delta_log/"),
    ],
)
def test_damage_is_named_refused_and_mended(capsys, folder, pattern, harm, named):
    before, entries = held(folder), book.read(folder)["bench_book"]
    harm(the_file(folder, pattern))
    code, out, err = run(capsys, "check", "--shop", folder)
    assert (code, err) == (1, [])
    assert any(line.startswith(f"DAMAGED  {named}") for line in out)
    assert any("truerun again --all" in line for line in out)
    path = log(folder, "d.csv", [row("D1")])
    code, out, err = run(capsys, "load", path, "--shop", folder)
    assert (code, out, len(err)) == (2, [], 1)
    assert "is damaged" in err[0]
    assert "truerun check" in err[0]
    if harm is not flip or "sqlite" not in pattern:  # there every page reads on what can still be read
        with pytest.raises(StoreProblem, match=r"is damaged \(.*truerun check"):
            looked_at(folder)
    assert not (folder / "store" / "program.log").exists()
    assert run(capsys, "again", "--all", "--yes", "--shop", folder)[0] == 0
    assert damaged(folder) == []
    same(held(folder), before)
    if pattern != BOOK:
        assert book.read(folder)["bench_book"].equals(entries)
    assert list((folder / "backups").glob("*.truerun"))
    assert run(capsys, "load", path, "--shop", folder)[0] == 0


def test_a_lost_book_loses_no_log_and_what_it_alone_knew_is_named(capsys, folder):
    before = held(folder)
    (folder / BOOK).unlink()
    code, out, _ = run(capsys, "again", "--all", "--shop", folder)
    assert code == 2
    assert not (folder / BOOK).exists()
    code, out, _ = run(capsys, "again", "--all", "--yes", "--shop", folder)
    assert code == 0
    assert any(line.startswith("Lost with book.sqlite") and "limits on file" in line for line in out)
    same(held(folder), before)
    assert sorted(book.active_logs(book.read(folder)["loads"])["name"]) == ["a.csv", "b.csv", "c.csv"]


def test_an_original_never_stands_there_without_its_name(capsys, tmp_path, monkeypatch):
    folder = shop(tmp_path / "shop")
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    later = log(folder, "b.csv", [row("B1")])

    def full(*_args, **_named):
        raise OSError(errno.ENOSPC, "No space left on device")

    for what in ("ingest.verbs.load.index.note", "ingest.verbs.load.originals.keep"):
        with monkeypatch.context() as there:
            there.setattr(what, full)
            with pytest.raises(StoreProblem, match="No space left"):
                load(folder, [later], now=NOW)
        assert [part for part in check(folder, now=NOW) if not part.whole] == []
    names = names_of(folder)
    shutil.rmtree(folder / "store")
    (folder / "book.sqlite").unlink()
    assert run(capsys, "again", "--all", "--yes", "--shop", folder)[0] == 0  # the note of b.csv brings nothing back
    assert names_of(folder) == names == ["a.csv"]


def names_of(folder):
    return open_snapshot(folder).table("logs")["name"].to_list()


def test_a_lost_book_and_store_come_back_from_the_notes_beside_the_originals(capsys, folder):
    before = held(folder)
    (folder / BOOK).unlink()
    shutil.rmtree(folder / "store")
    assert run(capsys, "again", "--all", "--yes", "--shop", folder)[0] == 0
    same(held(folder), before)
    assert damaged(folder) == []


def test_an_unloaded_log_stays_out_when_the_book_is_lost(capsys, folder):
    run(capsys, "unload", "b.csv", "--shop", folder)
    before = held(folder)
    (folder / BOOK).unlink()
    shutil.rmtree(folder / "store")
    assert run(capsys, "again", "--all", "--yes", "--shop", folder)[0] == 0
    same(held(folder), before)


def test_entries_that_can_still_be_read_are_kept(folder):
    path = folder / BOOK
    data = bytearray(path.read_bytes())
    size = int.from_bytes(data[16:18], "big")
    with sqlite3.connect(path) as connection:
        page = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'settled'").fetchone()[0]
    connection.close()
    data[(page - 1) * size : (page - 1) * size + 60] = b"\xff" * 60
    path.write_bytes(bytes(data))
    found = recover.needed(folder)
    assert found is not None
    assert found.held["bench_book"]["text"].to_list() == [f"entry {n}" for n in range(12)]
    recover.carry_out(folder, found, now=NOW)
    assert book.read(folder)["bench_book"].height == 12
    assert book.write_entry(folder, "note", "goes on", "Mo", now=NOW) > found.last_sequence


def test_yes_never_goes_from_something_to_nothing(capsys, folder):
    before = held(folder)
    for path in (folder / "originals").iterdir():
        path.unlink()
    code, _, err = run(capsys, "again", "--all", "--yes", "--shop", folder)
    assert (code, len(err)) == (2, 1)
    assert "nothing would be left of" in err[0]
    same(held(folder), before)
    (folder / BOOK).unlink()
    code, _, err = run(capsys, "again", "--all", "--yes", "--shop", folder)
    assert code == 2
    assert "Nothing was changed" in err[0]
    with ledger.reading(folder) as connection:
        assert ledger.newest(connection).visits == before["visits"].height


def test_the_same_file_puts_a_damaged_original_back(capsys, folder):
    path = next(path for path in (folder / "originals").iterdir() if len(path.name) == 64)
    name = index.read_note(folder, path.name).name
    flip(path)
    assert f"originals/{path.name[:12]}..." in damaged(folder)
    [wrong] = [one for one in check(folder, now=NOW) if one.part.startswith(f"originals/{path.name[:12]}")]
    assert wrong.do == f"truerun load {name} (the same file) puts it back"
    run(capsys, "load", folder / "as_typed" / name, "--shop", folder)
    assert originals.is_there(folder, path.name)
    assert damaged(folder) == []


def test_a_newer_book_or_store_is_refused_politely_and_an_older_book_brought_up(capsys, folder):
    with sqlite3.connect(folder / BOOK) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    code, _, err = run(capsys, "load", log(folder, "d.csv", [row("D1")]), "--shop", folder)
    assert code == 2
    assert "newer Truerun" in err[0]
    with sqlite3.connect(folder / BOOK) as connection:
        connection.execute("PRAGMA user_version = 0")
        connection.execute("ALTER TABLE bench_book DROP COLUMN owner")
    connection.close()
    assert book.read(folder)["bench_book"]["owner"].to_list() == [""] * 12
    book.write_entry(folder, "action", "new files", "Mo", owner="the lead hand", now=NOW)
    assert book.read(folder)["bench_book"]["owner"].to_list() == [""] * 12 + ["the lead hand"]
    with sqlite3.connect(ledger.path_of(folder)) as connection:
        connection.execute("UPDATE format SET format = 99")
    connection.close()
    code, _, err = run(capsys, "check", "--shop", folder)
    assert code == 2
    assert "newer Truerun" in err[0]


def test_a_clock_that_stands_before_the_newest_load_says_so_and_sets_nothing_aside(folder):
    before = held(folder)
    with pytest.raises(StoreProblem, match="clock says 2020-01-01"):
        load(folder, [log(folder, "d.csv", [row("D1")])], now=datetime(2020, 1, 1, tzinfo=NOW.tzinfo))
    same(held(folder), before)


def test_the_first_load_under_a_wrong_clock_says_so_and_sets_nothing_aside(tmp_path):
    folder = shop(tmp_path / "shop")
    with pytest.raises(StoreProblem, match="clock says 2020-01-01"):
        load(folder, [log(folder, "a.csv", [row("A1")])], now=datetime(2020, 1, 1, tzinfo=NOW.tzinfo))
    early = datetime(2025, 6, 1, tzinfo=NOW.tzinfo)
    many = log(folder, "b.csv", [row(f"B{n}") for n in range(30)])
    [file] = load(folder, [many], now=early)
    assert file.outcome == "refused"
    assert "30 of its 30 rows lie after what this machine's clock says (2025-06-01" in file.problem
    os.utime(many, (early.timestamp(),) * 2)
    refuse_later_files([many], now=early)
    with pytest.raises(StoreProblem, match=r"clock says 2025-05-29.*b\.csv was last written on 2025-06-01"):
        refuse_later_files([many], now=early - timedelta(days=3))
    [file] = load(folder, [many], now=NOW)
    assert (file.accepted, file.set_aside) == (30, 0)


def test_rows_of_the_future_are_judged_by_todays_clock_when_asked_again(tmp_path):
    folder = shop(tmp_path / "shop")
    early = datetime(2026, 3, 1, tzinfo=NOW.tzinfo)
    [file] = load(
        folder, [log(folder, "a.csv", [row("A1"), row("A2", start="2026-03-02 10:00", finish="")])], now=early
    )
    assert file.set_aside == 2
    [file] = again(folder, now=early + timedelta(days=2))
    assert (file.accepted, file.set_aside) == (2, 0)
    shutil.rmtree(folder / "store")
    again_all(folder, lambda _: True, now=early + timedelta(days=3))
    assert open_snapshot(folder).table("visits").height == 2


def test_a_lock_that_somebody_holds_is_a_line_and_not_a_wait(folder, monkeypatch):
    monkeypatch.setattr("ingest.store.sqlite_tables.PATIENCE", 0.2)
    for path in (folder / BOOK, ledger.path_of(folder)):
        holder = sqlite3.connect(path, isolation_level=None)
        holder.execute("BEGIN EXCLUSIVE")
        with pytest.raises(Busy, match="Somebody else is writing"):
            load(folder, [log(folder, "d.csv", [row("D1")])], now=NOW)
        with pytest.raises(Busy):
            open_snapshot(folder)
        holder.close()
    load(folder, [log(folder, "d.csv", [row("D1")])], now=NOW)


def test_a_line_is_written_into_the_book_while_a_load_goes_on(folder):
    from ingest.store.store import drafting

    with drafting(folder, NOW):
        assert book.write_entry(folder, "note", "meanwhile", "Mo", now=NOW) > 0


@pytest.mark.parametrize("name", ["my shop", "Müller's", "50 % off", "a#b?c*"])
def test_a_shop_may_be_called_what_people_call_folders(tmp_path, name):
    folder = shop(tmp_path / name / "shop")
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    load(folder, [log(folder, "b.csv", [row("A1"), row("A2")])], now=NOW)
    assert open_snapshot(folder).table("visits").height == 2


def test_a_folder_that_no_table_can_be_kept_under_is_one_line(tmp_path):
    folder = shop(tmp_path / "a[1]" / "shop")
    with pytest.raises(StoreProblem, match="give the folder another name"):
        load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)


def test_a_changed_byte_is_found_though_nothing_in_the_folder_tells_of_it(folder):
    assert damaged(folder) == []
    path = next((folder / "store").glob("*/*.parquet"))
    stood = path.stat()
    flip(path)
    os.utime(path, ns=(stood.st_atime_ns, stood.st_mtime_ns))
    assert damaged(folder) == [f"store/{path.relative_to(folder / 'store').as_posix()}"]
