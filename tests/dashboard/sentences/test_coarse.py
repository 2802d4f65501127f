"""Coarse gauges in words: what is declared, and what readings of late show with its day."""

from datetime import UTC, datetime

import polars as pl
import pytest

from dashboard.sentences import coarse, findings
from tests.dashboard.sentences.test_shared import FULL, SHOP, WEEK, found, plain

ROWS = {
    "characteristic": ["action", "action", "relief"],
    "model": ["LARK", "WREN", "LARK"],
    "sigma": [0.1, 0.1, 0.05],
    "step": [0.1984, 0.1984, None],
    "declared": [0.05, 0.05, None],
    "since": [datetime(2026, 3, 30, 7, tzinfo=UTC)] * 2 + [None],
}
SAID = "in steps of 0.20 mm, where the usual spread is 0.10 mm; shop.toml says 0.05 mm."


def states_of(**given):
    return [one.state for one in findings.week(found(**(FULL | given)), SHOP)]


def test_what_is_read_coarsely_of_late_is_told_with_its_day_its_step_and_what_is_declared():
    one = coarse.coarse(found(coarse=pl.DataFrame(ROWS)), SHOP)
    assert plain(one.lead) == "Action on LARK and WREN is read too coarsely to judge one instrument"
    assert plain(one.rest) == f": since about 30 Mar {SAID}"
    assert plain(one.why).startswith("Three series are coarse.")
    late = coarse.of_late(pl.DataFrame(ROWS))
    assert plain(coarse.every(late, SHOP, WEEK)) == (
        f"Action on LARK and WREN is read too coarsely of late: since about 30 Mar {SAID}"
    )


@pytest.mark.parametrize("without", ["since", "declared"])
def test_what_is_not_known_is_not_said(without):
    late = pl.DataFrame(ROWS).head(2).with_columns(pl.lit(None, pl.DataFrame(ROWS).schema[without]).alias(without))
    text = plain(coarse.every(late, SHOP, WEEK))
    assert ("since" in text) == (without != "since")
    assert ("shop.toml" in text) == (without != "declared")


def test_in_the_four_weeks_of_its_coming_it_stands_behind_what_moved_then_among_what_asks_nothing():
    coming = pl.DataFrame(ROWS)
    assert states_of(coarse=coming)[:3] == ["moved-up", "moved-down", "coarse"]
    old = coming.with_columns(pl.col("since").dt.offset_by("-10w"))
    assert states_of(coarse=old).index("coarse") > states_of(coarse=old).index("in-doubt")
    assert states_of(coarse=coming).count("coarse") == states_of(coarse=old).count("coarse") == 1


def test_what_was_always_coarse_is_told_as_it_was():
    one = coarse.coarse(found(coarse=FULL["coarse"]), SHOP)
    assert plain(one.rest) == ": one step of the gauge is more than the usual spread."
    assert coarse.of_late(FULL["coarse"]).is_empty()
