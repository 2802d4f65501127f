"""What `check` says of a shop, part by part and word for word, in each of the states it may be found in."""

import hashlib
import re
import shutil
import sqlite3
import zipfile
from datetime import timedelta

import pytest

from ingest.access import people
from ingest.shopfiles.shop import ShopProblem
from ingest.store import book, index, originals
from ingest.store.problems import Busy, StoreProblem, damaged, first_line, of_database, reading_of
from ingest.verbs import backup, forget, restore
from ingest.verbs.check import check
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop
from tests.ingest.verbs.damage import cut


def told(folder, now=NOW):
    """Each finding as a line: whole or not, part, what, and what to do."""
    found = [f"{'+' if one.whole else '-'} {one.part}: {one.what} | {one.do}" for one in check(folder, now=now)]
    text = re.sub(r"/[0-9a-f]{12}\.\.\.", "/HASH...", "\n".join(found)).replace(str(folder), "SHOP")
    return re.sub(r"before-\w+-?\w*|\d{4}-\d\d-\d\d-\d{6}", "NAME", text).splitlines()


FILES = "+ shop.toml: Weir Lane Instruments: 5 stages, 2 models | "
NO_BOOK = "+ book.sqlite: none yet: nothing was loaded or decided | "
NONE = "+ originals: 0 files as they came | "
NO_STORE = "+ store: not made yet; whoever opens the shop makes it from the originals | "
BY_HAND = "mend the file by hand"
SPECS = """characteristic,position,family,model,stage,supplier,target,lower,upper,unit,from_date,agreed_on,note
relief,,,,,,.1,0,.2,mm,,,
"""


@pytest.fixture
def empty(tmp_path):
    return shop(tmp_path / "shop")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = shop(tmp_path_factory.mktemp("made") / "shop")
    load(folder, [log(folder, "a.csv", [row("A1"), row("A2", relief="25"), row("A3", stage="nowhere")])], now=NOW)
    load(folder, [log(folder, "b.csv", [row("B1", outcome="fixed", fault="open-string buzz")])], now=NOW)
    book.write_entry(folder, "note", "one", "Mo", now=NOW)
    return folder


@pytest.fixture
def folder(made, tmp_path):
    shutil.copytree(made, tmp_path / "shop")
    return tmp_path / "shop"


STANDS = [FILES, "+ book.sqlite: 2 logs loaded; 1 entry | ", "+ originals: 2 files as they came | "]
STORE = "+ store: version 2: 3 visits, 5 readings, 1 faults, 2 questions; of 2 logs | "


def test_a_shop_with_nothing_loaded_and_none_at_all(empty, tmp_path):
    assert told(empty) == [FILES, NO_BOOK, NONE, NO_STORE]
    with pytest.raises(ShopProblem, match=r"No shop in .*nowhere.*truerun new"):
        check(tmp_path / "nowhere", now=NOW)


def test_a_shop_with_logs_is_told_with_what_it_holds(folder):
    assert told(folder) == [*STANDS, STORE]


def test_each_fault_of_the_shops_files_is_a_line(empty):
    whole = (empty / "shop.toml").read_text()
    (empty / "shop.toml").write_text(
        whole.replace('role = "final"', 'role = "fin"').replace('role = "test"', "rule = 1")
    )
    lines = told(empty)
    assert [line.endswith(f"| {BY_HAND}") for line in lines[:2]] == [True, True]
    assert all(line.startswith("- shop.toml: ") for line in lines[:2])
    assert lines[2:] == [NO_BOOK, NONE]  # nothing can be said of the store
    (empty / "shop.toml").write_text(whole)
    (empty / "specs.csv").write_text(SPECS + SPECS.splitlines()[1].replace("relief", "releif"))
    (empty / "lots.csv").write_text("lot\n")
    (empty / "climate.csv").write_text("when\n")
    lines = told(empty)
    assert lines[0] == FILES
    assert [line.partition(":")[0] for line in lines[1:4]] == ["- specs.csv", "- lots.csv", "- climate.csv"]
    (empty / "specs.csv").write_text(SPECS)
    assert told(empty)[1] == "+ specs.csv: every line can be read | "


