"""The verbs: what a log brings in, what it does not, and that the order of loading does not matter."""

import shutil
import sqlite3

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from ingest.shopfiles.shop import ShopProblem
from ingest.store import book
from ingest.store.accounts import CONFLICT
from ingest.store.problems import StoreProblem
from ingest.store.store import open_snapshot
from ingest.verbs.again import again_all
from ingest.verbs.load import ensure, load, unload
from ingest.verbs.loaded import Loaded
from tests.ingest.bench import GROWING, NOW, account, held, log, row, shop


def same(one: dict[str, pl.DataFrame], other: dict[str, pl.DataFrame]) -> None:
    assert one.keys() == other.keys()
    for name in one:
        assert_frame_equal(one[name], other[name])


def adds_up(file: Loaded) -> bool:
    return file.rows_read == file.accepted + file.changed + file.already_held + file.set_aside


def test_a_regular_log_is_held_as_typed(tmp_path):
    folder = shop(tmp_path)
    [file] = load(
        folder,
        [log(folder, "a.csv", [row("A1", fault="open-string buzz", outcome="fixed"), row("A2", relief=".012 in")])],
        now=NOW,
    )
    assert (file.outcome, file.rows_read, file.accepted, file.set_aside) == ("loaded", 2, 2, 0)
    snapshot = open_snapshot(folder)
    assert snapshot.version == 1
    assert snapshot.table("visits", "serial", "outcome").sort("serial").rows() == [("A1", "fixed"), ("A2", "pass")]
    relief = snapshot.table("readings").filter(pl.col("characteristic") == "relief").sort("serial")
    assert relief["value"].to_list() == pytest.approx([0.2, 0.3048])
    assert relief["raw"].to_list() == ["0.20", ".012 in"]
    assert snapshot.table("faults", "serial", "fault", "line").rows() == [("A1", "open-string buzz", 2)]
    assert (folder / "originals").is_dir()


def test_the_same_file_again_changes_nothing_and_says_so(tmp_path):
    folder = shop(tmp_path)
    path = log(folder, "a.csv", [row("A1")])
    load(folder, [path], now=NOW)
    before = held(folder)
    [file] = load(folder, [path], now=NOW)
    assert file.outcome == "already loaded"
    same(held(folder), before)
    assert open_snapshot(folder).version == 1


def test_the_same_file_twice_in_one_call_is_loaded_once(tmp_path):
    folder = shop(tmp_path)
    path = log(folder, "a.csv", [row("A1")])
    assert [file.outcome for file in load(folder, [path, path], now=NOW)] == ["loaded", "already loaded"]
    assert open_snapshot(folder).table("visits").height == 1


