"""Numbers that are used again in every batch: said where they are one instrument, told apart where a shop says so."""

import polars as pl
import pytest

from analysis.studies.story import unread as study
from analysis.studies.story.story import story
from analysis.studies.story.unread import unread
from dashboard.sentences import logs as sentences_logs
from dashboard.sentences import unread as words
from ingest.store.store import open_snapshot
from ingest.verbs.again import again_all
from ingest.verbs.load import load
from tests.ingest.bench import NOW, SHOP, log

HEAD = "serial,model,stage,tech,started_at,outcome,fault,relief (mm)"
STAGES = ("neck_straightening", "play_test", "final_inspection", "packing")
KIND = '\n[[log]]\nname = "batches"\nfiles = "*.csv"\n'
DAYS = ("2026-02-27", "2026-03-02", "2026-04-06", "2026-05-04")


def batch(day, *, stages=STAGES, outcome="pass", first=1, model="LARK-25"):
    """Fifteen instruments, numbered from `first` on, each over the stages of a day."""
    return [
        f"{first + k},{model if k % 2 else 'HERON'},{stage},T01,{day} {8 + hour:02}:{k:02},"
        f"{outcome if stage == stages[-1] else 'pass'},{'open-string buzz' if k == 3 else ''},0.2{k % 3}"
        for k in range(15)
        for hour, stage in enumerate(stages)
    ]


def shop_of(tmp_path, batches, *, kind=""):
    (tmp_path / "shop.toml").write_text(SHOP + kind)
    files = [log(tmp_path, f"batch_{k}.csv", rows, HEAD) for k, rows in enumerate(batches)]
    assert {one.outcome for one in load(tmp_path, files, now=NOW)} == {"loaded"}
    return open_snapshot(tmp_path)


def said(snapshot):
    return unread(snapshot).filter(pl.col("what") == study.SERIALS)


@pytest.mark.parametrize("stages", [STAGES, STAGES[:3]])
@pytest.mark.parametrize("outcome", ["pass", "reject"])
def test_numbers_that_come_again_in_each_batch_are_said(tmp_path, stages, outcome):
    found = said(shop_of(tmp_path, [batch(day, stages=stages, outcome=outcome) for day in DAYS[1:]]))
    assert found.select("cells", "of", "logs").rows() == [(30, 45, 2)]
    for page in ("week", "drift", "capability", "rework", "bench"):
        told = words.lines(found, open_snapshot(tmp_path).shop, page)
        assert [one.partition(",")[0] for one in told] == [
            "30 times an instrument comes again a week or more after it had passed"
        ]
        assert not words.in_logs(found, page)


def test_returns_repeats_of_work_and_instruments_that_come_once_are_not_taken_for_it(tmp_path):
    batches = [batch(day, first=100 * k) for k, day in enumerate(DAYS[1:])]
    back = [row.replace(",neck_straightening,", ",play_test,") for row in batch("2026-05-20", stages=("play_test",))]
    returned = [row.replace(",pass,", ",return,") for row in back]
    sent = [row.replace(",pass,", ",send back,") for row in batch("2026-05-04", stages=("play_test",), first=900)]
    again = batch("2026-05-14", stages=("play_test",), first=900)
    assert said(shop_of(tmp_path, [*batches, returned, [*sent, *again]])).is_empty()


@pytest.mark.parametrize(("every", "many"), [("each month", 45), ("each day", 60), ("each year", 15), ("", 15)])
def test_a_serial_stands_for_one_instrument_within_its_day_month_or_year(tmp_path, every, many):
    days = [DAYS[1], "2026-03-20", *DAYS[2:]]
    kind = KIND + (f'serials = "{every}"\n' if every else "")
    snapshot = shop_of(tmp_path, [batch(day) for day in days], kind=kind)
    told = snapshot.once(story)
    assert told.instruments.height == many
    names = {"each month": "3 of 2026-04", "each day": "3 of 2026-03-20", "each year": "3 of 2026", "": "3"}
    assert names[every] in told.instruments["serial"].to_list()
    for name in ("readings", "faults"):
        assert set(snapshot.table(name)["serial"]) <= set(told.instruments["serial"])
    assert said(snapshot).is_empty() == (every == "each day")  # two batches of a month are of one number still
    assert told.visits.filter(pl.col("first_pass")).height == 4 * many


def test_an_instrument_a_row_is_of_the_month_in_which_its_row_began(tmp_path):
    rows = [f"{k},LARK-25,2026-03-31,2026-04-01,0.2{k % 3}" for k in range(12)]
    kind = (
        KIND + 'shape = "instrument"\nserials = "each month"\n'
        'headings = { "set" = "date @ play_test", "out" = "date @ packing", "relief" = "relief @ play_test" }\n'
    )
    (tmp_path / "shop.toml").write_text(SHOP + kind)
    load(tmp_path, [log(tmp_path, "a.csv", rows, "serial,model,set,out,relief")], now=NOW)
    told = open_snapshot(tmp_path).once(story)
    assert set(told.instruments["serial"]) == {f"{k} of 2026-03" for k in range(12)}
    assert set(told.visits["stage"]) == {"play_test", "packing"}


def test_a_shop_that_says_it_afterwards_has_every_original_read_anew(tmp_path):
    shop_of(tmp_path, [batch(day) for day in DAYS[1:]], kind=KIND)
    toml = tmp_path / "shop.toml"
    toml.write_text(toml.read_text() + 'serials = "each month"\n')
    again_all(tmp_path, lambda _: True, now=NOW)
    assert open_snapshot(tmp_path).once(story).instruments.height == 45


def test_two_models_of_many_numbers_ask_whether_they_are_used_again():
    rows = {"serial": [f"{k}" for k in range(5)], "field": "model", "value": "A", "other": "B", "name": "a", "line": 1}
    found = pl.DataFrame(rows | {"other_name": "b", "other_line": 2})
    asked = "Are numbers used again for other instruments?"
    assert any(asked in line for line in sentences_logs._two_values(found))
    assert not any(asked in line for line in sentences_logs._two_values(found.head(4)))
    assert not any(asked in line for line in sentences_logs._two_values(found.with_columns(field=pl.lit("lot"))))
