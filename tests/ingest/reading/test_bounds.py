"""What is no log is refused at its first bytes; a log is read the same in pieces as whole."""

import gc
import io
import zipfile
from contextlib import nullcontext
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from ingest.beginning.raw_tables import raw_tables
from ingest.reading import bounds, careful, files, in_buckets, pieces, reader
from ingest.reading.reader import form_of, read_log
from ingest.shopfiles.shop import read_shop
from ingest.terms.questions import FileProblem
from ingest.verbs.load import load_data
from tests.ingest.small_shop import small_shop
from tests.trials import bounded_reading

WEEK = Path(__file__).parents[3] / "demo_data" / "week"
HEADER = b"serial,model,stage,date,note\n"
ROW = b"S1,LARK-25,packing,2026-03-02,fine\n"
BINARY = np.random.default_rng(20261128).integers(0, 256, 2_000_000).astype(np.uint8).tobytes()
NO_LOG = {
    "random bytes": BINARY,
    "a heading and random bytes": HEADER + BINARY,
    "letters in one line": b"abc," * 400_000,
    "a heading, then one line": HEADER + b"abc," * 400_000,
    "cells in one column": b"serial\n" + b"1\n" * 500_000,
    "blanks": b" \n" * 500_000,
    "a hundred thousand columns": b",".join(b"h%d" % k for k in range(80_000)) + b"\n" + ROW,
    "columns that fit in a line": HEADER.strip() + b"," * 5_000 + b"\n" + ROW,
    "rows without a heading": ROW * 40_000,
    "one long line between two of its rows": HEADER + ROW + b"x" * 700_000 + b"\n" + ROW,
    "one long line below its rows": HEADER + ROW + b"x" * 700_000 + b"\n",
}


def look(data, name="a.csv"):
    bounds.look_over(io.BytesIO(data), name, lambda it: form_of(it, small_shop()))


@pytest.mark.parametrize("what", NO_LOG)
def test_what_is_no_log_is_refused_in_one_line(what):
    with pytest.raises(FileProblem) as problem:
        look(NO_LOG[what])
    assert str(problem.value).startswith("a.csv: ")
    assert "\n" not in str(problem.value)
    assert len(str(problem.value)) < 300


@pytest.mark.parametrize(
    "data",
    [
        HEADER + ROW * 40_000,
        b"Bench book of March\n\n" + HEADER + ROW * 40_000,
        (HEADER + ROW * 40_000).replace(b"\n", b"\r\n"),
        (HEADER + ROW * 40_000).replace(b"\n", b"\r"),
        (HEADER + ROW * 40_000).decode().encode("utf-16"),
        HEADER + ROW * 20_000 + b'S2,LARK-25,packing,2026-03-02,"never closed\n' + ROW * 20_000,
        HEADER,
        b"",
        b"x",
    ],
)
def test_a_log_however_it_is_written_is_let_through(data):
    look(data)


def workbook(tmp_path, *told, **more):
    bounded_reading.bomb(tmp_path / "a.xlsx", *told, **more)
    return (tmp_path / "a.xlsx").read_bytes()


def test_a_workbook_that_would_fill_the_memory_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(bounds, "MOST_UNPACKED", 20_000_000)
    with pytest.raises(FileProblem, match=r"unpacks to 3[0-9]"):
        look(workbook(tmp_path, 30))
    bounded_reading.far_cell(tmp_path / "far.xlsx")
    with pytest.raises(FileProblem, match="far below or far to the right"):
        look((tmp_path / "far.xlsx").read_bytes())
    monkeypatch.setattr(bounds, "MOST_CELLS", 10_000)
    with pytest.raises(FileProblem, match="a sheet of"):
        look(workbook(tmp_path, 2))


@pytest.mark.parametrize(("part", "counts"), [("xl/worksheets/sheet1.xml", True), ("xl/styles.xml", False)])
def test_cells_are_those_of_sheets(monkeypatch, part, counts):
    monkeypatch.setattr(bounds, "MOST_CELLS", 10)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as book:
        book.writestr(part, b"<row>" + b"<c/>" * 20 + b"</row>")
        book.writestr("xl/worksheets/notes.txt", b"<c/>" * 20)
    with pytest.raises(FileProblem, match="a sheet of 20 cells") if counts else nullcontext():
        bounds.look_over_workbook(packed, "a.xlsx")


def test_a_workbook_that_says_it_is_smaller_than_it_is_is_refused(tmp_path):
    data = workbook(tmp_path, 2)
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        size = packed.getinfo("xl/worksheets/sheet1.xml").file_size
    lied = data.replace(size.to_bytes(4, "little"), (1_000).to_bytes(4, "little"))
    assert lied != data
    with pytest.raises(FileProblem, match="cannot be read as a workbook"):
        look(lied)