def test_a_visit_in_two_logs_is_held_once(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1"), row("A2"), row("A4")])], now=NOW)
    [file] = load(folder, [log(folder, "b.csv", [row("A2"), row("A3"), row("A3")])], now=NOW)
    assert (file.rows_read, file.accepted, file.already_held) == (3, 1, 2)
    assert open_snapshot(folder).table("visits")["serial"].sort().to_list() == ["A1", "A2", "A3", "A4"]
    assert open_snapshot(folder).table("readings").height == 8


def test_rows_of_a_day_without_a_clock_are_told_apart_by_their_place(tmp_path):
    folder = shop(tmp_path)
    twice = [row("A1", start="2026-03-02", finish=""), row("A1", start="2026-03-02", finish="", relief="0.25")]
    load(folder, [log(folder, "a.csv", twice)], now=NOW)
    [file] = load(folder, [log(folder, "b.csv", [*twice, row("A9")])], now=NOW)
    assert open_snapshot(folder).table("visits").height == 3
    assert (file.accepted, file.already_held) == (1, 2)


@pytest.mark.parametrize("order", [("a.csv", "b.csv"), ("b.csv", "a.csv")])
def test_the_same_visit_with_other_values_is_a_question_and_one_log_counts(tmp_path, order):
    folder = shop(tmp_path)
    paths = {
        "a.csv": log(folder, "a.csv", [row("A1", relief="0.20"), row("A2"), row("A4")]),
        "b.csv": log(folder, "b.csv", [row("A1", relief="0.35"), row("A3"), row("A5")]),
    }
    for name in order:
        load(folder, [paths[name]], now=NOW)
    snapshot = open_snapshot(folder)
    counted = snapshot.table("readings").filter((pl.col("serial") == "A1") & (pl.col("characteristic") == "relief"))
    [(value, log_id)] = counted.select("value", "log_id").rows()
    asked = snapshot.table("set_aside")
    assert asked["reason"].to_list() == [CONFLICT]
    assert ("0.20" if value == 0.35 else "0.35") in asked["raw"].item()
    for name in order:
        read, accepted, changed, already, aside, cells, _ = account(snapshot, name)
        assert read == accepted + changed + already + aside == 3
        assert aside == (0 if snapshot.table("logs").filter(pl.col("name") == name)["log_id"].item() == log_id else 1)
        assert cells == 0


@pytest.mark.parametrize("late", [False, True])
def test_of_two_logs_that_overlap_the_one_that_ends_earlier_counts_and_what_another_loses_is_said(tmp_path, late):
    """A week's file, then one of the next week that tells of its last day once more with other values."""
    folder = shop(tmp_path)
    monday = [row(f"A{n}", start="2026-03-02 09:00", finish="") for n in range(30)]
    friday = [f"B{n}" for n in range(12)]
    first = log(folder, "one.csv", [*monday, *(row(who, start="2026-03-06 09:00", finish="") for who in friday)])
    again = [row(who, start="2026-03-06 09:00", finish="", relief="0.33") for who in friday]
    later = [row(f"C{n}", start="2026-03-09 09:00", finish="") for n in range(30)]
    second = log(folder, "two.csv", [*again, *later])
    told = {}
    for path in (second, first) if late else (first, second):
        [told[path.name]] = load(folder, [path], now=NOW)
    aside = open_snapshot(folder).table("set_aside")
    assert aside.select("name", "reason").unique().rows() == [("two.csv", CONFLICT)]
    assert aside.height == 12
    lost = [note for file in told.values() for note in file.notes if "counted so far" in note]
    assert [note.split(" counted")[0] for note in lost] == (["12 rows of two.csv"] if late else [])


def test_of_three_rows_of_one_visit_two_alike_ask_one_question(tmp_path):
    stores = []
    for number, order in enumerate([("0.20", "0.35", "0.20 "), ("0.35", "0.20", "0.20 "), ("0.20", "0.20 ", "0.35")]):
        folder = shop(tmp_path / str(number))
        for name, relief in enumerate(order):
            load(
                folder,
                [
                    log(
                        folder,
                        f"{name}.csv",
                        [row("A1", relief=relief), *(row(f"{letter}{relief.strip()}{len(relief)}") for letter in "YZ")],
                    )
                ],
                now=NOW,
            )
        stores.append(held(folder, where=False))
        assert stores[-1]["set_aside"].height == 1
    for other in stores[1:]:
        same(stores[0], other)


CELLS = st.sampled_from(["0.20", "0.25", "9", "x"])
ROWS = st.builds(
    row,
    st.sampled_from(["A1", "A2", "A3", ""]),
    stage=st.sampled_from(["play_test", "packing", "attic"]),
    tech=st.sampled_from(["T01", ""]),
    start=st.sampled_from(["2026-03-02 09:00", "2026-03-02", "2026-04-31"]),
    finish=st.just(""),
    relief=CELLS,
)


@pytest.mark.long
@settings(max_examples=6)
@given(st.lists(st.lists(ROWS, min_size=1, max_size=5), min_size=2, max_size=3), st.randoms(use_true_random=False))
def test_logs_in_any_order_give_the_same_store(tmp_path_factory, files, random):
    stores = []
    for _ in range(2):
        folder = shop(tmp_path_factory.mktemp("shop"))
        paths = [log(folder, f"{number}.csv", rows) for number, rows in enumerate(files)]
        random.shuffle(paths)
        for file in [result for path in paths for result in load(folder, [path], now=NOW)]:
            assert file.outcome == "refused" or adds_up(file)
        stores.append(held(folder, where=False))
        sums = open_snapshot(folder).table("logs")
        assert sums["accepted"].sum() + sums["changed"].sum() == stores[-1]["visits"].height
    same(*stores)


def test_one_call_and_one_by_one_give_the_same_store(tmp_path):
    rows = {
        "a.csv": [row("A1"), row("A2")],
        "b.csv": [row("A2"), row("A1", relief="0.9")],
        "c.csv": [row("A1", relief="0.4"), row("A5")],
    }
    together, apart = shop(tmp_path / "together"), shop(tmp_path / "apart")
    load(together, [log(together, name, text) for name, text in rows.items()], now=NOW)
    for name, text in rows.items():
        load(apart, [log(apart, name, text)], now=NOW)
    same(held(together), held(apart))
    assert open_snapshot(together).version == 1


def test_unloading_gives_back_what_the_log_had_made_already_held(tmp_path):
    folder, alone = shop(tmp_path / "shop"), shop(tmp_path / "alone")
    first, second = (
        [row("A1"), row("A2", relief="0.9")],
        [row("A1"), row("A2", relief="0.3"), row("A3", start="2026-03-02 10:00", finish="")],
    )
    load(folder, [log(folder, "a.csv", first), log(folder, "b.csv", second)], now=NOW)
    load(alone, [log(alone, "b.csv", second)], now=NOW)
    unload(folder, "a.csv", now=NOW)
    same(held(folder), held(alone))
    assert open_snapshot(folder).version == 2
    load(folder, [log(folder, "a.csv", first)], now=NOW)
    assert open_snapshot(folder).table("visits").height == 3


def test_an_older_version_stays_readable(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    load(folder, [log(folder, "b.csv", [row("A2"), row("A3", relief="x")])], now=NOW)
    unload(folder, "a.csv", now=NOW)
    visits = {n: open_snapshot(folder, version=n).table("visits")["serial"].sort().to_list() for n in (1, 2, 3)}
    assert visits == {1: ["A1"], 2: ["A1", "A2", "A3"], 3: ["A2", "A3"]}
    assert [open_snapshot(folder, version=n).table("set_aside").height for n in (1, 2, 3)] == [0, 1, 1]
    with pytest.raises(StoreProblem, match="no version 9"):
        open_snapshot(folder, version=9)


def test_a_sheet_that_grows_replaces_the_same_visits(tmp_path):
    folder = shop(tmp_path, GROWING)
    load(folder, [log(folder, "grow1.csv", [row("A1", outcome=""), row("A2")])], now=NOW)
    [newer] = load(folder, [log(folder, "grow2.csv", [row("A1", outcome="pass"), row("A2"), row("A3")])], now=NOW)
    assert (newer.accepted, newer.changed, newer.already_held, newer.set_aside) == (1, 1, 1, 0)
    snapshot = open_snapshot(folder)
    assert dict(snapshot.table("visits", "serial", "outcome").rows()) == {"A1": "pass", "A2": "pass", "A3": "pass"}
    assert account(snapshot, "grow1.csv") == (2, 1, 0, 1, 0, 0, 0)
    unload(folder, "grow2.csv", now=NOW)
    assert dict(open_snapshot(folder).table("visits", "serial", "outcome").rows()) == {"A1": "open", "A2": "pass"}


def test_a_mended_file_takes_the_place_of_a_log(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1"), row("A2"), row("A4")])], now=NOW)
    [file] = load(
        folder,
        [log(folder, "a_mended.csv", [row("A1"), row("A2", relief="0.5"), row("A5")])],
        replaces="a.csv",
        now=NOW,
    )
    assert (file.accepted, file.changed) == (2, 1)
    snapshot = open_snapshot(folder)
    assert snapshot.table("logs")["name"].to_list() == ["a_mended.csv"]
    assert snapshot.table("visits")["serial"].sort().to_list() == ["A1", "A2", "A5"]
    before = held(folder)
    shutil.rmtree(folder / "store")
    ensure(folder, now=NOW)
    same(held(folder), before)


def test_a_row_an_instrument_is_accounted_by_its_line(tmp_path):
    folder = shop(tmp_path, GROWING)
    header = (
        "serial,model,date @ play_test,relief @ play_test (mm),date @ final_inspection,relief @ final_inspection (mm)"
    )
    rows = ["A1,LARK-25,2026-03-02,0.2,2026-03-03,0.3", "A2,LARK-25,2026-03-02,0.2,,"]
    [one] = load(folder, [log(folder, "wide1.csv", rows, header)], now=NOW)
    assert (one.rows_read, one.accepted) == (2, 2)
    [two] = load(
        folder, [log(folder, "wide2.csv", [rows[0], "A2,LARK-25,2026-03-02,0.2,2026-03-04,0.1"], header)], now=NOW
    )
    assert adds_up(two)
    assert (two.already_held, two.accepted) == (1, 1)
    assert open_snapshot(folder).table("visits").height == 4


def test_check_says_all_and_changes_nothing(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    [file] = load(folder, [log(folder, "b.csv", [row("A1"), row("A1", tech="T02", relief="x")])], check=True, now=NOW)
    assert (file.already_held, file.accepted, file.cells_set_aside) == (1, 1, 1)
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file() and path.name != "b.csv"} == before


def test_check_on_a_new_shop_leaves_no_store(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")])], check=True, now=NOW)
    assert sorted(path.name for path in folder.iterdir()) == ["as_typed", "shop.toml"]


@pytest.mark.long
def test_a_log_whose_rows_wait_on_disk_is_the_same_in_the_store(tmp_path, monkeypatch):
    rows = [
        row(f"A{n}", stage=("nowhere", "play_test")[n % 20 > 0], relief=("x", "0.2")[n % 7 > 0]) for n in range(300)
    ]
    more = [row(f"A{n}", relief="0.3") for n in range(250, 320)]
    for name in ("in memory", "on disk"):
        told: list[tuple[float, str]] = []
        if name == "on disk":
            monkeypatch.setattr("ingest.reading.pieces.MANY", 50)
            monkeypatch.setattr("ingest.reading.files.PIECE", 2_000)
            monkeypatch.setattr("ingest.store.waiting.FLUSH_AT", 100)
        folder = shop(tmp_path / name)
        became = load(folder, [log(folder, "a.csv", rows)], now=NOW)
        note = told.append
        became += load(folder, [log(folder, "b.csv", more)], now=NOW, progress=lambda *at, note=note: note(at))
        unload(folder, "a.csv", now=NOW)
        again_all(folder, lambda _: True, now=NOW)
        monkeypatch.undo()
        accounts = [(file.rows_read, file.accepted, file.set_aside, file.cells_set_aside) for file in became]
        held_here = {key: table.sort(table.columns) for key, table in held(folder).items()}
        if name == "in memory":
            before = accounts, held_here
        assert accounts == before[0]
        same(held_here, before[1])
        assert not list((folder / "store").glob("reading/*"))
        shares = [share for share, _ in told]
        assert shares == sorted(shares)
        assert told[-1] == (1.0, "b.csv: taking in 70 of 70 visits")


def test_files_stand_or_fall_one_by_one(tmp_path):
    folder = shop(tmp_path)
    bad = log(folder, "bad.csv", ["1,2"], header="this,that")
    files = load(folder, [bad, log(folder, "a.csv", [row("A1")]), folder, folder / "none.csv"], now=NOW)
    assert [file.outcome for file in files] == ["refused", "loaded", "refused", "refused"]
    assert all("\n" not in file.problem for file in files)
    assert open_snapshot(folder).table("logs")["name"].to_list() == ["a.csv"]


def test_a_deleted_store_is_made_again_the_same(tmp_path):
    folder = shop(tmp_path)
    load(
        folder,
        [log(folder, f"{n}.csv", [row(f"A{n}"), row(f"B{n // 2}", relief=f"0.{n}1")]) for n in range(1, 6)],
        now=NOW,
    )
    unload(folder, "3.csv", now=NOW)
    before = held(folder)
    shutil.rmtree(folder / "store")
    assert ensure(folder, now=NOW)
    same(held(folder), before)


def test_a_newer_store_is_refused_politely_and_left_alone(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    with sqlite3.connect(folder / "store" / "ledger.sqlite") as connection:
        connection.execute("UPDATE format SET format = 99")
    connection.close()
    for work in (lambda: open_snapshot(folder), lambda: load(folder, [log(folder, "b.csv", [row("A2")])], now=NOW)):
        with pytest.raises(StoreProblem, match="newer Truerun") as problem:
            work()
        assert "\n" not in str(problem.value)


def test_an_older_store_is_made_again_from_the_originals(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    before = held(folder)
    with sqlite3.connect(folder / "store" / "ledger.sqlite") as connection:
        connection.execute("UPDATE format SET format = 0")
        connection.execute("DROP TABLE logs")
    connection.close()
    load(folder, [log(folder, "b.csv", [row("A2")])], now=NOW)
    unload(folder, "b.csv", now=NOW)
    same(held(folder), before)


def test_an_original_that_is_damaged_is_a_question_not_a_silent_loss(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")]), log(folder, "b.csv", [row("A2")])], now=NOW)
    sha = book.active_logs(book.read(folder)["loads"])["sha256"][0]
    (folder / "originals" / sha).write_bytes(b"something else")
    shutil.rmtree(folder / "store")
    ensure(folder, now=NOW)
    snapshot = open_snapshot(folder)
    assert snapshot.table("visits")["serial"].to_list() == ["A2"]
    assert "not as it came" in snapshot.table("set_aside")["reason"].item()


def test_no_shop_is_one_line(tmp_path):
    with pytest.raises(
        ShopProblem, match=r"^(No shop\.toml in|There is no folder) '.*'\. Begin with a sheet of your own"
    ):
        load(tmp_path, [tmp_path / "a.csv"], now=NOW)


def test_no_row_after_as_of_is_seen(tmp_path):
    folder = shop(tmp_path)
    later = row("A2", start="2026-03-05 09:00", finish="2026-03-05 09:30", fault="open-string buzz", outcome="fixed")
    load(folder, [log(folder, "a.csv", [row("A1", fault="open-string buzz", outcome="fixed"), later])], now=NOW)
    full = open_snapshot(folder)
    assert full.as_of.isoformat() == "2026-03-05T09:30:00+00:00"
    early = open_snapshot(folder, as_of=full.as_of.replace(day=4))
    for name in ("visits", "readings", "faults"):
        assert early.table(name)["serial"].unique().to_list() == ["A1"]
