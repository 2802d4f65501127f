"""Rework in words where little or nothing is on file."""

from datetime import date
from types import SimpleNamespace

import polars as pl
import pytest

from analysis.studies.drift.shares import Since
from analysis.studies.drift.shares_standing import Standing
from analysis.studies.rework.rework import Flows
from analysis.studies.rework.work_mix import UNKNOWN
from dashboard.sentences import came_back, rework


def spaced(text):
    return text.replace("\u00a0", " ")


def flows(count):
    rows = pl.DataFrame({"caused_at": ["unknown"] * count, "minutes": [0.0] * count})
    return Flows(rows, pl.DataFrame({"count": [count], "minutes": [0.0]}))


@pytest.mark.parametrize(
    ("count", "head", "flow"),
    [
        (
            1,
            "1 sent back in 4 weeks; no work on it is on file yet.",
            "One instrument was sent back; no work on it is on file yet.",
        ),
        (
            2,
            "2 sent back in 4 weeks; no work on them is on file yet.",
            "2 instruments were sent back; no work on them is on file yet.",
        ),
    ],
)
def test_one_that_came_back_is_one(count, head, flow):
    assert rework.headline(flows(count), None, "in 4 weeks", 12) == head
    assert rework.flow(flows(count), None) == flow


@pytest.mark.parametrize(
    ("confirmed", "said"), [(0, "nut. Play caught"), (2, "nut, 50 % of its send-backs confirmed. ")]
)
def test_confirmed_send_backs_are_told_where_there_are_any(monkeypatch, confirmed, said):
    monkeypatch.setattr(rework, "place", lambda _, stage: stage)
    row = {"caused_at": "nut", "caught_at": "play", "minutes": 60.0, "count": 4, "count_confirmed": confirmed}
    found = Flows(pl.DataFrame([row]), pl.DataFrame({"count": [4], "minutes": [60.0]}))
    assert said in spaced(rework.headline(found, None, "in 4 weeks", 12))


@pytest.mark.parametrize(("count", "said"), [(1, "The one send-back names no fault."), (3, "None of the 3 send-backs")])
def test_faults_nobody_named_are_counted(count, said):
    assert rework.faults(pl.DataFrame({"name": [""], "count": [count]})).startswith(said)


def test_weeks_whose_ends_are_not_read_are_not_said_to_be_clean():
    assert rework.not_read("in 4 weeks", 116) == (
        "What was sent back in 4 weeks is not read: no log says how the visits of 116 judged ended."
    )
    assert "how the one judged ended" in rework.not_read("in 1 week", 1)


def test_before_is_what_came_back_then_and_what_this_weeks_work_lets_expect_stands_beside_it():
    row = {
        "stage": "nut_slotting", "instruments": 125, "came_back": 14, "share": 14 / 125, "state": "within",
        "base_instruments": 1500, "base_came_back": 115, "base_share": 0.15, "lower": 0.06, "upper": 0.25,
        "faults_each": 0.11, "base_faults_each": 0.08, "faults_lower": 0.04, "faults_upper": 0.2,
        "faults_state": "within",
    }  # fmt: skip
    shop = SimpleNamespace(stage_name=lambda key: "Nut slotting")
    told = spaced(rework.weekly_row(row)["before"])
    assert told == (
        "before 8 %, by which to expect 15 % of this week's models, lots and inspectors; chance gives 6 to 25 %"
    )
    assert spaced(rework.weekly_figures(row)["base"]) == "8 %"
    alike = row | {"base_share": 115 / 1500}
    assert spaced(rework.weekly_row(alike)["before"]) == "before 8 %; chance gives 6 to 25 %"
    say = spaced(rework.weekly_say(pl.DataFrame([row | {"state": "above"}]), shop))
    assert "8 % in the twelve weeks before, which let expect 15 % of this week's" in say


def test_a_first_week_is_held_against_none():
    none = pl.DataFrame()
    assert rework.weekly_say(none, None, held=False) == (
        "No week before this one is on file to hold it against. The largest:"
    )
    assert rework.weekly_say(none, None).startswith("In this week alone no stage differs")


def test_what_lasts_is_told_since_when_and_how_sure_it_is():
    shop = SimpleNamespace(stage_name=lambda key: "Nut slotting")
    more = Standing("nut", date(2025, 11, 3), Since(31, 190, 12.2, 1.71, 3.94))
    less = Standing(UNKNOWN, date(2026, 3, 9), Since(1, 190, 9.1, 0.01, 0.5))
    said = rework.lasting([more, less], shop, date(2026, 3, 23)).replace("\u00a0", " ")
    assert said == (
        "More than before at nut slotting since the week of 3 Nov 2025: 31 of 190 instruments (16 %) where some 12 "
        "(6 %) would be expected; 1.7 to 3.9 times as many. Less than before at stage not known since the week of "
        "9 Mar: 1 of 190 instruments (1 %) where some 9.1 (5 %) would be expected; 0.0 to 0.5 times as many."
    )
    alone = Standing("nut", date(2026, 3, 9), Since(31, 190, 12.2, 1.71, 3.94), ("WREN", "LARK"))
    assert rework.lasting([alone], shop, date(2026, 3, 23)).startswith(
        "More than before at nut slotting on WREN and LARK since the week of"
    )


@pytest.mark.parametrize(
    ("count", "straight", "said"),
    [
        (0, 1.0, "Nothing was sent back."),
        (0, None, "Send-backs are not read: no log says how the visits of 26 judged ended."),
        (1, 0.9, "1 send-back; no work on it is on file yet."),
    ],
)
def test_the_paper_says_what_is_not_read_rather_than_that_nothing_came_back(count, straight, said):
    day = date(2026, 9, 14)
    weeks = pl.DataFrame({"week": [day], "judged": [26], "never_sent_back": pl.Series([straight], dtype=pl.Float64)})
    found = SimpleNamespace(unread=pl.DataFrame({"what": [""], "key": [""]}), weeks=weeks, week=day)
    assert came_back.all_of_it(found, {"count": count, "minutes": 0.0}, None) == said


def test_what_the_stages_let_through_is_no_expectation_of_what_was_never_sent_back():
    row = {"never_sent_back": 1.0, "never_sent_back_low": 0.93, "never_sent_back_high": 1.0, "rolled_yield": 0.68}
    said = spaced(rework.straight(50, 50, pl.DataFrame([row])))
    assert said == (
        "Never sent back: 50 of 50, 100 % (93 to 100 %). Through every stage at first, by the stages one by one: 68 %; "
        "fixes and rejects count there."
    )
