"""Tables kept beside the store: read back as they were given; nobody keeps one in a shop that somebody has been
forgotten in since.
"""

import shutil
import subprocess
import sys
from contextlib import closing

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from ingest.store import delta, keeping, kept_tables
from ingest.store.snapshot import Damaged, Laid, Runs
from ingest.store.store import open_snapshot
from ingest.store.worked_out import alone_in
from ingest.terms import tables
from ingest.verbs import forget
from ingest.verbs.load import load, unload
from ingest.verbs.mend import correct
from tests.ingest.bench import NOW, log, row, shop


@pytest.fixture
def folder(tmp_path):
    folder = shop(tmp_path / "shop")
    rows = [row("A1", tech="T07"), row("A2", tech="T08"), row("A3", tech="T08", relief="0.30")]
    load(folder, [log(folder, "a.csv", rows)], now=NOW)
    return folder


ROWS = pl.DataFrame(
    {
        "word": pl.Series(["b", None, "ä", "b", ""], dtype=pl.Categorical),
        "text": ["x" * 20, "y", None, "", "x" * 20],
        "number": [1.5, None, float("inf"), -0.0, 5e-324],
        "at": [NOW, None, NOW, NOW, NOW],
        "yes": [True, False, None, True, True],
        "day": [NOW.date()] * 5,
    }
)


def given(rows, *, table="table"):
    return {table: {name: (lambda name=name: rows[name]) for name in rows.columns}}


def keep(folder, key="mine", rows=ROWS):
    return open_snapshot(folder).kept_tables.keep(key, "kin", given(rows))


def there(folder):
    return [path.name for path in (folder / "store" / kept_tables.FOLDER).iterdir()]


def test_a_table_is_read_back_as_it_was_given_empty_ones_too(folder):
    keep(folder)
    kept = open_snapshot(folder).kept_tables.of("mine")
    assert (kept.tables, kept.height("table"), kept.columns("table")) == (["table"], 5, ROWS.columns)
    assert kept.frame("table").schema == ROWS.schema
    assert_frame_equal(kept.frame("table"), ROWS, check_exact=True)
    for rows in (ROWS.clear(), ROWS.filter(pl.col("word").is_null())):
        assert_frame_equal(keep(folder, f"key {len(rows)}", rows).frame("table"), rows, check_exact=True)


def test_a_column_that_nobody_kept_is_no_damage(folder):
    kept = keep(folder)
    with pytest.raises(pl.exceptions.ColumnNotFoundError):
        kept.column("table", "other")
    assert there(folder)


def test_a_damaged_file_is_damaged_to_whoever_reads_it_and_takes_the_rest_along(folder):
    kept = keep(folder)
    path = next(path for path in kept.path.glob("*.numbers"))
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    with pytest.raises(Damaged):
        kept.frame("table")
    assert there(folder) == []


def test_two_who_keep_the_same_at_once_both_read_it_whole(folder):
    one, other = (open_snapshot(folder) for _ in range(2))

    def meanwhile():
        assert other.kept_tables.keep("mine", "kin", given(ROWS[["text"]])) is not None
        return ROWS["text"]

    for _ in range(2):  # the second time it stands there already
        assert_frame_equal(
            one.kept_tables.keep("mine", "kin", {"table": {"text": meanwhile}}).frame("table"), ROWS[["text"]]
        )
    assert len(there(folder)) == 1


def test_two_processes_at_once_keep_and_read_the_same(folder):
    code = """
import sys
from pathlib import Path
import polars as pl
from ingest.store import kept_tables
from ingest.store.store import open_snapshot
kept_tables.TURNS = 100
place = open_snapshot(Path(sys.argv[1])).kept_tables
for turn in range(15):
    rows = pl.Series("a", [f"row {turn} {n}" for n in range(300)])
    kept = place.keep(f"key {turn}", "kin", {"table": {"a": lambda: rows}})  # None where the other one holds the ledger
    assert kept is None or kept.frame("table")["a"].to_list() == rows.to_list()
"""
    both = [subprocess.Popen([sys.executable, "-c", code, str(folder)], stderr=subprocess.PIPE) for _ in range(2)]
    told = [one.communicate()[1].decode() for one in both]
    assert [one.returncode for one in both] == [0, 0], told
    assert 1 <= len(there(folder)) <= 15
    assert not (folder / "store" / "program.log").exists()


def test_the_newest_of_a_kin_is_found_and_few_stay(folder):
    place = open_snapshot(folder).kept_tables
    for number in range(4):
        place.keep(f"key {number}", "kin" if number < 3 else "other", given(ROWS.head(number)))
    assert place.newest("kin").height("table") == 2
    assert place.newest("none") is None
    assert len(there(folder)) == kept_tables.TURNS


def test_what_somebody_gave_up_writing_goes_after_a_while(folder, monkeypatch):
    part = folder / "store" / kept_tables.FOLDER / ".part"
    part.mkdir(parents=True)
    keep(folder)
    assert part.exists()
    monkeypatch.setattr(kept_tables, "ABANDONED", -1)
    keep(folder, "other")
    assert not part.exists()


