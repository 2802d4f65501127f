"""What was put right on the spot, or refused, more often than before, in words."""

from datetime import UTC, date, datetime

import polars as pl
import pytest

from analysis.studies.week.not_passed import FIXED, NOT_PASSED, REFUSED
from analysis.studies.week.on_hold import ON_HOLD
from analysis.studies.week.refused_lots import REFUSED_LOTS
from analysis.studies.week.returned import Returned
from dashboard.sentences import findings
from tests.dashboard.sentences.test_shared import SHOP, flows, found, matter

PLACE = "final_inspection"


def of(*rows):
    return pl.DataFrame(rows, schema=NOT_PASSED, orient="row")


def row(kind, count, *, since=date(2026, 3, 23), later=31, fault="buzz", minutes=None):
    return (PLACE, kind, count, 50, since, later, 100, 14, 350, fault, minutes)


def told(review):
    return [one.text.replace("\u00a0", " ") for one in findings.week(review, SHOP)]


def test_many_refused_head_the_week_with_the_week_since_and_what_was_before():
    review = found(matters=[matter()], not_passed=of(row(REFUSED, 16)))
    assert findings.first(review, SHOP).replace("\u00a0", " ") == (
        "Final inspection: 16 of 50 instruments did not pass."
    )
    first, second = told(review)[:2]
    assert first == (
        "Final inspection: 16 of 50 instruments did not pass; since the week of 23 Mar 31 of 100 (31 %), before 14 of "
        "350 (4 %). Rejects and seconds, which no send-back counts. Most with buzz."
    )
    assert "moved up" in second
    assert "at one stage more did not pass than before" in findings.headline(review, SHOP)


@pytest.mark.parametrize(("kind", "count"), [(FIXED, 16), (REFUSED, 2)])
def test_what_was_put_right_and_few_refused_stand_behind_what_moved(kind, count):
    review = found(matters=[matter()], not_passed=of(row(kind, count, later=count, fault="", minutes=96.0)))
    lines = told(review)
    assert "moved up" in lines[0]
    word = "put right on the spot" if kind == FIXED else "did not pass"
    assert f"instruments {word}; before 14 of 350 (4 %)" in lines[1]
    assert "1.6 h more than if they had passed." in lines[1]
    assert "Most with" not in lines[1]


def test_two_at_most_are_told():
    rows = [row(FIXED, count) for count in (9, 8, 7)]
    assert sum("put right on the spot" in line for line in told(found(not_passed=of(*rows)))) == 2


def test_a_lot_of_which_many_were_refused_is_named():
    row = ("final_inspection", "Pine", "P-07", 16, 121, 7, 839, "cracked brace")
    [line, *_] = told(found(refused_lots=pl.DataFrame([row], schema=REFUSED_LOTS, orient="row")))
    assert line == (
        "Lot P-07 of Pine: 16 of 121 did not pass final inspection; of all other lots 7 of 839 (1 %). Most with "
        "cracked brace."
    )


def test_many_on_hold_are_told_with_what_they_wait_for():
    row = ("final_inspection", 53, 18, 120, datetime(2026, 3, 9, 17, tzinfo=UTC), "no saddle blanks")
    lines = told(found(on_hold=pl.DataFrame([row], schema=ON_HOLD, orient="row")))
    assert lines[0] == (
        "53 instruments are on hold at final inspection, the first since 9 Mar, 18 of them put there this week; 120 "
        "came there this week. Most with no saddle blanks."
    )


def test_returns_are_told_where_they_take_more_than_what_was_sent_back_or_are_many():
    line = "13 instruments came back after packing; 16 in the four weeks before, 13.9 h of work in all."
    assert told(found(returned=Returned(13, 16, 834.0, "buzz")))[0] == (
        f"{line} No figure of rework counts them. Most with buzz."
    )
    sent = flows(("nut_slotting", "final_inspection", 9, 258.0, 0, 0.0))
    some = found(returned=Returned(4, 0, 300.0), flows=sent)
    assert any(
        "4 instruments came back after packing; none in the four weeks before, 5.0 h" in one for one in told(some)
    )
    for few in (Returned(2, 9, 900.0), Returned(4, 9, 250.0)):
        assert not any("after packing" in one for one in told(found(returned=few, flows=sent)))


def test_what_waits_on_hold_takes_the_place_of_the_last_of_four_moves():
    row = ("final_inspection", 53, 18, 120, datetime(2026, 3, 9, 17, tzinfo=UTC), "no saddle blanks")
    four = [matter(key=f"a{k}", models=[f"M-{k}"]) for k in range(4)]
    lines = told(found(matters=four, on_hold=pl.DataFrame([row], schema=ON_HOLD, orient="row")))
    assert ["moved up" in line for line in lines[:4]] == [True, True, True, False]
    assert "One more moved: see Book." in lines[2]
    assert "are on hold" in lines[3]
    assert sum("moved up" in line for line in told(found(matters=four))) == 4
