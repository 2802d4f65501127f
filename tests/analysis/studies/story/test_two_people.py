"""One code in two kinds of sheet at other hours, day after day, is asked about once; whoever changes shifts is not."""

from datetime import datetime, timedelta

import pytest

from analysis.studies.story.story import story
from analysis.studies.story.two_people import kind_of, one_code
from dashboard.sentences import two_people as words
from ingest.store.store import open_snapshot
from ingest.verbs.again import again_all
from ingest.verbs.load import load
from tests.ingest.bench import NOW, SHOP, log

LISTED = '\n[[tech]]\nkey = "JM"\n\n[[tech]]\nkey = "JM night"\n'
HEAD = "serial,model,stage,tech,started_at,outcome,relief (mm)"
KINDS = '\n[[log]]\nname = "day"\nfiles = "day_*.csv"\n\n[[log]]\nname = "night"\nfiles = "night_*.csv"\n'
FIRST = datetime(2026, 3, 2)


def shift(begins, who, *, days=12, hours=8):
    """Rows of a shift, one every half hour, by whoever `who` says of (day, number of the row)."""
    return [
        f"{'DN'[begins > 12]}{100 * day + k},LARK-25,neck_straightening,{who(day, k)},"
        f"{FIRST + timedelta(days=day, hours=begins, minutes=30 * k):%Y-%m-%d %H:%M},pass,0.20"
        for day in range(days)
        for k in range(2 * hours)
    ]


def shop_of(tmp_path, by_day, by_night, more="", *, night=22, hours=8):
    (tmp_path / "shop.toml").write_text(SHOP + LISTED + KINDS + more)
    sheets = {
        "day_2026-03-02.csv": shift(7, by_day, hours=hours),
        "night_2026-03-02.csv": shift(night, by_night, hours=hours),
    }
    load(tmp_path, [log(tmp_path, name, rows, HEAD) for name, rows in sheets.items()], now=NOW)
    return open_snapshot(tmp_path)


def pair(first, second):
    return lambda day, k: (first, second)[k % 2]


def test_a_code_by_day_and_by_night_is_asked_about_and_told_apart_by_a_word(tmp_path):
    snapshot = shop_of(tmp_path, pair("JM", "KD"), pair("JM", "LT"))
    (one,) = one_code(snapshot)
    assert (one.tech, set(one.kinds), one.visits, one.hours) == ("JM", {"day_*.csv", "night_*.csv"}, (96, 96), 16)
    line = words.asked(one).replace("\xa0", " ")
    assert line.startswith("Is JM one person? The code stands in day_*.csv (96 visits) and night_*.csv (96 visits)")
    (tmp_path / "shop.toml").write_text(SHOP + LISTED + KINDS + '[log.words.tech]\nJM = "JM night"\n')
    again_all(tmp_path, lambda changes: True, now=NOW)
    mended = open_snapshot(tmp_path)
    assert one_code(mended) == []
    assert set(mended.once(story).visits["tech"].cast(str)) == {"JM", "JM night", "KD", "LT"}


def test_that_it_is_one_person_is_said_by_the_same_word(tmp_path):
    assert one_code(shop_of(tmp_path, pair("JM", "KD"), pair("JM", "LT"), '[log.words.tech]\nJM = "JM"\n')) == []


@pytest.mark.parametrize(
    ("by_day", "by_night", "hours"),
    [
        (pair("KD", "EP"), pair("LT", "DV"), {}),
        (lambda day, k: "JM" if day < 6 else "KD", lambda day, k: "LT" if day < 7 else "JM", {}),
        (pair("JM", "KD"), pair("JM", "LT"), {"night": 13, "hours": 5}),
        (pair("JM", "KD"), pair("JM", "LT"), {"night": 9}),
    ],
    ids=["other people", "a week by day and a week by night", "a day of ten hours in two sheets", "the same hours"],
)
def test_who_may_well_be_one_person_is_not_asked_about(tmp_path, by_day, by_night, hours):
    assert one_code(shop_of(tmp_path, by_day, by_night, **hours)) == []


@pytest.mark.parametrize(
    ("name", "kind"), [("night_2026-08-24.csv", "night_*.csv"), ("wk33.xlsx", "wk*.xlsx"), ("cards.csv", "cards.csv")]
)
def test_kinds_of_sheet_differ_by_more_than_numbers(name, kind):
    assert kind_of(name) == kind
