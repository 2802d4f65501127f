"""The book: append-only, one sequence over all its tables, and two writers at once lose nothing."""

import subprocess
import sys
from datetime import date, timedelta

import polars as pl
import pytest

from ingest.store import book
from ingest.verbs.load import load, unload
from ingest.verbs.sound import latest_load
from tests.ingest.bench import NOW, log, row, shop

WRITER = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from ingest.store import book
for number in range(40):
    said = f"{sys.argv[2]} {number}"
    book.write_entry(Path(sys.argv[1]), "note", said, sys.argv[2], now=datetime(2026, 6, 1, tzinfo=UTC))
"""


def test_an_empty_book_has_empty_tables(tmp_path):
    assert {name: table.height for name, table in book.read(tmp_path).items()} == dict.fromkeys(book.SCHEMAS, 0)
    assert book.last_sequence(tmp_path) == 0
    assert not (tmp_path / book.FILE).exists()


def test_the_sequence_rises_over_all_tables(tmp_path):
    folder = shop(tmp_path)
    row = {
        "characteristic": "relief",
        "position": "",
        "model": "LARK-25",
        "stage": "play_test",
        "tech": "",
        "baseline_from": date(2026, 3, 2),
        "baseline_to": date(2026, 3, 6),
        "holds_from": NOW,
        "centre": 0.2,
        "sigma": 0.05,
        "n": 100,
        "left_out": "[]",
    }
    assert (
        book.write_limits(folder, pl.DataFrame([row, row | {"model": "HERON"}]), "Mo", "first baseline", now=NOW) == 2
    )
    assert (
        book.write_entry(
            folder, "action", "new nut files", "Mo", now=NOW, owner="Jo", due=date(2026, 6, 8), model="LARK-25"
        )
        == 3
    )
    held = book.read(folder)
    assert held["limits_on_file"]["sequence"].to_list() == [1, 2]
    assert held["limits_on_file"].select("model", "centre", "n", "holds_from", "baseline_to").rows()[1] == (
        "HERON",
        0.2,
        100,
        NOW,
        date(2026, 3, 6),
    )
    entry = held["bench_book"].row(0, named=True)
    assert (entry["sequence"], entry["text"], entry["due"], entry["who"], entry["at"], entry["tech"]) == (
        3,
        "new nut files",
        date(2026, 6, 8),
        "Mo",
        NOW,
        "",
    )
    assert book.last_sequence(folder) == 3
    assert book.read(folder, up_to=1)["limits_on_file"].height == 1


def test_an_entry_that_no_book_knows_is_refused(tmp_path):
    with pytest.raises(ValueError, match="no entry 'gossip'"):
        book.write_entry(tmp_path, "gossip", "x", "Mo", now=NOW)
    with pytest.raises(ValueError, match="no column colour"):
        book.write_entry(tmp_path, "note", "x", "Mo", now=NOW, colour="red")


def test_two_writers_at_once_lose_nothing(tmp_path):
    folder = shop(tmp_path)
    writers = [subprocess.Popen([sys.executable, "-c", WRITER, str(folder), name]) for name in ("Mo", "Jo")]
    assert [writer.wait(120) for writer in writers] == [0, 0]
    entries = book.read(folder)["bench_book"]
    assert entries["sequence"].to_list() == list(range(1, 81))
    for name in ("Mo", "Jo"):
        assert entries.filter(pl.col("who") == name)["text"].to_list() == [f"{name} {number}" for number in range(40)]


def test_the_latest_line_of_a_cell_counts_unless_it_is_undone():
    lines = pl.DataFrame(
        {
            "sequence": [1, 2, 3, 4],
            "log_id": ["a"] * 4,
            "line": [2, 2, 3, 3],
            "column": ["relief"] * 4,
            "value": ["1", "2", "3", ""],
            "undone": [False, False, False, True],
        }
    )
    assert book.standing_corrections(lines).select("line", "value").rows() == [(2, "2")]


def test_what_a_load_asks_of_the_book_is_what_the_whole_book_says(tmp_path, monkeypatch):
    folder = shop(tmp_path)
    assert not book.counts(folder, "a")
    assert latest_load(folder, NOW) is None
    assert book.loads(folder, {"a"}).is_empty()
    names = ["a.csv", "b.csv", "c.csv"]
    for turn, name in enumerate([*names, *names]):
        if turn == 3:
            unload(folder, "b.csv", now=NOW)
        load(folder, [log(folder, name, [row(f"{name}{n}") for n in range(3)])], now=NOW + timedelta(minutes=turn))
    unload(folder, "c.csv", now=NOW + timedelta(minutes=7))
    plain, said = book.read(folder), book.Said(folder)
    assert plain["loads"].height == 6
    assert "loads" not in said
    assert all(said[name].equals(lines) for name, lines in plain.items())
    with pytest.raises(KeyError):
        said["other"]
    active = book.active_logs(plain["loads"])
    assert [log_id for log_id in plain["loads"]["log_id"].unique().sort() if book.counts(folder, log_id)] == sorted(
        active["log_id"]
    )
    ago, latest = timedelta(microseconds=1), active["at"].max()
    assert latest < plain["loads"]["at"].max()  # the log that was loaded last counts no longer
    assert latest_load(folder, latest - ago) == latest
    assert latest_load(folder, latest) is None
    some = set(plain["loads"]["sha256"][:2])
    for most in (book.FEW, 0):
        monkeypatch.setattr(book, "FEW", most)
        assert book.loads(folder, some).equals(plain["loads"].filter(pl.col("sha256").is_in(list(some))))
    assert book.verdicts(folder).equals(book.standing_verdicts(plain["settled"]))
