"""What is kept is seen to be as it was written, without reading all of it each time and without letting go of locks."""

import os
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from ingest.store import book, ledger, seals
from ingest.store.problems import StoreProblem
from ingest.store.whole import refuse_damage, wrong_in
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop
from tests.ingest.verbs.damage import flip, full_shop

WRITES = """
import sqlite3, sys
with sqlite3.connect(sys.argv[1], timeout=0) as other:
    other.execute("CREATE TABLE IF NOT EXISTS more (a)")
"""


def _refused(folder) -> str:
    """Why nothing may be written, '' where nothing speaks against it."""
    try:
        refuse_damage(folder)
    except StoreProblem as problem:
        return str(problem)
    return ""


def locked(path) -> bool:
    """Does another process find a database locked?"""
    return "locked" in subprocess.run([sys.executable, "-c", WRITES, path], capture_output=True, text=True).stderr


@pytest.mark.parametrize("most", [0, seals.MOST_OPEN])
@pytest.mark.parametrize("name", ["book.sqlite", "store/ledger.sqlite"])
def test_a_flipped_bit_is_seen_however_a_database_is_read(name, most, tmp_path, monkeypatch):
    folder = full_shop(tmp_path)
    monkeypatch.setattr(seals, "_open", {})
    monkeypatch.setattr(seals, "MOST_OPEN", most)
    assert wrong_in(folder) == []
    stat = (folder / name).stat()
    with (folder / name).open("rb+") as file:  # in its place, under the same times
        file.seek(stat.st_size // 2)
        byte = file.read(1)[0]
        file.seek(stat.st_size // 2)
        file.write(bytes([byte ^ 1]))
    os.utime(folder / name, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    assert [(each.path, "not those that were written" in each.how) for each in wrong_in(folder)] == [(name, True)]


def test_both_ways_of_reading_a_database_say_the_same(tmp_path, monkeypatch):
    folder = full_shop(tmp_path)
    for path in (folder / book.FILE, ledger.path_of(folder)):
        with closing(sqlite3.connect(path)) as connection:
            connection.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()
            beside = seals._stands(connection, path)
            with monkeypatch.context() as patch:
                patch.setattr(seals, "_beside", lambda path: None)
                assert seals._stands(connection, path) == beside


def test_looking_at_a_database_lets_go_of_no_lock(tmp_path):
    folder = full_shop(tmp_path)
    path = ledger.path_of(folder)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        assert locked(path)
        assert seals.wrong_with(folder, path) == ""
        seals.seal(folder, path)
        assert locked(path)
    assert not locked(path)


def test_a_file_that_is_gone_is_kept_open_no_longer(tmp_path, monkeypatch):
    monkeypatch.setattr(seals, "_open", {})
    for number in range(3):
        path = tmp_path / f"{number}"
        path.write_bytes(b"")
        assert seals._beside(path) is not None
        path.unlink()
    (tmp_path / "last").write_bytes(b"")
    seals._beside(tmp_path / "last")
    assert len(seals._open) == 1


def test_files_that_were_read_are_read_again_in_turn(tmp_path, monkeypatch):
    folder = full_shop(tmp_path)
    read = []
    monkeypatch.setattr(seals, "hash_of", lambda path, hash_of=seals.hash_of: (read.append(path), hash_of(path))[1])

    def looked(anew):
        read.clear()
        with ledger.reading(folder) as connection:
            assert seals.wrong_files(connection, folder, anew=anew) == []
        return list(read)

    files = looked(None)
    assert len(files) == len(set(files)) == len(seals.files_of(folder)) > 6
    assert looked(0) == []
    turn = [path for _ in files for path in looked(1)]  # a byte is a file
    assert sorted(turn) == sorted(files)
    assert len(looked(2 * max(path.stat().st_size for path in files))) >= 2


def test_what_has_rotted_since_it_was_read_is_seen_when_its_turn_comes(tmp_path, monkeypatch):
    folder = full_shop(tmp_path)
    assert wrong_in(folder, thorough=True) == []
    path = min((folder / "store" / "visits").glob("*.parquet"))
    flip(path)
    stat = path.stat()
    for seen, reading in list(seals._read.items()):
        if seen[0] == path:  # as if the disk had changed it: no time of the file moved
            del seals._read[seen]
            seals._read[(path, seen[1], stat.st_ino, stat.st_mtime_ns, stat.st_ctime_ns)] = reading
    monkeypatch.setattr(seals, "IN_TURN", 1)
    with ledger.reading(folder) as connection:
        assert seals.wrong_files(connection, folder, anew=0) == []
    found = [_refused(folder) for _ in seals.files_of(folder)]
    assert not found[0]
    assert any(path.name in each for each in found)
    assert [each.path for each in wrong_in(folder, thorough=True)] == [f"store/visits/{path.name}"]


def test_a_file_that_was_written_over_is_seen_by_the_next_load_though_its_time_was_put_back(tmp_path):
    folder = full_shop(tmp_path)
    wrong_in(folder)
    path = min((folder / "store" / "readings").glob("*.parquet"))
    stat = path.stat()
    flip(path)
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    with pytest.raises(StoreProblem, match=path.name):
        load(folder, [log(folder, "d.csv", [row("D1")])], now=NOW)


def test_behind_each_load_everything_is_whole(tmp_path):
    folder = shop(tmp_path)
    for number in range(3):
        load(folder, [log(folder, f"{number}.csv", [row(f"A{number}")])], now=NOW)
        assert wrong_in(folder) == []
