"""Several shops at one target: only what changed is written, nobody reads half of it, and all of it comes out again."""

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from ingest.store import target as targets
from ingest.store.target import Target, TargetProblem, pieces_of
from ingest.verbs import backup, forget, publish, restore
from ingest.verbs.load import load
from ingest.verbs.publish import Facts
from tests.ingest.bench import NOW, log, row, shop
from tests.ingest.store.object_store import object_store

FACTS = Facts("Weir Lane Instruments", "Europe/Dublin", "0.2.0", 1, datetime(2026, 6, 1, tzinfo=UTC), "codes")
TABLES = ("readings", "lots")


def said(*serials, more=0.0):
    """Two logs of readings and one figure."""
    half = len(serials) // 2
    frames = [
        pl.DataFrame({"serial": list(part), "value": [0.25 + more] * len(part)})
        for part in (serials[:half], serials[half:])
    ]
    return {
        "readings": {"log-1": frames[0], "log-2": frames[1]},
        "lots": {"": pl.DataFrame({"lot": ["MP-15"], "mean": [0.1 + more]})},
    }


def read(target, name="weir-lane-instruments"):
    """All rows of a shop as another reads them."""
    found = target.shops().filter(pl.col("shop") == name)
    pieces = pieces_of(found.row(0, named=True))
    return {table: target.rows(name, table, pieces) for table in TABLES}


def files(folder, *, shop="", logs=False):
    """Files of rows below a target, of one shop."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(Path(folder).rglob("*.parquet"))
        if f"shop={shop}" in str(path) and (logs or "_delta_log" not in str(path))
    }


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "shop").mkdir()
    return tmp_path / "shop"


@pytest.fixture
def target(tmp_path):
    return Target(str(tmp_path / "all shops"))


def put(folder, target, tables, facts=FACTS, **more):
    return publish.publish(folder, target, tables, facts, now=NOW, **more)


def test_what_was_published_is_read_back_to_the_last_digit(folder, target):
    rows = said("A1", "A2", "A3", "A4", more=1 / 3)
    done = put(folder, target, rows)
    assert (done.shop, done.version, done.rows) == ("weir-lane-instruments", 1, 5)
    told = read(target)
    assert told["readings"].sort("serial").equals(pl.concat(rows["readings"].values()).sort("serial"))
    assert told["lots"].equals(rows["lots"][""])


def test_the_same_again_writes_nothing_and_a_changed_log_only_its_own_rows(folder, target):
    rows = said("A1", "A2", "A3", "A4")
    put(folder, target, rows)
    before = files(target.address, logs=True)
    assert put(folder, target, rows).version == 0
    assert files(target.address, logs=True) == before
    rows["readings"]["log-2"] = rows["readings"]["log-2"].with_columns(value=pl.lit(9.0))
    done = put(folder, target, rows)
    assert done.written == {"readings": 2}
    assert read(target)["readings"].sort("serial")["value"].to_list() == [0.25, 0.25, 9.0, 9.0]
    assert len(files(target.address, shop="weir-lane-instruments")) == 4  # two of readings, one of lots, its own row


def test_a_log_that_was_unloaded_goes_with_its_files(folder, target):
    rows = said("A1", "A2", "A3", "A4")
    put(folder, target, rows)
    del rows["readings"]["log-1"]
    assert put(folder, target, rows).taken_off == 1
    assert read(target)["readings"]["serial"].to_list() == ["A3", "A4"]
    assert not any(b"A1" in data for data in files(target.address).values())


def test_withdrawing_leaves_no_byte_of_the_rows_and_every_other_shop_as_it_was(tmp_path, folder, target):
    other = tmp_path / "other"
    other.mkdir()
    put(other, target, said("B1", "B2"), called="other")
    theirs = files(target.address, shop="other")
    put(folder, target, said("A1-SECRET", "A2-SECRET"))
    put(folder, target, said("A1-SECRET", "A3-SECRET", more=2.0))
    name, rows = publish.withdraw(folder, target)
    assert (name, rows) == ("weir-lane-instruments", 3)
    assert files(target.address, shop="other") == theirs != {}
    assert list(Path(target.address).rglob("shop=weir*")) == []
    held_by = [path for path in Path(target.address).rglob("*") if path.is_file() and b"SECRET" in path.read_bytes()]
    assert held_by == []
    assert target.shops()["shop"].to_list() == ["other"]
    assert read(target, "other")["readings"]["serial"].to_list() == ["B1", "B2"]
    assert publish.on_file(folder).places == ()
    with pytest.raises(TargetProblem, match="nothing of this shop"):
        publish.withdraw(folder, target)


def test_one_that_is_killed_halfway_changes_nothing_for_readers_and_the_next_one_mends_it(folder, target, monkeypatch):
    rows = said("A1", "A2", "A3", "A4")
    put(folder, target, rows)
    before = read(target)

    def killed(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as at:
        at.setattr(Target, "say", killed)
        with pytest.raises(KeyboardInterrupt):
            put(folder, target, said("A1", "A2", "A3", "A5", more=1.0))
    assert all(read(target)[name].equals(before[name]) for name in TABLES)
    put(folder, target, rows)  # as it was before: nothing to write, but what the other left is taken off
    assert all(read(target)[name].equals(before[name]) for name in TABLES)
    assert len(files(target.address, shop="weir-lane-instruments")) == 3
    assert not any(b"A5" in data for data in files(target.address).values())


def test_one_that_is_killed_after_its_word_is_ended_by_the_next(folder, target, monkeypatch):
    put(folder, target, said("A1", "A2"))
    new = said("A1", "A2", more=1.0)
    with monkeypatch.context() as at:
        at.setattr(Target, "drop", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            put(folder, target, new)
    assert read(target)["lots"].equals(new["lots"][""])
    put(folder, target, new)
    assert len(files(target.address, shop="weir-lane-instruments")) == 3


def test_two_shops_of_one_name_do_not_take_each_others_place(tmp_path, folder, target):
    put(folder, target, said("A1", "A2"))
    other = tmp_path / "other"
    other.mkdir()
    with pytest.raises(TargetProblem, match=r"another shop is published there as 'weir-lane-instruments'.*--as NAME"):
        put(other, target, said("B1", "B2"))
    assert put(other, target, said("B1", "B2"), called="weir-lane-2").shop == "weir-lane-2"
    assert put(other, target, said("B1", "B2")).shop == "weir-lane-2"  # the name it stands under is kept
    with pytest.raises(TargetProblem, match="withdraw it before it takes another name"):
        put(other, target, said("B1", "B2"), called="third")


def test_rows_that_are_not_all_there_are_never_read_as_if_they_were(folder, target):
    put(folder, target, said("A1", "A2"))
    pieces = pieces_of(target.shops().row(0, named=True))
    target.drop("weir-lane-instruments", "readings", [one for one in pieces if one.piece != "log-1"])
    with pytest.raises(
        TargetProblem, match="readings of weir-lane-instruments holds 1 rows of 2; publish that shop again"
    ):
        target.rows("weir-lane-instruments", "readings", pieces)
    path = next(Path(target.address).glob("lots/shop=*/*/*.parquet"))
    path.write_bytes(b"no table")
    with pytest.raises(TargetProblem, match="cannot be used"):
        target.rows("weir-lane-instruments", "lots", pieces)


PUBLISH = """
import sys
from pathlib import Path
from tests.ingest.verbs.test_publish import *
folder = Path(sys.argv[1]); folder.mkdir()
for k in range(4):
    put(folder, Target(sys.argv[2]), said("A1", "A2", more=float(k)), called=folder.name)
