"""Clocks of a stage against the minutes somebody planned for it: hundreds that agree win, one that ran on does not."""

import random

import polars as pl
import pytest

from analysis.studies.story import kept
from analysis.studies.story import unread as study
from analysis.studies.story.story import story
from analysis.studies.story.unread import unread
from dashboard.sentences import unread as words
from ingest.store import keeping, kept_tables
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW, SHOP, log

HEAD = "serial,model,stage,tech,started_at,finished_at,outcome,relief (mm)"


def visits(n, minutes, *, first=0, tech="T01", together=1):
    """One visit after another at a bench, each as long as `minutes` says; `together` of them under the same stamps."""
    rows = []
    for k in range(n):
        day, slot = divmod(k // together, 9)
        took = minutes(k) if callable(minutes) else minutes
        begin = f"2026-03-{2 + day % 26:02d} {8 + slot:02d}:00"
        end = f"2026-03-{2 + day % 26:02d} {8 + slot + took // 60:02d}:{took % 60:02d}"
        rows.append(f"A{first + k},LARK-25,neck_straightening,{tech},{begin},{end},pass,0.20")
    return rows


def shop_of(tmp_path, *logs, planned=3):
    tmp_path.mkdir(exist_ok=True)
    lines = SHOP.split('key = "neck_straightening"\n')
    assert len(lines) == 2
    (tmp_path / "shop.toml").write_text(f'{lines[0]}key = "neck_straightening"\nminutes = {planned}\n{lines[1]}')
    files = [log(tmp_path, f"bench_{k}.csv", rows, HEAD) for k, rows in enumerate(logs)]
    assert {one.outcome for one in load(tmp_path, files, now=NOW)} == {"loaded"}
    return open_snapshot(tmp_path)


def told(snapshot):
    rows = snapshot.once(story).visits.whole().group_by("minutes", "minutes_from").len().sort("minutes")
    return rows.select("minutes", pl.col("minutes_from").cast(pl.String), "len").rows()


def test_clocks_that_agree_win_over_the_minutes_planned(tmp_path):
    snapshot = shop_of(tmp_path, visits(120, lambda k: 45 if k % 10 == 0 else 14))
    assert told(snapshot) == [(14.0, "clock", 108), (45.0, "clock", 12)]
    found = unread(snapshot).filter(pl.col("what") == study.PLANNED)
    assert found.select("key", "cells", "of", "logs").rows() == [("neck_straightening", 120, 14, 3)]
    for page in ("week", "rework", "bench"):
        (line,) = words.lines(found, snapshot.shop, page)
        assert "takes 14 minutes by the clock (half of 120 visits less, half more), and 3 are planned" in line


def test_a_clock_that_ran_on_by_itself_is_left_out_and_counted(tmp_path):
    snapshot = shop_of(tmp_path, visits(120, lambda k: 300 if k == 7 else 14))
    assert told(snapshot) == [(3.0, "planned", 1), (14.0, "clock", 119)]
    found = unread(snapshot).filter(pl.col("what") == study.CLOCKS)
    assert found.select("cells", "of", "logs").rows() == [(1, 120, 1)]
    assert words.lines(found, snapshot.shop, "week") == []  # few are no matter of the week
    (line,) = words.lines(found, snapshot.shop, "rework")
    assert line.replace("\xa0", " ").startswith(
        "1 of 120 clocks runs backwards, or over four times as long as is planned and usual"
    )


@pytest.mark.parametrize("n", [20, 29])
def test_a_few_clocks_say_nothing_against_the_plan(tmp_path, n):
    assert told(shop_of(tmp_path, visits(n, 45))) == [(3.0, "planned", n)]


@pytest.mark.parametrize("tech", ["T01", ""])
def test_many_stamped_together_are_no_minutes_of_any_of_them(tmp_path, tech):
    snapshot = shop_of(tmp_path, visits(120, 50, tech=tech, together=10))
    assert told(snapshot) == [(3.0, "planned", 120)]
    assert study.PLANNED not in set(unread(snapshot)["what"])


def test_a_plan_that_the_clocks_keep_is_not_told(tmp_path):
    assert {study.PLANNED, study.CLOCKS}.isdisjoint(unread(shop_of(tmp_path, visits(120, 5)))["what"])


def test_what_a_bench_took_half_a_year_ago_says_nothing_of_the_plan(tmp_path):
    late = [row.replace("2026-03-", "2025-03-") for row in visits(120, 14)]
    snapshot = shop_of(tmp_path, late, visits(120, 5, first=500))
    assert study.PLANNED not in set(unread(snapshot)["what"])
    assert study.PLANNED in set(unread(shop_of(tmp_path / "b", visits(120, 14)))["what"])


def test_the_story_carried_on_believes_the_same_clocks_as_the_one_worked_out_again(tmp_path, monkeypatch):
    monkeypatch.setattr(kept, "LEAST", 0)
    monkeypatch.setattr(kept_tables, "SOME", 1e9)
    monkeypatch.setattr(kept, "MOST", 1.0)
    monkeypatch.setattr(keeping, "FRESH", 1e9)
    draw = random.Random(31)
    first = visits(29, lambda k: 210 if k % 5 == 0 else draw.randint(31, 45))
    shop_of(tmp_path, first).once(story)
    believed = []
    for k in range(1, 5):  # the thirtieth clock says what is usual, later ones move it, in the end too many are at once
        more = visits(12, lambda _: draw.randint(60, 100), first=1000 * k)
        load(tmp_path, [log(tmp_path, f"more_{k}.csv", more, HEAD)], now=NOW)
        carried = open_snapshot(tmp_path).once(story).visits.whole()
        with monkeypatch.context() as patch:
            patch.setattr(kept, "LEAST", 10**9)
            afresh = open_snapshot(tmp_path).once(story).visits.whole()
        assert carried.select("serial", "minutes", "minutes_from").equals(
            afresh.select("serial", "minutes", "minutes_from")
        )
        believed.append(int((afresh["minutes_from"] == "clock").sum()))
    assert believed == [35, 53, 65, 0]