def test_a_shop_whose_file_is_gone_is_told_by_its_logs(folder):
    (folder / "shop.toml").unlink()
    assert told(folder) == ["- shop.toml: missing | put it back, or truerun restore FILE", *STANDS[1:]]


def test_what_was_cut_short_is_told_first(empty):
    (empty / forget.JOURNAL).parent.mkdir(parents=True, exist_ok=True)
    (empty / forget.JOURNAL).write_text("{}")
    again = "was cut short | any truerun command goes on where it stood"
    assert told(empty)[0] == f"- truerun forget: {again}"
    work = empty / restore.UNDER_WAY
    work.mkdir(parents=True)
    (work / restore.READY).write_text("")
    assert told(empty)[:2] == [f"- truerun restore: {again}", f"- truerun forget: {again}"]


def test_each_way_an_original_may_be_lost_is_told_with_what_puts_it_back(folder):
    loads = book.loads(folder)
    first, second = loads.sort("sequence")["sha256"].to_list()
    (folder / originals.FOLDER / second).unlink()
    (folder / originals.FOLDER / first).write_bytes(b"other")
    (folder / originals.FOLDER / ("0" * 64)).write_bytes(b"who knows")
    assert told(folder)[2:6] == [
        "- originals/HASH...: the original of a log nobody knows the name of is not as it came (its SHA-256 differs) | "
        "put the right file back",
        "- originals/HASH...: the original of a.csv is not as it came (its SHA-256 differs) | "
        "truerun load a.csv (the same file) puts it back",
        "- originals/HASH...: the original of b.csv is missing | truerun load b.csv (the same file) puts it back",
        NONE,
    ]


def test_an_original_without_a_name_and_notes_that_say_otherwise_are_told(folder):
    data = b"nobody's"
    sha = hashlib.sha256(data).hexdigest()
    (folder / originals.FOLDER / sha).write_bytes(data)
    noted = index.all_notes(folder)
    index.path_of(folder, noted[0].sha256).unlink()
    lines = told(folder)
    assert lines[2] == (
        "- originals/HASH...: nobody knows its name: no line of the book and no note beside it | load it "
        "again under its name"
    )
    assert lines[3] == "+ originals: 2 files as they came | "
    assert lines[4] == ("- originals: the notes beside 1 originals do not say what the book says | truerun again --all")
    assert lines[5] == STORE


def test_a_damaged_book_or_store_is_told_with_the_newest_backup_where_one_stands(folder):
    path = folder / "store/ledger.sqlite"
    path.write_bytes(path.read_bytes()[:4000])
    anew = "truerun again --all (makes the store anew from the originals)"
    lines = told(folder)
    assert lines[:3] == STANDS
    assert (lines[3].startswith("- store/ledger.sqlite: "), lines[3].endswith(f"| {anew}"), len(lines)) == (
        True,
        True,
        4,
    )
    (folder / book.FILE).write_bytes(b"")
    lines = told(folder)
    assert lines[1] == (
        "- book.sqlite: missing, but 2 logs were loaded | "
        "truerun again --all (brings the logs back and says what only the book knew)"
    )


