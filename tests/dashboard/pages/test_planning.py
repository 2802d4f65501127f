"""How many to measure: each page where the question arises says so, and with the studies' own numbers."""

import pytest

from analysis.studies.necks.planning import tell_apart
from analysis.studies.room import planning as of_room
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages import planning
from dashboard.pages.capability import page as capability
from dashboard.pages.necks import page as necks
from dashboard.sentences import planning as words
from tests.dashboard.pages.said import said


@pytest.fixture
def looked_at(people_desk):
    make_app(people_desk)
    return people_desk


def test_capability_says_how_many_show_a_ppk(looked_at):
    desk.use(looked_at)
    text = said(capability.layout(open="plan"))
    plan = of_room.ppk_plans()[0]
    assert f"truly is 1.50, {plan.nine_in_ten} instruments do so in nine cases of ten" in text
    assert [one.nine_in_ten for one in of_room.ppk_plans()] == sorted(
        (one.nine_in_ten for one in of_room.ppk_plans()), reverse=True
    )


def test_gauges_says_what_a_study_can_say():
    text = said(planning.gauges())
    plan = of_room.gauge_plans()[-1]
    assert plan.good > 0.85 > 0.2 > plan.poor
    assert "10 parts, 3 people, 3 trials" in text
    say = words.gauges(of_room.gauge_plans()).replace("\u00a0", " ")
    assert say in text.replace("\u00a0", " ")


def test_necks_says_how_many_lots_tell_two_suppliers_apart(looked_at):
    desk.use(looked_at)
    found = looked_at.ask(tell_apart, characteristic="neck_bow")
    text = said(necks.layout()).replace("\u00a0", " ")
    plan = found.rows[0].plans[0]
    assert f"{plan.lots} lots, {plan.necks} necks" in text
    assert words.apart(found, looked_at.snapshot().shop, "neck_bow").replace("\u00a0", " ") in text


def test_a_stream_says_how_many_readings_see_a_shift_and_nothing_without_a_spread(looked_at):
    shop = looked_at.snapshot().shop
    [line] = planning.shift(shop, "relief", 0.04)
    assert "0.02 mm in 44, by 0.04 mm in 13 and by 0.06 mm in 7 readings" in said(line).replace("\u00a0", " ")
    assert planning.shift(shop, "relief", None) == []
