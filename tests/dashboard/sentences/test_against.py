"""What is said of two groups: a difference too small to be shown, targets that differ, readings that fit both."""

from dataclasses import replace
from datetime import date

import pytest

from analysis.methods.two_groups import Difference
from analysis.studies.drift.against import Side, against
from dashboard.sentences import against as words

WHAT = {"characteristic": "action", "position": "treble", "stage": "final_inspection"}


@pytest.fixture
def told(moving_desk):
    snapshot = moving_desk.snapshot()
    found = against(snapshot, **WHAT, a=Side(tech="T01"), b=Side(tech="T02"))

    def headline(**other):
        return words.headline(replace(found, **other), snapshot.shop, "action", ("this", "that"))

    return found, headline


def test_a_difference_smaller_than_what_is_shown_is_said_to_be_so(told):
    small = Difference(0.0, -0.004, 0.004, 0.002, 50.0)
    assert told[1](apart=small).endswith("between this and that: it is less than 0.01\u00a0mm either way.")


def test_readings_from_their_own_targets_are_said_to_be_so(told):
    sure = Difference(0.03, 0.02, 0.05, 0.01, 50.0)
    said = told[1](apart=sure, other_targets=True, from_target=True)
    assert said == "This lies 0.03\u00a0mm higher than that, each from its own target (0.02 to 0.05\u00a0mm)."
    assert "cannot be compared" in told[1](apart=sure, other_targets=True)


def test_what_fits_both_is_told_only_where_both_sides_were_chosen(told):
    found = replace(told[0], both=40)
    assert "40 readings fit both sides; they count with the first." in words.under(found)
    assert "fit both" not in " ".join(words.under(found, all_else=True))


def test_an_example_asks_since_a_day_and_before_it():
    (since, more), (alone, of_one) = words.examples("HERON-D", date(2026, 3, 10))
    assert (since, alone) == ("HERON-D, since 10\u00a0Mar, against before", "HERON-D against all else")
    assert more == {"a_model": "HERON-D", "a_from": "2026-03-10", "b_model": "HERON-D", "b_to": "2026-03-09"}
    assert of_one == {"a_model": "HERON-D"}
    assert words.examples("", None) == []