def test_backups_are_told_with_the_newest_and_a_broken_one_with_what_to_do(folder):
    good = backup.before("unload", folder, now=NOW)
    place = folder / backup.PLACE
    place.mkdir(exist_ok=True)
    assert good is not None
    assert told(folder)[-1].startswith(f"+ {backup.PLACE}: 1 in this folder, the newest {backup.PLACE}/")
    ledger = folder / "store/ledger.sqlite"
    whole = ledger.read_bytes()
    cut(ledger)
    (line,) = [line for line in told(folder) if line.startswith("- store/ledger.sqlite")]
    assert line.rpartition("| ")[2] == (
        "truerun restore backups/NAME-NAME.truerun (the newest backup), or truerun again --all (makes the store anew "
        "from the originals)"
    )
    ledger.write_bytes(whole)
    for number, said in enumerate((b"[1]", b'{"files": []}', b"no json", b'{"files": {}, "format": 99}')):
        with zipfile.ZipFile(place / f"broken {number}.truerun", "w") as broken:
            broken.writestr(backup.LIST, said)
    lines = [line for line in told(folder) if line.partition(":")[0].endswith(".truerun")]
    assert [line.rpartition("| ")[2] for line in lines] == ["take the file away"] * 4
    assert all(line.startswith("- backups/broken ") for line in lines)
    assert told(folder)[-1].startswith(f"+ {backup.PLACE}: 5 in this folder, the newest {backup.PLACE}/broken 3")


def test_a_list_of_people_is_counted_and_kept_from_others(folder):
    for count, name in enumerate(("Ann", "Bea"), 1):
        people.add(folder, name, "manager", "long enough 4 us", now=NOW)
        word = "person" if count == 1 else "people"
        assert f"+ access.sqlite: {count} {word} may sign in | " in told(folder)
    (folder / "access.sqlite").chmod(0o644)
    mends = "any `truerun people` command mends that"
    assert f"- access.sqlite: others on this machine may read it | {mends}" in told(folder)
    (folder / "access.sqlite").write_bytes(b"x" * 5000)
    (line,) = [each for each in told(folder) if "access.sqlite" in each]
    assert line.endswith("| take the file away, then say `truerun people add` for everybody who may sign in")


def test_a_clock_that_stands_before_the_newest_load_is_told_and_one_at_it_is_not(folder):
    assert told(folder, NOW) == [*STANDS, STORE]
    before = NOW - timedelta(minutes=1)
    assert told(folder, before)[-1] == (
        "- clock: says 2026-06-01 11:59 UTC; a log was loaded on 2026-06-01 12:00 | put it right"
    )


@pytest.mark.parametrize(
    ("fault", "of", "words"),
    [
        (sqlite3.OperationalError("database is locked"), Busy, "Somebody else is writing"),
        (sqlite3.OperationalError("the file is busy"), Busy, "Somebody else is writing"),
        (sqlite3.OperationalError("disk I/O error"), StoreProblem, "could not be written (disk I/O error)"),
        (sqlite3.OperationalError("database or disk is full"), StoreProblem, "could not be written"),
        (sqlite3.OperationalError("unable to open database file"), StoreProblem, "could not be written"),
        (sqlite3.OperationalError("attempt to write a readonly database"), StoreProblem, "could not be written"),
        (
            sqlite3.OperationalError("no such table: loads"),
            StoreProblem,
            "book.sqlite is damaged (no such table: loads)",
        ),
        (sqlite3.DatabaseError("disk image is malformed, full of holes"), StoreProblem, "book.sqlite is damaged"),
    ],
)
def test_what_a_database_says_is_told_as_a_person_reads_it(tmp_path, fault, of, words):
    problem = of_database(fault, tmp_path, "book.sqlite")
    assert type(problem) is of
    assert words in str(problem)


def test_a_fault_is_told_by_its_first_line_or_by_its_name():
    assert first_line(ValueError("  one\ttwo  \nthree")) == "one two"
    assert first_line(ValueError("")) == "ValueError"
    assert str(damaged("the store", "a\nb")) == (
        "the store is damaged (a); `truerun check` says what is damaged and what to type"
    )


class PanicException(BaseException):
    """What polars raises where it gives up."""


@pytest.mark.parametrize("fault", [OSError("gone"), sqlite3.DatabaseError("torn"), PanicException("no sense")])
def test_whatever_goes_wrong_while_reading_is_one_line(tmp_path, fault):
    with pytest.raises(StoreProblem, match="the visits is damaged"), reading_of(tmp_path, "the visits"):
        raise fault
    with pytest.raises(KeyboardInterrupt), reading_of(tmp_path, "the visits"):
        raise KeyboardInterrupt
