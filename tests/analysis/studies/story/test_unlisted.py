"""Who stands in the logs and in no list is told, once, and nobody else's figures stand for theirs."""

from datetime import date, timedelta

import polars as pl

from analysis.studies.story.unlisted import OF_LATE, unlisted
from analysis.studies.story.unread import PEOPLE, unread
from dashboard.app import make_app
from dashboard.desk.desk import Desk
from dashboard.pages.bench import page as bench
from dashboard.sentences import unread as words
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.dashboard.pages.said import said
from tests.ingest.bench import NOW, SHOP, log, row, shop

MORE = '\n[people]\nshow = "names"\npurpose = "coaching"\n\n[[tech]]\nkey = "T01"\n'


def folder_of(tmp_path, techs):
    folder = shop(tmp_path)
    (folder / "shop.toml").write_text(SHOP + MORE)
    rows = [
        row(f"S{number}", tech=tech, start=f"2026-05-{10 + number // 10} {9 + number % 8:02}:00", finish="")
        for number, tech in enumerate(techs)
    ]
    load(folder, [log(folder, "week.csv", rows)], now=NOW)
    return folder


def test_whoever_signs_and_stands_in_no_list_is_counted_the_busiest_first(tmp_path):
    folder = folder_of(tmp_path, ["T01"] * 5 + ["Ada"] * 2 + ["Bo"] * 31 + ["Cy"] * 30 + ["Bo + T01", ""])
    snapshot = open_snapshot(folder)
    assert unlisted(snapshot).rows() == [
        ("Bo", 31, date(2026, 5, 10)),
        ("Cy", 30, date(2026, 5, 13)),
        ("Ada", 2, date(2026, 5, 10)),
    ]
    told = snapshot.once(unread).filter(pl.col("what") == PEOPLE)
    assert told.select("cells", "of", "logs").rows() == [(61, 70, 2)]  # twice is a slip: Logs asks
    before, behind = words.first_and_later(told, snapshot.shop)
    assert before == []
    assert [one.replace("\u00a0", " ") for one in behind] == [
        "Two names in the logs stand in no list (61 of 70 visits): say in Logs who that is; until then nobody's Bench "
        "has this work."
    ]


def test_who_is_listed_or_has_left_is_not(tmp_path):
    snapshot = open_snapshot(folder_of(tmp_path, ["T01"] * 5))
    assert unlisted(snapshot).is_empty()
    assert PEOPLE not in snapshot.once(unread)["what"].to_list()
    folder = folder_of(tmp_path, ["T01", "Ada"])
    late = open_snapshot(folder, as_of=NOW + OF_LATE + timedelta(days=30))
    assert unlisted(late).is_empty()


def test_bench_asked_for_such_a_name_shows_nobody_else(tmp_path):
    folder = folder_of(tmp_path, ["T01"] * 5 + ["Ada"] * 2)
    make_app(Desk(folder))
    text = said(bench.layout(tech="Ada"))
    assert "Ada stands in the logs and in no list." in text
    assert "T01" not in text
    assert "Ada stands in the logs" not in said(bench.layout(tech="T01"))