def test_a_log_read_in_pieces_is_the_log_read_whole(monkeypatch):
    shop = read_shop(WEEK / "shop.toml")
    for path in sorted((WEEK / "logs").iterdir()):
        data = path.read_bytes()
        monkeypatch.setattr(reader, "AT_ONCE", 10**9)
        whole = read_log(data, path.name, shop)
        monkeypatch.setattr(reader, "AT_ONCE", 397)
        told = []
        pieces = read_log(data, path.name, shop, progress=lambda share, what, told=told: told.append((share, what)))
        for name in ("visits", "faults", "gauge_trials", "set_aside"):
            assert_frame_equal(getattr(whole, name), getattr(pieces, name), check_row_order=name != "set_aside")
        keys = ["line", "stage", "characteristic", "position", "moment"]
        assert_frame_equal(whole.readings.sort(keys), pieces.readings.sort(keys))
        assert sorted(whole.notes) == sorted(pieces.notes)
        assert (whole.rows_read, whole.passed_over) == (pieces.rows_read, pieces.passed_over)
        shares = [share for share, _ in told]
        assert shares == sorted(shares)
        assert len(shares) > 2


def measured(rows):
    """A sheet with a row a measurement, its visits scattered over it; some rows lack a serial or a day."""
    lines = ["Time,Serial,Bench,Who,What,Value,Result,Lot"]
    for n in range(rows):
        day = "" if n % 97 == 0 else f"2026-03-{2 + n % 9:02d}" + (f" 08:{n % 60:02d}" if n % 5 else "")
        serial = "" if n % 31 == 0 else f"A{n % 37}"
        what, value = (("relief", "0.1"), ("action bass", "2.5"), ("nobody knows", "1"), ("action bass", "x"))[n % 4]
        bench = ("final_inspection", "receiving", "nowhere")[n % 89 % 3]
        lines.append(f"{day},{serial},{bench},{('JR', 'AO')[n % 2]},{what},{value},{('ok', '')[n % 3 > 0]},L{n % 3}")
    return "\n".join(lines).encode()


@pytest.mark.parametrize("correct", [{}, {(200, "Serial"): "A5", (302, "Value"): "0.2", (401, "Time"): "2026-03-09"}])
def test_visits_gathered_from_all_over_a_long_sheet_are_those_gathered_at_once(monkeypatch, tmp_path, correct):
    monkeypatch.setattr(pieces, "MANY", 200)
    monkeypatch.setattr(files, "PIECE", 9_000)
    monkeypatch.setattr(reader, "BUCKET", 14_000)
    monkeypatch.setattr(in_buckets, "AT_ONCE", 400)
    headings = {"Time": "started_at", "Bench": "stage", "Who": "tech", "What": "what", "Result": "outcome"}
    units = {"relief": "mm", "action": "mm"}
    shop, data = small_shop(shape="measurement", headings=headings, units=units), measured(700)
    whole = read_log(data, "m.csv", shop, corrected=correct)
    laid = read_log(data, "m.csv", shop, corrected=correct, on_disk=tmp_path)
    held = laid.whole()
    for name in ("visits", "readings", "faults"):
        mine, theirs = getattr(whole, name), held[name]
        assert mine.height == theirs.height > (0 if name != "faults" else -1)
        assert_frame_equal(mine.sort(mine.columns), theirs.sort(theirs.columns))
    assert_frame_equal(whole.set_aside, laid.set_aside)
    assert sorted(whole.notes) == sorted(laid.notes)
    assert (whole.rows_read, whole.rows_set_aside, whole.passed_over) == (
        laid.rows_read,
        laid.rows_set_aside,
        laid.passed_over,
    )
    assert whole.set_aside.height > 50


def written_once(rows):
    """A sheet with a row a measurement whose serial and day stand in the first row of each visit alone, the first rows
    of all without one.
    """
    lines = ["Time,Serial,Bench,Who,What,Value"]
    for n in range(-2, rows):
        first = n >= 0 and n % 3 == 0
        day, serial = (f"2026-03-{2 + n // 90:02d} 08:{n % 60:02d}", f"A{n // 3 * 7 % 101}") if first else ("", "")
        what = ("relief", "action bass", "action treble")[n % 3]
        lines.append(f"{day},{serial or ('do.' if n % 7 == 1 else '')},final_inspection,JR,{what},{2 + n % 10 / 10}")
    return "\n".join(lines).encode()


