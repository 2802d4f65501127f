"""What a card needs of the shop, made of a small story: each serial's way, last readings, faults, what was said."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from ingest.store import at_bench
from ingest.store.at_bench import Told
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop

HEAD = (
    "serial,model,stage,tech,started_at,finished_at,outcome,fault,fault_at,sent_back_to,supplier,lot,job,relief (mm),"
    "action bass (mm),Destination"
)


def line(serial, stage, at, outcome="pass", **of):
    """A row of a log, of LARK-25 where nothing else is said."""
    names = ("fault", "where", "to", "supplier", "lot", "job", "relief", "action", "goes")
    return ",".join([serial, of.get("model", "LARK-25"), stage, "JR", at, "", outcome, *(of.get(n, "") for n in names)])


WAY = [
    line("A1", "receiving", "2026-05-01 08:00", supplier="Elm", lot="L7", job="J3"),
    line("A1", "play_test", "2026-05-02 08:00", "send back", fault="open-string buzz", where="string 3",
         to="neck_straightening", relief="0.20"),
    line("A1", "neck_straightening", "2026-05-03 08:00", relief="0.25", goes="Oslo"),
    line("A1", "play_test", "2026-05-04 08:00", "send back", fault="high fret", where="fret 5",
         to="neck_straightening", relief="0.21", supplier="Oak"),
    line("A2", "play_test", "2026-05-05 08:00", "send back", fault="rattle", relief="0.22"),
    line("A2", "play_test", "2026-05-06 08:00", relief="0.23"),
    *(line(f"B{n}", "play_test", f"2026-05-{7 + n:02d} 08:00", relief=f"0.3{n}", model="HERON") for n in range(7)),
    line("C10", "play_test", "2026-01-05 08:00", fault="old fault", model="", relief="0.5"),
    line("c10x", "play_test", "2026-05-20 08:00", fault="high fret"),
]  # fmt: skip
TOLD = Told(
    said=[("A1", "", "was dropped"), ("A1", "packing", "wants a case")],
    moved=[
        ("play_test", "LARK-25", "", "new"),
        ("play_test", "LARK-25", "JR", "mine"),
        ("play_test", "LARK-25", "", "new"),
        ("play_test", "LARK-25", "AO", "theirs"),
        ("packing", "LARK-25", "", "elsewhere"),
    ],
    usual=[("play_test", "relief", "", "LARK-25", size, size / 20, size / 7) for size in (0.2, 9.0)],
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = shop(tmp_path_factory.mktemp("bench") / "shop")
    load(folder, [log(folder, "way.csv", WAY, HEAD)], now=NOW)
    at_bench.make(folder, open_snapshot(folder), TOLD)
    return folder


def test_an_index_is_of_one_version_and_none_is_of_none(folder, tmp_path):
    assert at_bench.version_of(folder) == open_snapshot(folder).version
    assert at_bench.version_of(tmp_path) == -1
    assert at_bench.serial(tmp_path, "A1") is None
    assert at_bench.shapes(tmp_path) == at_bench.caught(tmp_path, "play_test") == []
    (tmp_path / "store").mkdir()
    at_bench.path_of(tmp_path).write_bytes(b"no database at all" * 99)
    assert (at_bench.version_of(tmp_path), at_bench.shapes(tmp_path)) == (-1, [])


def test_it_is_made_anew_in_the_place_of_the_old_one_and_keeps_what_studies_said(folder, tmp_path):
    snapshot = open_snapshot(folder)
    for told in (TOLD, at_bench.told_of(folder)):
        at_bench.make(tmp_path / "other" / "shop", snapshot, told)
        assert at_bench.said_of(tmp_path / "other" / "shop", "A1") == at_bench.said_of(folder, "A1")
        assert at_bench.moved_at(tmp_path / "other" / "shop", "play_test", "LARK-25", "JR") == ["new", "mine"]
    assert [path.name for path in (tmp_path / "other" / "shop" / "store").iterdir()] == [at_bench.FILE]


def test_a_serials_way_is_told(folder):
    seen = at_bench.serial(folder, "A1")
    assert (seen.model, seen.supplier, seen.lot, seen.order, seen.goes_to) == ("LARK-25", "Elm", "L7", "J3", "Oslo")
    assert seen.passed == ("receiving", "play_test", "neck_straightening")
    assert (seen.last_stage, seen.last_outcome, seen.sent_to) == ("play_test", "send back", "neck_straightening")
    assert seen.last_at == datetime(2026, 5, 4, 7, tzinfo=UTC)  # Dublin's summer
    assert (seen.came_back, seen.why, seen.where, seen.waits) == (2, "high fret", "fret 5", ("play_test",))
    mended = at_bench.serial(folder, "A2")
    assert (mended.came_back, mended.why, mended.waits) == (1, "rattle", ())  # the play test has had it since
    plain = at_bench.serial(folder, "B0")
    assert (plain.model, plain.came_back, plain.why, plain.waits, plain.supplier) == ("HERON", 0, "", (), "")
    assert at_bench.serial(folder, "C10").model == ""
    assert at_bench.serial(folder, "Z9") is None


def test_the_last_five_readings_of_a_setup_stand_oldest_first(folder):
    held = at_bench.lasts(folder, "play_test", "LARK-25")
    assert [value for value, _ in held["relief", ""]] == [0.2, 0.21, 0.22, 0.23]
    assert held["relief", ""][0][1] == datetime(2026, 5, 2, 7, tzinfo=UTC).timestamp()
    assert [value for value, _ in at_bench.lasts(folder, "play_test", "HERON")["relief", ""]] == pytest.approx(
        [0.32, 0.33, 0.34, 0.35, 0.36]
    )
    assert at_bench.lasts(folder, "packing", "LARK-25") == {}


def test_nothing_comes_and_goes_in_the_folder_while_an_index_is_made(folder):
    seen = []

    def said():
        seen.append(sorted(path.name for path in (folder / "store").iterdir()))
        yield "A1", "", "was dropped"
        yield "A1", "packing", "wants a case"

    before = sorted(path.name for path in (folder / "store").iterdir())
    at_bench.make(folder, open_snapshot(folder), replace(TOLD, said=said()))
    assert seen == [before]
    assert sorted(path.name for path in (folder / "store").iterdir()) == before
    assert at_bench.said_of(folder, "A1") == [each[1:] for each in TOLD.said]


def test_what_is_measured_at_a_stage_and_the_faults_of_a_quarter_are_told(folder):
    assert sorted(at_bench.measured(folder, "play_test")) == [
        ("concert ukulele", "relief", ""),
        ("tenor ukulele", "relief", ""),
    ]
    assert at_bench.caught(folder, "play_test") == ["high fret", "open-string buzz", "rattle"]
    assert at_bench.caught(folder, "packing") == []
    assert at_bench.caught(folder, "")[:3] == ["high fret", "open-string buzz", "rattle"]


def test_what_is_measured_seldom_is_no_part_of_a_sheet(tmp_path):
    """Two of a hundred instruments are enough, one is not."""
    for many, told in ((2, [("tenor ukulele", "action", "bass")]), (1, [])):
        folder = shop(tmp_path / f"{many}")
        rows = [row(f"A{n}", relief="", action="2.4" if n < many else "") for n in range(100)]
        load(folder, [log(folder, "a.csv", rows)], now=NOW)
        at_bench.make(folder, open_snapshot(folder))
        assert at_bench.measured(folder, "play_test") == told


def test_faults_are_forgotten_after_thirteen_weeks(folder):
    snapshot = open_snapshot(folder)
    oldest = datetime(2026, 5, 2, 7, tzinfo=UTC)
    assert snapshot.as_of - oldest < timedelta(weeks=13)
    assert snapshot.as_of - datetime(2026, 1, 5, 8, tzinfo=UTC) > timedelta(weeks=13)
    assert "old fault" not in at_bench.caught(folder, "play_test")


def test_what_was_said_moved_and_is_usual_is_given_to_whom_it_is_for(folder):
    assert at_bench.said_of(folder, "A1") == [("", "was dropped"), ("packing", "wants a case")]
    assert at_bench.said_of(folder, "A2") == []
    assert at_bench.moved_at(folder, "play_test", "LARK-25", "JR") == ["new", "mine"]
    assert at_bench.moved_at(folder, "play_test", "LARK-25", "XX") == ["new"]
    assert at_bench.moved_at(folder, "play_test", "HERON", "JR") == []
    assert at_bench.usual(folder, "play_test", "LARK-25", ("relief", "")) == (0.2, 0.2 / 20, 0.2 / 7)  # the first said
    assert at_bench.usual(folder, "play_test", "HERON", ("relief", "")) is None


def test_serials_are_known_by_their_shapes_and_spelled_as_on_file(folder):
    assert at_bench.shapes(folder) == sorted(at_bench.shapes(folder)) == ["A#", "B#", "C#", "C#X"]
    assert [at_bench.spelled(folder, name) for name in ("A1", "a1", "c10x", "zz")] == ["A1", "A1", "c10x", "zz"]


def test_where_serials_are_typed_loosely_the_only_one_alike_is_meant(folder):
    typed = ["a 1", "A-01", "b.0003", "C-10 X", "c10", "A1"]
    assert [at_bench.spelled(folder, name, loose=True) for name in typed] == ["A1", "A1", "B3", "c10x", "C10", "A1"]
    assert [at_bench.spelled(folder, name) for name in ("a 1", "A-01")] == ["a 1", "A-01"]
    assert at_bench.folded("R-007/100") == "R7100"


@pytest.mark.parametrize(("name", "model"), [("A77", "LARK-25"), ("B9", "HERON"), ("C9", ""), ("Q1", ""), ("77", "")])
def test_a_new_serial_is_of_the_model_of_others_with_its_letters(folder, name, model):
    assert at_bench.model_like(folder, name) == model
