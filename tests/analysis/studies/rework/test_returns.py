"""Returns: what came back after packing, by hand."""

from datetime import date

import pytest

from analysis.studies.rework.returns import COLUMNS, returns
from analysis.studies.rework.rework import flows
from analysis.studies.story.scope import Scope
from tests.analysis.studies.benches import bench

# A came back a week after packing with a buzz of the nut: final 5, nut 8, final 5, packing 5 = 23 minutes (a minute
# costs 1). B came back twice: once told as a return, once seen again at the bridge (6) without a word.
LINES = """
    A 2 8 nut pass
    A 2 9 final pass
    A 2 10 packing pass
    A 9 10 final return cause=nut fault=buzz
    A 9 11 nut pass
    A 9 12 final pass
    A 9 13 packing pass
    B 2 9 final pass
    B 2 12 packing pass
    B 10 12 final return
    B 10 13 packing pass
    B 17 13 bridge pass
    C 2 8 final send_back sent_back_to=nut
    C 2 9 nut pass
    C 2 10 final pass
    C 2 11 packing pass"""


def test_returns_and_what_they_cost_by_hand():
    table = returns(bench(LINES))
    told = table.select("serial", "round", "caused_at", "fault", "days_out", "visits", "minutes", "cost", "packed")
    assert tuple(table.columns) == COLUMNS
    assert told.rows() == [
        ("B", 3, "unknown", "", 7.0, 1, 6.0, 6.0, False),
        ("B", 2, "unknown", "", 8.0, 2, 10.0, 10.0, True),
        ("A", 2, "nut", "buzz", 7.0, 4, 23.0, 23.0, True),
    ]


def test_a_return_stands_in_its_week_and_not_among_the_loops_of_round_one():
    snapshot = bench(LINES)
    assert returns(snapshot, Scope(last=date(2026, 3, 9)))["serial"].to_list() == ["B", "A"]
    assert flows(snapshot).total["minutes"][0] == pytest.approx(5.0)  # C at final again; the nut for the first time
    assert returns(bench("A 2 9 final pass")).is_empty()