def test_nothing_is_kept_of_a_version_that_is_gone_nor_while_somebody_writes(folder):
    before = open_snapshot(folder)
    keep(folder)
    forget.forget(folder, "T07", now=NOW)
    assert not (folder / "store" / kept_tables.FOLDER).exists()
    told = given(pl.DataFrame({"a": ["T07 did it"]}))
    assert before.kept_tables.keep("mine", "kin", told) is None
    assert not any(b"T07" in path.read_bytes() for path in (folder / "store").rglob("*") if path.is_file())
    now = open_snapshot(folder)
    with closing(alone_in(folder)):
        assert now.kept_tables.keep("mine", "kin", told) is None
    assert now.kept_tables.keep("mine", "kin", told) is not None


def test_who_is_forgotten_while_tables_are_being_written_is_in_none(folder):
    now = open_snapshot(folder)

    def meanwhile():
        forget.forget(folder, "T07", now=NOW)
        return pl.Series("a", ["T07 did it"])

    told = {"table": {"a": meanwhile, "b": lambda: pl.Series("b", ["T07 did it"])}}
    assert now.kept_tables.keep("mine", "kin", told) is None
    assert not any(b"T07" in path.read_bytes() for path in (folder / "store").rglob("*") if path.is_file())


def moved(folder, kept, monkeypatch, table="readings"):
    monkeypatch.setattr(kept_tables, "SOME", 1e9)
    rows = open_snapshot(folder).kept_tables.moved(kept, table)
    names = open_snapshot(folder).table("logs", "log_id", "name")
    return sorted(rows.join(names, on="log_id", how="left").select("name", "line").rows())


def test_visits_are_told_whose_rows_came_went_or_changed_and_no_others(folder, monkeypatch):
    kept = keep(folder)
    assert moved(folder, kept, monkeypatch) == []
    load(folder, [log(folder, "b.csv", [row("B1"), row("B2")])], now=NOW)
    assert moved(folder, kept, monkeypatch) == [("b.csv", 2), ("b.csv", 3)]
    correct(folder, "a.csv", 3, "relief (mm)", "0.9", who="Mo", why="slip", now=NOW)
    assert moved(folder, kept, monkeypatch) == [("a.csv", 3), ("b.csv", 2), ("b.csv", 3)]
    correct(folder, "a.csv", 3, "relief (mm)", None, who="Mo", why="no", now=NOW)
    unload(folder, "b.csv", now=NOW)
    assert moved(folder, kept, monkeypatch) == []


def test_rows_of_files_that_were_only_put_together_did_not_move(folder, monkeypatch):
    for name in "bcd":
        load(folder, [log(folder, f"{name}.csv", [row(f"{name}{n}") for n in range(5)])], now=NOW)
    kept = keep(folder)
    monkeypatch.setattr(delta, "MANY_FILES", 2)
    load(folder, [log(folder, "e.csv", [row("E1")])], now=NOW)
    now = open_snapshot(folder).kept_tables
    assert len(now._held["readings"].files()) == 1
    assert now.moved(kept, "readings")["serial"].to_list() == ["E1"]
    for path in (folder / "store" / "readings" / "_delta_log").glob("*.json"):
        path.unlink()  # nothing is told of how the files came about
    assert now.moved(kept, "readings") is None


def test_a_table_made_again_is_not_taken_for_a_later_version_of_the_one_before(folder, monkeypatch):
    kept = keep(folder)
    shutil.rmtree(folder / "store")
    for name in "bc":
        load(folder, [log(folder, f"{name}.csv", [row(name)])], now=NOW)
    monkeypatch.setattr(kept_tables, "SOME", 1e9)
    assert open_snapshot(folder).kept_tables.moved(kept, "readings") is None


def test_where_most_of_a_table_was_written_again_nobody_looks_what_moved(folder):
    kept = keep(folder)
    correct(folder, "a.csv", 3, "relief (mm)", "0.9", who="Mo", why="slip", now=NOW)
    assert open_snapshot(folder).kept_tables.moved(kept, "readings") is None


def test_rows_of_some_logs_are_those_of_the_table(folder):
    load(folder, [log(folder, "b.csv", [row("B1"), row("B2")])], now=NOW)
    now = open_snapshot(folder)
    for log_id in now.table("logs")["log_id"]:
        theirs = now.table("readings").filter(pl.col("log_id") == log_id)
        assert_frame_equal(now.kept_tables.rows_of("readings", [log_id]), theirs, check_row_order=True)


def carried(folder, before, rows, fresh, key):
    """Kept rows and fresh ones in another order, kept under another key."""
    laid = Laid(before, "table", Runs.of(np.array(rows, dtype=np.int64), before.height("table")))
    given = {"table": {name: (lambda name=name: laid.column(name, fresh[name])) for name in fresh.columns}}
    return open_snapshot(folder).kept_tables.keep(key, "kin", given)


def more(words, n):
    """Rows with words of their own."""
    return (
        ROWS[:1]
        .with_columns(text=pl.lit(words))
        .select(ROWS.columns)[[0] * n]
        .with_columns(word=pl.Series([f"{words} {k}" for k in range(n)], dtype=pl.Categorical))
    )


