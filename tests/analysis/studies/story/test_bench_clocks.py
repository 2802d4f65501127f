"""A bench whose clock is off is named, with how far, since when and the word that sets it right; work in another order
than shop.toml's, and stamps that meet by minutes, are no such clock.
"""

import random
from datetime import datetime, timedelta

import polars as pl
import pytest

from analysis.studies.story import unread as study
from analysis.studies.story.bench_clocks import clocks_off
from analysis.studies.story.story import story
from analysis.studies.story.unread import unread
from dashboard.sentences import unread as words
from ingest.shopfiles.shop import ShopProblem, read_shop
from ingest.store.store import open_snapshot
from ingest.verbs.again import again_all
from ingest.verbs.load import load
from tests.ingest.bench import NOW, SHOP, log

HEAD = "serial,model,stage,tech,started_at,finished_at,outcome,relief (mm)"
BENCHES = ("receiving", "neck_straightening", "play_test", "final_inspection")
KIND = '\n[[log]]\nname = "bench"\nfiles = "*.csv"\n'
FIRST = datetime(2026, 3, 2, 8)


def rows(ahead, *, order=BENCHES, days=20, each=8, gap=(5, 90)):
    """Instruments over the benches of a day; `ahead` says by (bench, day) how many minutes a clock runs ahead."""
    draw = random.Random(8)
    made = []
    for day in range(days):
        for k in range(each):
            at = FIRST + timedelta(days=day, minutes=12 * k)
            for bench in order:
                by = timedelta(minutes=ahead(bench, day))
                end = at + timedelta(minutes=15)
                made.append(
                    f"A{100 * day + k},LARK-25,{bench},T01,{at + by:%Y-%m-%d %H:%M},{end + by:%Y-%m-%d %H:%M},pass,0.20"
                )
                at = end + timedelta(minutes=draw.randint(*gap))
    return made


def shop_of(tmp_path, sheet, more=""):
    (tmp_path / "shop.toml").write_text(SHOP + KIND + more)
    load(tmp_path, [log(tmp_path, "bench.csv", sheet, HEAD)], now=NOW)
    return open_snapshot(tmp_path)


def at(bench, minutes, first=0, last=1000):
    return lambda here, day: minutes if here == bench and first <= day < last else 0


@pytest.mark.parametrize(("bench", "minutes"), [("neck_straightening", 180), ("play_test", -110)])
def test_a_bench_whose_clock_is_off_is_named(tmp_path, bench, minutes):
    snapshot = shop_of(tmp_path, rows(at(bench, minutes)))
    (off,) = clocks_off(snapshot)
    assert (off.stage, off.since, off.until) == (bench, None, None)
    assert off.minutes == pytest.approx(minutes, abs=20)
    found = unread(snapshot).filter(pl.col("what") == study.OFF)
    for page in ("week", "drift", "rework", "bench"):
        (line,) = words.lines(found, snapshot.shop, page)
        assert line.startswith(f"The clock of {bench.replace('_', ' ')} runs about ")
        assert ("ahead of" in line) == (minutes > 0)


def test_the_word_sets_it_right(tmp_path):
    sheet = rows(at("neck_straightening", 180))
    (tmp_path / "straight").mkdir()
    straight = shop_of(tmp_path / "straight", rows(at("", 0)))
    snapshot = shop_of(tmp_path, sheet)
    assert clocks_off(snapshot)
    (tmp_path / "shop.toml").write_text(SHOP + KIND + 'clock_ahead = { neck_straightening = "3:00" }\n')
    again_all(tmp_path, lambda changes: True, now=NOW)
    mended = open_snapshot(tmp_path)
    assert clocks_off(mended) == []
    told = ("serial", "stage", "started_at", "finished_at", "minutes")
    assert mended.once(story).visits.whole().select(told).equals(straight.once(story).visits.whole().select(told))


def test_load_names_the_bench_that_is_always_one_of_the_two(tmp_path):
    (tmp_path / "shop.toml").write_text(SHOP + KIND)
    (one,) = load(tmp_path, [log(tmp_path, "bench.csv", rows(at("neck_straightening", 180)), HEAD)], now=NOW)
    (note,) = [note for note in one.notes if "two stages at once" in note]
    assert "; neck_straightening is one of the two in " in note
    assert note.endswith(": is its clock right?")


def test_since_when_and_until_when_are_told_and_may_be_said(tmp_path):
    sheet = rows(at("neck_straightening", 180, 6, 14))
    snapshot = shop_of(tmp_path, sheet)
    (off,) = clocks_off(snapshot)
    assert (str(off.since), str(off.until)) == ("2026-03-08", "2026-03-15")
    found = unread(snapshot).filter(pl.col("what") == study.OFF)
    (line,) = words.lines(found, snapshot.shop, "week")
    word = "3:00 since 2026-03-08 until 2026-03-15"
    assert word in line
    (tmp_path / "shop.toml").write_text(SHOP + KIND + f'clock_ahead = {{ neck_straightening = "{word}" }}\n')
    again_all(tmp_path, lambda changes: True, now=NOW)
    assert clocks_off(open_snapshot(tmp_path)) == []


@pytest.mark.parametrize(
    "sheet",
    [
        rows(at("", 0)),
        rows(at("", 0), order=(BENCHES[0], BENCHES[2], BENCHES[1], BENCHES[3])),
        rows(at("neck_straightening", 8), gap=(0, 6)),
        rows(at("neck_straightening", 180), days=1),
    ],
    ids=["all right", "another order of work", "stamps that meet by minutes", "a few"],
)
def test_what_is_no_clock_that_is_off(tmp_path, sheet):
    assert clocks_off(shop_of(tmp_path, sheet)) == []


@pytest.mark.parametrize("said", ['{ neck = "3:00" }', '{ neck_straightening = "three" }'])
def test_a_word_that_says_nothing_is_refused(tmp_path, said):
    (tmp_path / "shop.toml").write_text(SHOP + KIND + f"clock_ahead = {said}\n")
    with pytest.raises(ShopProblem, match="clock_ahead"):
        read_shop(tmp_path / "shop.toml")
