"""What is said of a tech against the others: never a nought with an interval of noughts."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from analysis.studies.people.first_work import Late
from analysis.studies.people.learning_curves import Offset, Practice
from analysis.studies.people.level_reached import Since
from dashboard.sentences import bench, coaching, practice
from tests.dashboard.sentences.test_shared import MovesWith, candidate, matter


@pytest.fixture
def shop(people_desk):
    return people_desk.snapshot().shop


def said(shop, offset, low, high, far=0):
    beside = {
        "far": far,
        "not_held": 0,
        "ratio": 1.0,
        "ratio_low": 0.8,
        "ratio_high": 1.2,
        "instruments": 400,
        "characteristic": "nut",
    }
    return bench.offset(shop, {**beside, "offset": offset, "offset_low": low, "offset_high": high}).replace("\xa0", " ")


def test_an_offset_smaller_than_is_shown_says_so(shop):
    assert said(shop, 0.001, -0.004, 0.004).startswith("less than 0.01 mm from the others, no offset shown")
    assert said(shop, 0.002, 0.001, 0.004).startswith("less than 0.01 mm from the others;")


def test_one_that_is_shown_stands_with_its_interval(shop):
    assert said(shop, 0.001, -0.006, 0.004).startswith("0.00 mm from the others (−0.01 mm to 0.00 mm), no offset shown")
    assert said(shop, 0.03, 0.02, 0.04).startswith("+0.03 mm from the others (+0.02 mm to +0.04 mm);")


def test_a_spread_without_runs_of_instruments_says_so_and_counts_no_instruments():
    none = Practice(*[np.empty(0)] * 6, "a learning curve needs four instruments or more; there are 0 so far")
    assert practice.spread(none).replace("\u00a0", " ") == (
        "Cannot be said: it takes four runs of 20 instruments with readings that can be held against the others'; "
        "there are none so far."
    )


def test_readings_that_may_be_mistyped_are_said_to_be_left_out(shop):
    one, two = (said(shop, 0.03, 0.02, 0.04, far=far) for far in (1, 2))
    assert one.endswith(
        " One reading lies far from all others and may be mistyped: it is not counted until it is corrected."
    )
    assert two.endswith(
        " Two readings lie far from all others and may be mistyped: they are not counted until they are corrected."
    )
    assert "mistyped" not in said(shop, 0.03, 0.02, 0.04)


def test_where_somebody_new_stood_at_first_and_stands_now(shop):
    first, last = Offset(0.131, 0.082, 0.179, 38, 40), Offset(0.008, -0.04, 0.06, 40, 40)
    told = practice.offsets(shop, "nut", first, last).replace("\xa0", " ")
    assert told.endswith(
        " with practice: +0.13 mm from the others (+0.08 mm to +0.18 mm) over the first 40 instruments, +0.01 mm from "
        "the others (−0.04 mm to +0.06 mm) over the last 40."
    )
    since = Since(date(2026, 9, 28), date(2026, 9, 21), date(2026, 10, 19))
    assert (
        practice.offsets(shop, "nut", first, last, since)
        .replace("\xa0", " ")
        .endswith(
            " over the last 40. With the others, to a quarter of their spread, since about the week of 28 Sep "
            "(earliest 21 Sep, latest 19 Oct)."
        )
    )


def held_against(ratio, drawn):
    row = {"judged": 998, "charged": 24, "came_back": 24, "expected": 3.4, "known_share": 1.0, "ratio": 7.0}
    row |= {"repairs": 0, "repairs_back": 0, "not_held": 0}
    ends = {
        "ratio_low": ratio[0],
        "ratio_high": ratio[1],
        "shrunk": 6.0,
        "shrunk_low": drawn[0],
        "shrunk_high": drawn[1],
    }
    return bench.came_back(row | ends).replace("\xa0", " ")


def test_two_intervals_of_one_ratio_never_contradict_each_other():
    # One holds 1, the other not: only that which minds how badly the expectation is known is told.
    unsure = held_against((0.2, 23.6), (3.6, 9.0))
    assert unsure.endswith("between 0.2 and 23.6 times.")
    assert "Allowing for chance" not in unsure
    shown = held_against((1.6, 50.7), (3.6, 9.0))
    assert shown.endswith("between 1.6 and 50.7 times. Allowing for chance, about 6.0 times.")


def test_who_stands_apart_is_said_and_is_not_among_the_others(shop):
    row = {
        "tech": "T05",
        "stage": "nut",
        "characteristic": "nut",
        "apart": True,
        "offset": 0.12,
        "offset_low": 0.11,
        "offset_high": 0.14,
        "ratio": 1.83,
        "ratio_low": 1.72,
        "ratio_high": 1.96,
    }
    told = bench.set_apart([row, row | {"tech": "T06", "apart": False}], shop)
    assert [each[:2] for each in told] == [("T05", "nut")]
    assert told[0][2].replace("\xa0", " ").endswith(" +0.12 mm and 1.8 times as wide")
    beside = {"far": 0, "instruments": 400, "not_held": 1}
    said_of_another = bench.offset(shop, row | beside)
    assert said_of_another.endswith("Of the people here one stands apart and is not among the others.")


REPAIRS = {"judged": 1144, "charged": 101, "came_back": 72, "repairs": 110, "repairs_back": 29, "expected": 69.2}
REPAIRS |= {"known_share": 1.0, "ratio": 1.04, "ratio_low": 0.81, "ratio_high": 1.34, "not_held": 1, "more": True}
REPAIRS |= {"shrunk": 1.03, "shrunk_low": 0.8, "shrunk_high": 1.3}


def test_first_work_is_told_against_first_work_and_repairs_apart():
    told = bench.came_back(REPAIRS).replace("\xa0", " ")
    assert told.startswith(
        "72 of 1,144 judged instruments came back; from the others about 69.2 would have come back on the same mix: "
        "between 0.8 and 1.3 times. Allowing for chance, about 1.0 times."
    )
    assert told.endswith(
        "Of the people here one stands apart and is not among the others. Told apart: 29 of 110 repairs here came back "
        "too. With repeats 101 send-backs are charged in all."
    )


def test_what_came_back_in_the_first_weeks_is_not_told_as_if_it_still_did(shop):
    over = Late(date(2026, 10, 20), 436, 23, 23.7, True)
    found = REPAIRS | {"ratio_low": 1.4}
    assert (
        bench.headline(shop, "T09", "nut_slotting", [], found, over)
        .replace("\xa0", " ")
        .endswith("; more came back than chance and mix explain before 20 Oct, not since.")
    )
    told = bench.chance_and_mix(found | {"outside_funnel": False}, over)[0].replace("\xa0", " ")
    assert told.startswith("More came back than chance and mix explain before 20 Oct (of people")
    assert "Look at the work together" not in told
    still = bench.headline(shop, "T09", "nut_slotting", [], found, replace(over, over=False))
    assert still.endswith("; more came back than chance and mix explain.")
    assert bench.of_late(over).replace("\xa0", " ") == (
        "Since 20 Oct, the latter half: 23 of 436 came back, about 23.7 expected, no more than the others' any longer."
    )


def test_beside_a_persons_name_chance_is_told_where_nothing_is_named(shop):
    unnamed = matter(only_some=True, techs=["T05"]).matter
    said_of_one = coaching.of_one(unnamed, shop, date(2026, 3, 30), theirs=True)
    assert said_of_one.endswith("it may be chance: wait for the next readings before acting on it alone.")
    unsure = matter(only_some=True, techs=["T05"], size_low=None, size_high=None, real=0.4).matter
    assert "half of such signals or more are chance" in coaching.of_one(unsure, shop, date(2026, 3, 30), theirs=True)
    named = matter(MovesWith([candidate("set by", "T05")])).matter
    assert "chance" not in coaching.of_one(named, shop, date(2026, 3, 30), theirs=True)


def test_where_the_others_did_too_little_of_these_models_it_is_not_said_that_nobody_does_the_work():
    told = bench.came_back(REPAIRS | {"expected": None}).replace("\xa0", " ")
    assert "Nobody else did enough of the same models here to hold it against." in told
    assert "Nobody else does this work" not in told
