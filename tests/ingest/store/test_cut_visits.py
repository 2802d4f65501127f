"""Exports with a row a measurement that overlap: each reading counts once, whatever their order."""

from itertools import permutations

import polars as pl
import pytest

from ingest.store.store import open_snapshot
from ingest.verbs.load import load, unload
from tests.ingest.bench import NOW, account, log, shop

MACHINE = """
[[log]]
name = "machine"
files = "*.csv"
shape = "measurement"
headings = { At = "started_at", Result = "outcome" }
words = { what = { A = "action bass", B = "action treble", R = "relief" } }
units = { action = "mm", relief = "mm" }
"""
HEADER = "At,serial,model,stage,tech,what,value,Result"


def rows(*told: str, of="A1") -> list[str]:
    """Rows such as '13:50 A 2.4' or, where it came back, '13:50 A 2.4 send back'."""
    parts = [text.split(" ", 3) for text in told]
    return [
        f"2026-03-02 {at}:00,{of},LARK-25,play_test,T01,{what},{value},{(more or ['pass'])[0]}"
        for at, what, value, *more in parts
    ]


def morning(n):
    """Visits of other instruments, so that no export tells of half of another's."""
    return [line for at in range(n) for line in rows(f"0{6 + at}:00 A 2.{at}", of=f"M{at}")]


def evening(n):
    return [line for at in range(n) for line in rows(f"2{at}:00 A 2.{at}", of=f"E{at}")]


ONE = ["13:50 A 2.4", "13:55 B 2.1", "14:05 R 0.20"]
ENDS = ["14:20 A 2.6", "14:21 B 2.2", "14:25 R 0.10 send back"]
FILES = {
    "early.csv": morning(3) + rows(*ONE) + rows(*ENDS[:2], of="A2"),
    "late.csv": rows(*ONE[1:]) + rows(*ENDS, of="A2") + evening(3),
}


def told(folder):
    """What counts of the two: when, what; and where each visit began and how it ended."""
    snapshot = open_snapshot(folder)
    readings = snapshot.table("readings").filter(pl.col("serial").str.starts_with("A"))
    visits = snapshot.table("visits").filter(pl.col("serial").str.starts_with("A"))
    at = pl.col("taken_at").dt.strftime("%H:%M")
    return (
        readings.select("serial", at, "characteristic", "position", "value").sort("serial", "taken_at").rows(),
        visits.select("serial", pl.col("started_at").dt.strftime("%H:%M"), "outcome")
        .sort("serial", "started_at")
        .rows(),
    )


WANTED = (
    [
        ("A1", "13:50", "action", "bass", 2.4),
        ("A1", "13:55", "action", "treble", 2.1),
        ("A1", "14:05", "relief", "", 0.2),
        ("A2", "14:20", "action", "bass", 2.6),
        ("A2", "14:21", "action", "treble", 2.2),
        ("A2", "14:25", "relief", "", 0.1),
    ],
    [("A1", "13:50", "pass"), ("A2", "14:20", "send back")],
)


@pytest.mark.parametrize("order", list(permutations(FILES)))
@pytest.mark.parametrize("at_once", [True, False])
def test_what_two_exports_tell_of_a_visit_that_an_edge_has_cut_counts_once_in_any_order(tmp_path, order, at_once):
    folder = shop(tmp_path / "shop", MACHINE)
    paths = [log(folder, name, FILES[name], HEADER) for name in order]
    for given in [paths] if at_once else [[path] for path in paths]:
        load(folder, given, now=NOW)
    assert told(folder) == WANTED
    snapshot = open_snapshot(folder)
    assert snapshot.table("set_aside").is_empty()
    for name in FILES:
        read, accepted, changed, held, *rest = account(snapshot, name)
        assert (read, accepted + changed, held, *rest) == (8, 6, 2, 0, 0, 0)


@pytest.mark.parametrize("gone", FILES)
def test_what_another_export_stood_for_comes_back_when_it_is_taken_out(tmp_path, gone):
    both, alone = (shop(tmp_path / name, MACHINE) for name in ("both", "alone"))
    load(both, [log(both, name, FILES[name], HEADER) for name in FILES], now=NOW)
    unload(both, gone, now=NOW)
    [left] = FILES.keys() - {gone}
    load(alone, [log(alone, left, FILES[left], HEADER)], now=NOW)
    assert told(both) == told(alone)


def test_a_visit_longer_than_the_overlap_has_each_reading_once(tmp_path):
    stores = []
    for order in permutations(("one.csv", "two.csv")):
        folder = shop(tmp_path / order[0], MACHINE)
        files = {
            "one.csv": morning(3) + rows("13:50 A 2.4", "13:55 B 2.1"),
            "two.csv": rows("13:55 B 2.1", "14:05 R 0.20") + evening(3),
        }
        for name in order:
            load(folder, [log(folder, name, files[name], HEADER)], now=NOW)
        stores.append(told(folder))
    assert stores[0] == stores[1]
    assert [row[1] for row in stores[0][0]] == ["13:50", "13:55", "14:05"]


def test_the_same_value_measured_again_at_another_moment_is_another_reading(tmp_path):
    folder = shop(tmp_path / "shop", MACHINE)
    files = {"one.csv": rows("13:50 A 2.4", "13:55 B 2.1"), "two.csv": rows("14:05 B 2.1") + evening(3)}
    load(folder, [log(folder, name, told, HEADER) for name, told in files.items()], now=NOW)
    assert [row[1] for row in told(folder)[0]] == ["13:50", "13:55", "14:05"]
