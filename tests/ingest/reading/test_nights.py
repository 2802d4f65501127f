"""A night that writes the day of its evening for all its rows is seen by the order of the rows, asked about, and put
right by a word in its [[log]].
"""

import random
from datetime import datetime, timedelta

import polars as pl
import pytest

from ingest.beginning.new import propose
from ingest.reading import reader
from ingest.reading.nights import ROWS, night_of
from ingest.reading.reader import read_log
from ingest.shopfiles.shop import read_shop
from tests.ingest.bench import SHOP

HEAD = "Date,Serial,Bench,In,Out,Result,Relief"
KIND = (
    '[[log]]\nname = "nights"\nfiles = "*.csv"\ndate_order = "dmy"\n'
    'headings = { Date = "date", Serial = "serial", Bench = "stage", In = "started_at", Out = "finished_at", '
    'Result = "outcome", Relief = "relief (mm)" }\n'
)
BENCHES = ("neck_straightening", "play_test", "final_inspection")
FIRST = datetime(2026, 3, 2, 22, 0)


def worked(nights=3, *, each=8, first=FIRST):
    """(begin, end, serial, bench) of each visit, in time: a night from 22:00 on, some 15 minutes a visit."""
    rows = []
    for night in range(nights):
        begin = first + timedelta(days=night)
        for k, bench in enumerate(BENCHES * each):
            at = begin + timedelta(minutes=15 * k)
            rows.append((at, at + timedelta(minutes=12), f"A{100 * night + k // 3}", bench))
    return rows


def written(rows, day_of):
    """The sheet's lines, with the day that `day_of` gives to a visit."""
    lines = [
        f"{day_of(begin):%d/%m/%Y},{serial},{bench},{begin:%H:%M},{end:%H:%M},pass,0.20"
        for begin, end, serial, bench in rows
    ]
    return "\n".join([HEAD, *lines]).encode()


def evening(begin):
    return begin - timedelta(hours=12)


def of_calendar(begin):
    return begin


def read(tmp_path, data, more=""):
    (tmp_path / "shop.toml").write_text(SHOP + KIND.replace("headings", f"{more}\nheadings"))
    return read_log(data, "night_1.csv", read_shop(tmp_path / "shop.toml"))


def asked(sheet):
    return [note for note in sheet.notes if "falls past midnight" in note]


def test_a_night_dated_by_its_evening_is_asked_about_with_the_word_that_mends_it(tmp_path):
    (note,) = asked(read(tmp_path, written(worked(), evening)))
    assert note.startswith(
        "3 times the clock falls past midnight within one day, such as 02/03/2026: 23:45, then 00:00."
    )
    assert "night_until = \"12:00\" in the [[log]] 'nights'" in note


def test_a_long_sheet_read_in_pieces_is_asked_about_once(tmp_path, monkeypatch):
    monkeypatch.setattr(reader, "AT_ONCE", 72)  # rows: three nights
    (note,) = asked(read(tmp_path, written(worked(12), evening)))
    assert note.startswith("12 times the clock falls past midnight within one day, such as 02/03/2026: 23:45")


def test_with_the_word_every_visit_stands_where_it_was(tmp_path):
    rows = worked()
    sheet = read(tmp_path, written(rows, evening), 'night_until = "12:00"')
    right = read(tmp_path, written([row for row in rows if row[0].day == row[1].day], of_calendar))
    assert asked(sheet) == []
    assert sheet.rows_set_aside == 0
    told = sheet.visits.select("serial", "stage", "started_at", "finished_at")
    assert right.visits.select(told.columns).join(told, on=told.columns, how="anti").is_empty()
    assert (told["finished_at"] - told["started_at"]).unique().to_list() == [timedelta(minutes=12)]
    assert told["started_at"].to_list() == sorted(told["started_at"])


def test_a_visit_that_begins_before_the_hour_and_ends_behind_it_keeps_its_length(tmp_path):
    row = (datetime(2026, 3, 3, 5, 55), datetime(2026, 3, 3, 6, 10), "A1", "play_test")
    sheet = read(tmp_path, written([row], evening), 'night_until = "06:00"')
    assert sheet.visits.select(pl.col("started_at").dt.day(), pl.col("finished_at").dt.day()).row(0) == (3, 3)
    assert sheet.visits.select(pl.col("started_at").dt.hour(), pl.col("finished_at").dt.hour()).row(0) == (5, 6)


def test_a_shop_may_say_that_its_days_stand_right(tmp_path):
    sheet = read(tmp_path, written(worked(), evening), 'night_until = "00:00"')
    assert asked(sheet) == []
    assert sheet.visits["started_at"].dt.day().max() == 4


def test_a_sheet_sorted_by_bench_shows_its_night_too(tmp_path):
    rows = sorted(worked(each=2), key=lambda row: (evening(row[0]).date(), BENCHES.index(row[3])))
    assert asked(read(tmp_path, written(rows, evening))) == []  # nothing fell past midnight that evening
    rows = sorted(worked(), key=lambda row: (evening(row[0]).date(), row[2]))
    (note,) = asked(read(tmp_path, written(rows, evening)))
    assert '"12:00"' in note


def test_a_sheet_of_day_and_night_tells_the_hour_between_them(tmp_path):
    rows = worked(3, each=34, first=datetime(2026, 3, 2, 6, 0))  # to 07:30 of the day after: longer than a day
    rows = [row for row in rows if row[0] - row[0].replace(hour=6, minute=0) < timedelta(days=1)]
    rows = [row for row in rows if (row[0] - timedelta(hours=6)).date() in {FIRST.date(), FIRST.date() + timedelta(1)}]
    rows = sorted({row[0]: row for row in rows}.values())
    (note,) = asked(read(tmp_path, written(rows, lambda begin: begin - timedelta(hours=6))))
    assert 'night_until = "06:00"' in note


@pytest.mark.parametrize("turned", ["as written", "newest first", "shuffled", "by serial"])
def test_days_of_the_calendar_are_not_asked_about_however_the_sheet_is_sorted(tmp_path, turned):
    rows = [row for row in worked(8) if row[0].day == row[1].day]
    if turned == "newest first":
        rows.reverse()
    if turned == "shuffled":
        random.Random(5).shuffle(rows)
    if turned == "by serial":
        rows.sort(key=lambda row: row[2])
    assert asked(read(tmp_path, written(rows, of_calendar))) == []


def test_times_with_a_day_of_their_own_show_no_night():
    texts = [["2026-03-02"] * 4, ["2026-03-02 23:50", "2026-03-03 00:10"] * 2, [""] * 4, ["A"] * 4]
    assert night_of(pl.DataFrame(dict(zip(ROWS, texts, strict=True))), "ymd") is None


def test_a_first_shop_asks_and_marks_its_guess():
    data = written(worked(), evening)
    proposal = propose([("night_2026-03-02.csv", data)])
    (ask,) = [ask for ask in proposal.asks if ask.key.startswith("night of")]
    assert (ask.options, ask.default) == (("yes", "no"), "yes")
    assert 'night_until = "12:00"  # guess: the clock falls past midnight within one day' in proposal.shop_toml
    said = propose([("night_2026-03-02.csv", data)], answers={ask.key: "no"})
    assert 'night_until = "00:00"\n' in said.shop_toml
    calm = propose([("night_2026-03-02.csv", written(worked(), of_calendar))])
    assert "night_until" not in calm.shop_toml
