"""Of two rows of one visit the one that says all that the other says, and more, counts: in any order, unasked."""

from itertools import permutations

import polars as pl
import pytest

from ingest.store.store import open_snapshot
from ingest.verbs.load import load, unload
from ingest.verbs.mend import settle
from tests.ingest.bench import NOW, account, log, row, shop

OPEN = {"finish": "", "outcome": "", "relief": "", "action": ""}
FILES = {
    "a.csv": [row("M1"), row("M2"), row("M3"), row("X", **OPEN)],
    "b.csv": [row("X", **OPEN), row("Q1"), row("Q2"), row("Q3")],
    "c.csv": [row("X", outcome="send back", relief="0.31"), row("E1"), row("E2"), row("E3")],
}


def told(folder):
    snapshot = open_snapshot(folder)
    mine = pl.col("serial") == "X"
    visits = snapshot.table("visits").filter(mine)["outcome"].to_list()
    readings = snapshot.table("readings").filter(mine).sort("characteristic")["value"].to_list()
    return visits, readings, snapshot.table("set_aside").height


@pytest.mark.parametrize("order", list(permutations(FILES)))
def test_a_row_that_was_open_gives_way_to_the_same_row_when_it_is_finished(tmp_path, order):
    folder = shop(tmp_path / "shop")
    for name in order:
        load(folder, [log(folder, name, FILES[name])], now=NOW)
    assert told(folder) == (["send back"], [2.4, 0.31], 0)
    snapshot = open_snapshot(folder)
    assert [sum(account(snapshot, name)[1:3]) for name in FILES] == [3, 3, 4]  # accepted, changed
    assert [account(snapshot, name)[3] for name in FILES] == [1, 1, 0]
    unload(folder, "c.csv", now=NOW)
    assert told(folder) == (["open"], [], 0)


def test_rows_that_each_say_what_the_other_lacks_are_a_question_as_before(tmp_path):
    folder = shop(tmp_path / "shop")
    files = {"a.csv": [row("M1"), row("M2"), row("X", relief="")], "c.csv": [row("X", action=""), row("E1"), row("E2")]}
    load(folder, [log(folder, name, lines) for name, lines in files.items()], now=NOW)
    assert told(folder)[2] == 1


def test_what_a_person_took_stays(tmp_path):
    folder = shop(tmp_path / "shop")
    contradicting = {
        "a.csv": [row("M1"), row("M2"), row("X", relief="0.20")],
        "c.csv": [row("X", relief="0.30"), row("E1")],
    }
    load(folder, [log(folder, name, lines) for name, lines in contradicting.items()], now=NOW)
    question = open_snapshot(folder).table("set_aside").row(0, named=True)
    settle(folder, question["log_id"], question["line"], question["column"], "take new", who="me", why="seen", now=NOW)
    taken = told(folder)[1]
    load(folder, [log(folder, "later.csv", [row("X", **OPEN), row("L1"), row("L2")])], now=NOW)
    assert told(folder)[1] == taken


def test_a_load_that_only_looks_says_the_same(tmp_path):
    folders = [shop(tmp_path / name) for name in ("looks", "loads")]
    contradicting = [row("X", outcome="fixed", relief="0.55"), row("L1"), row("L2")]
    told = []
    for folder, check in zip(folders, (True, False), strict=True):
        files = [log(folder, name, FILES[name]) for name in FILES] + [log(folder, "d.csv", contradicting)]
        came = load(folder, files, check=check, now=NOW)
        told.append(
            [(one.accepted, one.changed, one.already_held, one.set_aside, one.questions.height) for one in came]
        )
    assert told[0] == told[1]
