"""Rows that wait for an answer are said before what was made of the others."""

from datetime import date

import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.story import unread as study
from analysis.studies.story.unread import unread
from dashboard.desk import desk, looking_back
from dashboard.sentences import unread as words
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW, SHOP, log

HEAD = "serial,model,stage,tech,started_at,outcome,relief (mm)"
REASON = "model 'LARK 26' is not known"


def week(day, *, strange=0, other="LARK 26"):
    """Forty instruments of a day; of so many the model is written in a way nobody knows."""
    return [
        f"S{day}-{k},{other if k < strange else 'LARK-25'},play_test,T01,{day} 08:{k:02},pass,0.2" for k in range(40)
    ]


def said(folder, *weeks):
    (folder / "shop.toml").write_text(SHOP)
    load(folder, [log(folder, f"w{n}.csv", rows, HEAD) for n, rows in enumerate(weeks)], now=NOW)
    return unread(open_snapshot(folder)).filter(pl.col("what") == study.ROWS)


def test_many_rows_of_the_newest_logs_that_wait_are_said_first_with_their_reason(tmp_path):
    found = said(tmp_path, week("2026-04-06"), week("2026-05-04"), week("2026-05-11", strange=12))
    assert found.rows() == [(study.ROWS, REASON, 12, 80, 1)]
    shop = open_snapshot(tmp_path).shop
    assert words.first_and_later(found, shop)[0] == [
        f"12\u00a0of\u00a080 rows of the newest logs wait for an answer and are in no figure: {REASON}."
    ]
    assert words.first(found, shop) == "Not read: 15\u00a0% of the newest rows."
    assert words.waiting(found, "necks")
    assert not words.in_logs(found, "week")
    assert unread(open_snapshot(tmp_path))["what"][0] == study.ROWS


@pytest.mark.parametrize(
    "weeks",
    [
        [week("2026-05-04"), week("2026-05-11", strange=9)],  # few
        [week("2026-03-02", strange=30), week("2026-05-04"), week("2026-05-11")],  # of long ago
    ],
)
def test_few_rows_and_those_of_old_logs_are_not_said_first(tmp_path, weeks):
    assert said(tmp_path, *weeks).is_empty()


def test_a_log_of_which_nothing_came_in_is_said_and_so_is_the_week_it_may_be_of(tmp_path):
    found = said(tmp_path, week("2026-03-02"), week("2026-05-11", strange=40))
    assert found.select("cells", "of", "key").rows() == [(40, 80, REASON)]
    desk.use(desk.Desk(tmp_path))
    with pytest.raises(UnusableData, match="to 2026-03-08; 40 rows on file wait for an answer in Logs"):
        looking_back.asked(date(2026, 5, 11))


def test_where_rows_wait_for_several_reasons_none_is_told_for_all(tmp_path):
    rows = [*week("2026-05-11", strange=12), *week("2026-05-12", strange=12, other="WREN 3")]
    assert said(tmp_path, rows)["key"].to_list() == [""]
