"""What readers of the store see, and what it keeps of the past."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from ingest.store import store
from ingest.store.snapshot import SCHEMAS
from ingest.store.store import newest, open_snapshot
from ingest.terms import tables
from ingest.verbs.load import load, unload
from tests.ingest.bench import GROWING, NOW, held, log, row, shop
from tests.ingest.verbs.test_load import same


def test_a_shop_without_a_log_has_every_table_empty(tmp_path):
    snapshot = open_snapshot(shop(tmp_path))
    assert (snapshot.version, snapshot.book_sequence, newest(tmp_path)) == (0, 0, (0, 0))
    assert snapshot.as_of == datetime(1970, 1, 1, tzinfo=UTC)  # before any visit that a log may hold
    for name, schema in SCHEMAS.items():
        assert dict(snapshot.table(name).schema) == schema
        assert snapshot.table(name).is_empty()
    assert not (tmp_path / "store").exists()


def test_every_table_has_its_columns_and_types_and_gives_single_columns(tmp_path):
    folder = shop(tmp_path)
    load(
        folder,
        [log(folder, "a.csv", [row("A1", outcome="fixed", fault="open-string buzz"), row("A2", relief="x")])],
        now=NOW,
    )
    snapshot = open_snapshot(folder)
    for name, schema in SCHEMAS.items():
        assert dict(snapshot.table(name).schema) == schema, name
        first, *_, last = schema
        assert snapshot.table(name, last, first).columns == [last, first]
    assert snapshot.table("visits", "serial", "model").rows() == list(
        snapshot.table("visits").select("serial", "model").rows()
    )


def test_text_is_never_null_and_numbers_never_nan(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1", model="", tech="", finish="", note="", relief="")])], now=NOW)
    snapshot = open_snapshot(folder)
    for name in ("visits", "readings", "faults", "logs", "set_aside"):
        table = snapshot.table(name)
        for column in table:
            assert column.dtype != pl.String or column.null_count() == 0, (name, column.name)
            assert column.dtype != pl.Float64 or not column.is_nan().any(), (name, column.name)
    visit = snapshot.table("visits").row(0, named=True)
    assert (visit["finished_at"], visit["minutes"], visit["tech"]) == (None, None, "")


def test_a_snapshot_keeps_its_version_while_others_write(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    early = open_snapshot(folder)
    load(folder, [log(folder, "b.csv", [row("A2", relief="x")])], now=NOW)
    unload(folder, "a.csv", now=NOW)
    assert early.table("visits")["serial"].to_list() == ["A1"]
    assert early.table("set_aside").is_empty()
    assert early.table("logs")["name"].to_list() == ["a.csv"]
    assert early.key != open_snapshot(folder).key


def test_the_key_of_a_snapshot_changes_with_a_shop_file(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    key = open_snapshot(folder).key
    assert open_snapshot(folder).key == key
    (folder / "changes.csv").write_text("from_date,to_date,model,stage,what,note\n2026-03-03,,,,strings,new\n")
    assert open_snapshot(folder).key != key


def test_delta_tables_are_plain_and_old_enough_for_any_reader(tmp_path):
    from deltalake import DeltaTable

    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1", outcome="fixed", fault="open-string buzz")])], now=NOW)
    for name in ("visits", "readings", "faults"):
        table = DeltaTable(folder / "store" / name)
        protocol = table.protocol()
        assert (protocol.min_reader_version, protocol.min_writer_version) == (1, 2)
        types = {field.name: str(field.type) for field in table.schema().fields}
        assert not any("view" in kind.lower() or "ntz" in kind.lower() for kind in types.values())
        assert set(SCHEMAS[name]) <= set(types)
    assert open_snapshot(folder).table("visits").schema["started_at"] == tables.TIME


@pytest.mark.long
def test_many_small_logs_are_put_together_and_old_versions_go_in_time(tmp_path, monkeypatch):
    monkeypatch.setattr("ingest.store.delta.MANY_FILES", 5)
    monkeypatch.setattr(store, "TIDY_EVERY", 4)
    folder = shop(tmp_path, GROWING)
    for number in range(12):
        path = log(folder, f"grow{number}.csv", [row(f"A{k}", note=str(number)) for k in range(number + 1)])
        load(folder, [path], now=NOW + timedelta(days=10 * number))
    assert open_snapshot(folder).version == 12
    files = len(list((folder / "store" / "visits").glob("*.parquet")))
    assert files <= 14
    assert open_snapshot(folder).table("visits", "serial", "note").sort("serial").rows() == sorted(
        (f"A{k}", "11") for k in range(12)
    )
    kept = [n for n in range(1, 13) if _readable(folder, n)]
    assert kept == [9, 10, 11, 12]
    assert open_snapshot(folder, version=10).table("visits").height == 10
    unload(folder, "grow11.csv", now=NOW + timedelta(days=200))
    assert open_snapshot(folder).table("visits").height == 11


def _readable(folder, n):
    try:
        open_snapshot(folder, version=n)
    except store.StoreProblem:
        return False
    return True


def test_the_same_study_in_two_files_is_held_once(tmp_path):
    header = "study,characteristic,part,tech,trial,value,unit"
    rows = [
        f"spring,relief,{part},T0{tech},{trial},0.2{part},mm" for part in (1, 2) for tech in (1, 2) for trial in (1, 2)
    ]
    folder, other = shop(tmp_path / "a", GROWING), shop(tmp_path / "b", GROWING)
    load(folder, [log(folder, "study1.csv", rows, header)], now=NOW)
    [file] = load(folder, [log(folder, "study2.csv", [*rows[4:], "spring,relief,3,T01,1,0.3,mm"], header)], now=NOW)
    assert (file.rows_read, file.accepted, file.already_held) == (5, 1, 4)
    assert open_snapshot(folder).table("gauge_trials").height == 9
    load(other, [log(other, "study2.csv", [*rows[4:], "spring,relief,3,T01,1,0.3,mm"], header)], now=NOW)
    load(other, [log(other, "study1.csv", rows, header)], now=NOW)
    same(held(folder, where=False), held(other, where=False))
    unload(folder, "study1.csv", now=NOW)
    assert open_snapshot(folder).table("gauge_trials").height == 5


@pytest.mark.parametrize("version", [0, -1, 7])
def test_a_version_that_is_not_there_is_one_line(tmp_path, version):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    with pytest.raises(store.StoreProblem, match=f"no version {version}"):
        open_snapshot(folder, version=version)
