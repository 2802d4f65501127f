"""What was not read, in words."""

import polars as pl

from analysis.studies.story import unread
from dashboard.sentences import unread as words
from tests.ingest.small_shop import small_shop


def test_stages_of_which_nothing_was_read_are_one_line_and_others_one_each():
    shop = small_shop()
    first, second, third = (stage.key for stage in shop.stages[:3])
    rows = [
        (unread.OUTCOMES, first, 9, 9, 1),
        (unread.OUTCOMES, second, 4, 9, 1),
        *((unread.STAGE, key, 0, 0, 0) for key in (first, second, third)),
    ]
    names = [shop.stage_name(key) for key in (first, second, third)]
    low = [name.lower() for name in names]
    assert words.lines(pl.DataFrame(rows, schema=unread.UNREAD, orient="row"), shop) == [
        f"Outcomes are not read at {low[0]}.",
        f"Outcomes are not read at {names[1]}: 4\u00a0of\u00a09 visits.",
        f"No row read of {low[0]}, {low[1]} and {low[2]}.",
    ]


def test_missing_causes_stand_behind_the_week_and_before_rework():
    shop = small_shop()
    rows = [(unread.CAUSES, "", 45, 45, 9), (unread.STAGE, shop.stages[0].key, 0, 0, 0)]
    told = pl.DataFrame(rows, schema=unread.UNREAD, orient="row")
    cause = "Causes are not read: no column says where a fault came from; 45 send-backs, fixes and rejects on file."
    before, behind = words.first_and_later(told, shop, "week")
    assert behind == [cause]
    assert len(before) == 1
    assert cause in words.first_and_later(told, shop, "rework")[0]
    assert words.first(told, shop) == ""
    assert words.in_logs(told.head(1), "rework")
    assert not words.in_logs(told.head(1), "week")