"""


@pytest.mark.long
def test_shops_that_publish_at_the_same_moment_do_not_disturb_each_other(tmp_path, target):
    names = ["one", "two", "three"]
    running = [
        subprocess.Popen([sys.executable, "-c", PUBLISH, str(tmp_path / name), target.address], stderr=subprocess.PIPE)
        for name in names
    ]
    assert [(one.communicate()[1].decode()[-300:], one.returncode) for one in running] == [("", 0)] * 3
    assert target.shops()["shop"].sort().to_list() == sorted(names)
    for name in names:
        assert read(target, name)["lots"]["mean"].to_list() == [3.1]


def test_a_first_shop_that_is_just_making_its_tables_keeps_no_other_out(folder, target):
    (Path(target.address) / "readings" / "shop=another").mkdir(parents=True)  # its log comes after its rows
    assert put(folder, target, said("A1", "A2")).version == 1


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("{shop}", "into its own folder or one around it"),
        ("{shop}/inside", "into its own folder or one around it"),
        ("{tmp}", "into its own folder or one around it"),
        ("{file}", "is a file; wanted a folder"),
        ("{full}", "holds something else .letters.txt."),
        ("nowhere://bucket/shops", "cannot be used .Unknown scheme: nowhere"),
    ],
)
def test_a_place_that_cannot_be_one_is_said_in_one_line(tmp_path, folder, address, told):
    (tmp_path / "file").write_text("x")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letters.txt").write_text("x")
    at = address.format(shop=folder, tmp=tmp_path, file=tmp_path / "file", full=tmp_path / "full")
    with pytest.raises(TargetProblem, match=told) as problem:
        put(folder, Target(at), said("A1", "A2"))
    assert "\n" not in str(problem.value)
    assert sorted(path.name for path in (tmp_path / "full").iterdir()) == ["letters.txt"]


def test_tables_of_another_kind_at_the_target_are_said_in_one_line(tmp_path, folder, target):
    put(folder, target, said("A1", "A2"))
    other = tmp_path / "other"
    other.mkdir()
    strange = said("B1", "B2") | {"lots": {"": pl.DataFrame({"lot": ["MP-15"], "mean": ["thick"]})}}
    with pytest.raises(TargetProblem, match="not those of this version of the program") as problem:
        put(other, target, strange, called="other")
    assert "\n" not in str(problem.value)
    assert target.shops()["shop"].to_list() == ["weir-lane-instruments"]


def test_a_later_version_may_add_columns_and_both_are_read(tmp_path, folder, target):
    put(folder, target, said("A1", "A2"))
    other = tmp_path / "other"
    other.mkdir()
    more = said("B1", "B2")
    more["lots"][""] = more["lots"][""].with_columns(sd=pl.lit(0.02))
    put(other, target, more, called="other")
    assert read(target, "other")["lots"]["sd"].to_list() == [0.02]
    assert read(target)["lots"]["mean"].to_list() == [0.1]


@pytest.mark.long
def test_an_object_store_takes_the_same_and_gives_all_of_it_back(folder):
    with object_store() as (kept, options):
        target = Target("s3://bench/shops", options)
        put(folder, target, said("A1", "A2"))
        put(folder, target, said("A1", "A3", more=1.0))
        assert read(target)["readings"].sort("serial")["serial"].to_list() == ["A1", "A3"]
        assert sum(name.endswith(".parquet") and "_delta_log" not in name for name in kept()) == 3
        publish.withdraw(folder, target)
        assert [name for name in kept() if "shop=" in name] == []
        wrong = Target("s3://bench/shops", options | {"aws_access_key_id": "another"})
        with pytest.raises(TargetProblem, match="does --option KEY=VALUE say all") as problem:
            wrong.shops()
        assert "\n" not in str(problem.value)
        assert "of the bench" not in str(problem.value)
    assert "of the bench" not in (folder / publish.FILE).read_text()  # no secret of the store is kept


def test_a_restore_leaves_what_is_known_of_targets_as_it_is_now(tmp_path, target):
    folder = shop(tmp_path / "shop")
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    backup.backup(folder, tmp_path / "b.truerun", now=NOW)
    put(folder, target, said("A1", "A2"))
    there = (folder / publish.FILE).read_bytes()
    restore.restore(folder, tmp_path / "b.truerun", now=NOW)
    assert (folder / publish.FILE).read_bytes() == there
    backup.backup(folder, tmp_path / "c.truerun", now=NOW)
    restore.restore(tmp_path / "moved", tmp_path / "c.truerun", now=NOW)
    assert (tmp_path / "moved" / publish.FILE).read_bytes() == there  # a shop that moved can still take it back


def test_forget_names_every_target_that_holds_rows_of_the_shop(tmp_path, target):
    folder = shop(tmp_path / "shop")
    load(folder, [log(folder, "a.csv", [row("A1", tech="Mary Quill")])], now=NOW)
    put(folder, target, said("A1", "A2"))
    plan = forget.plan_of(folder, "Mary Quill", now=NOW)
    left = forget.carry_out(folder, plan, now=NOW).left
    assert [line for line in left if line.startswith(target.address)] == [
        f"{target.address}: published there before, as weir-lane-instruments; `truerun publish {target.address}` puts "
        "today's rows in their place, --withdraw takes all of them out"
    ]


def test_what_is_kept_of_targets_cannot_be_read_by_others_and_damage_is_one_line(folder, target):
    put(folder, target, said("A1", "A2"))
    assert (folder / publish.FILE).stat().st_mode & 0o077 == 0
    (folder / publish.FILE).write_text("{")
    with pytest.raises(TargetProblem, match=r"published\.json cannot be read"):
        put(folder, target, said("A1", "A2"))
    assert len(publish.not_covered(folder)) == 1  # forget says so too


def test_a_store_of_another_format_is_not_taken_for_ours(folder, target, monkeypatch):
    put(folder, target, said("A1", "A2"))
    monkeypatch.setattr(publish, "FORMAT", targets.FORMAT + 1)
    assert put(folder, target, said("A1", "A2")).written == {"readings": 2, "lots": 1}
    assert len(files(target.address, shop="weir-lane-instruments")) == 3