@pytest.mark.parametrize("fresh", [1e9, 0.2, -1])
def test_rows_carried_on_again_and_again_are_those_that_were_given(folder, fresh, monkeypatch):
    monkeypatch.setattr(keeping, "FRESH", fresh)
    rng = np.random.default_rng(20261130)
    wanted, kept = ROWS, keep(folder, "key")
    for turn in range(12):
        own = more(f"turn {turn}", int(rng.integers(300 if turn == 5 else 4)))
        some = np.flatnonzero(rng.random(len(wanted)) < 0.8)
        rows = rng.permutation(np.concatenate([some, len(wanted) + np.arange(len(own))]))
        kept = carried(folder, kept, rows, own, f"key {turn}")
        wanted = pl.concat([wanted, own])[rows]
        assert (kept.height("table"), kept.columns("table")) == (len(wanted), wanted.columns)
        assert_frame_equal(kept.frame("table"), wanted, check_exact=True)
        assert ("layer" in kept.said["tables"]["table"]) == (fresh > 1) or fresh == 0.2


def test_of_a_table_carried_on_only_fresh_rows_are_written_and_the_rest_stays_when_the_one_before_goes(folder):
    many = pl.concat([ROWS] * 2000)
    before = keep(folder, "key", many)
    whole = sum(path.stat().st_size for path in before.path.iterdir())
    kept = carried(folder, before, np.arange(10_001), more("one", 1), "other")
    own = [path for path in kept.path.iterdir() if path.stat().st_nlink == 1]
    assert sum(path.stat().st_size for path in own) < 0.25 * whole + 12_000  # the order; the rest is a little
    shutil.rmtree(before.path)
    assert_frame_equal(kept.frame("table"), pl.concat([many, more("one", 1)]), check_exact=True)


def test_where_a_file_can_have_no_second_name_it_is_copied(folder, monkeypatch):
    def refused(*_):
        raise OSError

    monkeypatch.setattr("os.link", refused)
    monkeypatch.setattr(keeping, "FRESH", 1e9)
    kept = carried(folder, keep(folder), [5, 0, 3], more("one", 1), "other")
    assert_frame_equal(kept.frame("table"), pl.concat([ROWS, more("one", 1)])[[5, 0, 3]], check_exact=True)


def test_a_column_written_whole_over_a_table_carried_on_is_carried_on_from_what_it_says(folder, monkeypatch):
    monkeypatch.setattr(keeping, "FRESH", 1e9)
    before, own = keep(folder), more("one", 1)
    laid = Laid(before, "table", Runs.of(np.array([5, 0, 3])))
    given = {"table": {name: (lambda name=name: laid.column(name, own[name])) for name in own.columns}}
    given["table"]["text"] = lambda: pl.Series("text", ["all", "of it", "anew"])
    kept = open_snapshot(folder).kept_tables.keep("other", "kin", given)
    kept = carried(folder, kept, [3, 2, 0], own, "third")
    wanted = pl.concat([pl.concat([ROWS, own])[[5, 0, 3]].with_columns(text=pl.Series(["all", "of it", "anew"])), own])
    assert_frame_equal(kept.frame("table"), wanted[[3, 2, 0]], check_exact=True)


def test_a_damaged_file_of_the_one_before_is_damaged_in_the_one_carried_on(folder, monkeypatch):
    monkeypatch.setattr(keeping, "FRESH", 1e9)
    kept = carried(folder, keep(folder), [5, 0, 3], more("one", 1), "other")
    path = next(path for path in kept.path.glob("*.numbers") if path.stat().st_nlink > 1)
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    with pytest.raises(Damaged):
        kept.frame("table")


def test_of_many_years_a_file_is_not_written_again_when_small_ones_are_put_together(tmp_path, monkeypatch):
    monkeypatch.setattr(delta, "MANY_FILES", 3)
    rng, table = np.random.default_rng(20261201), delta.Table(tmp_path / "readings", None)
    rows = pl.DataFrame({"value": rng.random(650_000), "line": np.arange(650_000)})
    table.append(tables.shaped(rows, tables.READINGS), {})
    (years,) = table.files()
    for n in range(4):
        table.append(tables.shaped(rows[n : n + 1], tables.READINGS), {})
    table.tidy({})
    assert years in table.files()
    assert len(table.files()) == 2
    assert table.scan().select(pl.len()).collect().item() == 650_004


def test_large_files_are_not_counted_among_those_that_are_put_together(tmp_path, monkeypatch):
    monkeypatch.setattr(delta, "MANY_FILES", 2)
    table = delta.Table(tmp_path / "readings", None)
    rows = tables.shaped(pl.DataFrame({"value": np.random.default_rng(20261201).random(650_000)}), tables.READINGS)
    for n in (650_000, 650_000, 1, 1):
        table.append(rows.head(n), {})
    files = table.files()
    table.tidy({})
    assert table.files() == files
    table.append(rows.head(1), {})
    table.tidy({})
    assert len(table.files()) == 3
    assert len(set(files) & set(table.files())) == 2