def test_a_serial_written_once_holds_for_the_rows_below_it_however_long_the_sheet(monkeypatch, tmp_path):
    monkeypatch.setattr(pieces, "MANY", 200)
    monkeypatch.setattr(files, "PIECE", 900)
    monkeypatch.setattr(reader, "BUCKET", 1_500)
    monkeypatch.setattr(in_buckets, "AT_ONCE", 40)
    headings = {"Time": "started_at", "Bench": "stage", "Who": "tech", "What": "what"}
    more = {"same_as_above": ["Serial", "Time"], "units": {"relief": "mm", "action": "mm"}}
    shop, data = small_shop(shape="measurement", headings=headings, **more), written_once(600)
    whole = read_log(data, "m.csv", shop)
    laid = read_log(data, "m.csv", shop, on_disk=tmp_path)
    assert laid.pieces is not None
    assert whole.visits.height == 200
    assert whole.visits.sort("line")["serial"].to_list() == [f"A{n * 7 % 101}" for n in range(200)]
    assert whole.readings.height == 600
    for name, held in laid.whole().items():
        mine = getattr(whole, name)
        assert_frame_equal(mine.sort(mine.columns), held.sort(held.columns))
    assert_frame_equal(whole.set_aside, laid.set_aside)
    assert whole.set_aside["line"].to_list() == [2, 3]  # nothing stands above them
    assert (whole.rows_read, whole.rows_set_aside) == (laid.rows_read, laid.rows_set_aside) == (602, 2)


def test_rows_that_wait_on_disk_are_the_rows_held_in_memory(monkeypatch, tmp_path):
    monkeypatch.setattr(pieces, "MANY", 2_000)
    monkeypatch.setattr(files, "PIECE", 80_000)
    monkeypatch.setattr(careful, "AT_ONCE", 1_200)
    shop = read_shop(WEEK / "shop.toml")
    for path in sorted((WEEK / "logs").glob("bench*")):
        regular = path.read_bytes()
        head, rest = regular.split(b"\n", 1)
        for data in (regular, head + b"\n" + b"a line of its own\n" + rest):  # the other is no regular file
            whole, laid = read_log(data, path.name, shop), read_log(data, path.name, shop, on_disk=tmp_path / "on disk")
            if laid.pieces is None:  # few rows
                continue
            assert laid.readings.is_empty()
            assert laid.size == whole.size
            assert_frame_equal(whole.keyed(), laid.keyed())
            assert_frame_equal(whole.marks, laid.marks)
            keys = whole.marks["key"].gather_every(90)
            assert_frame_equal(whole.keyed(keys), laid.keyed(keys))
            held = laid.pieces.whole()
            assert_frame_equal(whole.visits, held["visits"])
            assert_frame_equal(whole.faults, held["faults"])
            keys = ["line", "stage", "characteristic", "position", "moment"]
            assert_frame_equal(whole.readings.sort(keys), held["readings"].sort(keys))
            some = whole.visits["line"].gather_every(100)
            assert_frame_equal(whole.visits.filter(pl.col("line").is_in(some.implode())), laid.rows_of(some)["visits"])
            assert (whole.rows_read, whole.notes, whole.passed_over) == (laid.rows_read, laid.notes, laid.passed_over)
            assert_frame_equal(whole.columns, laid.columns)
            assert_frame_equal(whole.set_aside, laid.set_aside)
    del laid, held
    gc.collect()
    assert list((tmp_path / "on disk").iterdir()) == []


def test_many_columns_cost_no_more_than_their_cells():
    wide = HEADER.strip() + b"," + b",".join(b"h%d" % k for k in range(1_500)) + b"\n"
    rows = (ROW.strip() + b",x" * 1_500 + b"\n") * 2 + b"," * 1_504 + b"\n" + b"Total" + b"," * 1_504 + b"\n"
    sheet = read_log(wide + rows, "a.csv", small_shop())
    assert (sheet.rows_read, sheet.passed_over) == (2, 2)


def test_a_workbook_that_comes_by_the_browser_is_looked_over_too(tmp_path):
    bounded_reading.far_cell(tmp_path / "far.xlsx")
    data = (tmp_path / "far.xlsx").read_bytes()
    with pytest.raises(FileProblem, match="far below or far to the right"):
        raw_tables("far.xlsx", data)
    folder = bounded_reading.fresh_shop(tmp_path, "shop")
    [file] = load_data(folder, [("bench_far.csv", lambda: data)], now=datetime(2026, 11, 21, tzinfo=UTC))
    assert (file.outcome, "far below" in file.problem) == ("refused", True)
