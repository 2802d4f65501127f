"""A gauge whose check is overdue, or that drifts, is said beside what was read on it: Week and its paper, Drift,
Capability; and not beside what was read on another.
"""

import shutil
from datetime import timedelta

import pytest

from analysis.studies.gauges.read_on import read_on
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages import gauge_register
from dashboard.pages.capability import page as capability
from dashboard.pages.drift import page as drift
from dashboard.pages.week import findings, shown
from dashboard.papers import week as paper
from ingest.verbs import cards
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said

RULE = """
[[gauge]]
key = "rule"
name = "steel rule"
measures = ["action"]
resolution = "0.5 mm"
master = "2.5 mm"
check_days = 7
"""
OVERDUE = "Taper gauge: its check on the master piece is overdue, the last was"
CHECK_IT = "Check it before anything is done about this."
NEVER = "Steel rule was never checked on its master piece."


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    shop = moving_shop.stands(tmp_path_factory.mktemp("notes") / "shop")
    text = (shop / "shop.toml").read_text()
    mastered = text.replace('resolution = "0.05 mm"', 'resolution = "0.05 mm"\nmaster = "2.5 mm"\ncheck_days = 7')
    (shop / "shop.toml").write_text(mastered + RULE)
    return shop


@pytest.fixture
def checked(folder):
    """The taper was checked long before the shop's newest reading, the rule never; nobody read anything on the rule."""
    make_app(desk.Desk(folder))
    now = desk.here().snapshot().as_of
    (folder / cards.FOLDER / cards.CHECKS).unlink(missing_ok=True)
    cards.check_gauge(folder, "taper", 2.5, "T01", now=now - timedelta(days=30))
    return desk.here()


def test_readings_say_which_gauge_was_in_hand(checked):
    assert checked.ask(read_on)["action", "LARK-25"] == {"taper"}


def test_a_finding_carries_the_note_of_its_own_gauge_alone(checked):
    of_page = said(findings.findings(shown.told(), checked.snapshot().shop))
    for text in (of_page, paper.paper()[1].replace("&nbsp;", " ")):
        begins = text.replace("\xa0", " ").split(CHECK_IT)[0]
        assert OVERDUE in begins[-200:]
        assert NEVER not in begins[-200:]


def test_drift_and_capability_say_it_beside_their_verdict(checked):
    chart = said(drift.layout(characteristic="action", position="treble", model="LARK-25")).replace("\xa0", " ")
    assert OVERDUE in chart
    assert NEVER not in chart
    whole = said(capability.layout()).replace("\xa0", " ")
    assert "Overdue on the master piece: " in whole  # both in one sentence
    assert "taper gauge for action (last " in whole.lower()
    assert "steel rule for action (never)" in whole.lower()
    assert whole.count("rests on") == 1


def test_a_gauge_that_drifts_is_said_with_how_much(checked):
    now = checked.snapshot().as_of
    for k in range(6):
        cards.check_gauge(checked.folder, "taper", 2.65, "T01", now=now - timedelta(days=6 - k))
    chart = said(drift.layout(characteristic="action", position="treble", model="LARK-25")).replace("\xa0", " ")
    assert "Taper gauge reads 0.15 mm high on its master piece." in chart


def test_a_gauge_that_drifts_is_said_and_drawn_in_the_unit_of_what_it_measures(checked, tmp_path):
    shop = shutil.copytree(checked.folder, tmp_path / "shop")
    toml = shop / "shop.toml"
    toml.write_text(toml.read_text().replace('key = "action"', 'key = "action"\nlength = "64ths"'))
    make_app(desk.Desk(shop))
    now = desk.here().snapshot().as_of
    for k in range(6):
        cards.check_gauge(shop, "taper", 2.65, "T01", now=now - timedelta(days=6 - k))
    told = said(gauge_register.sheet(desk.here().snapshot().shop)).replace("\xa0", " ")
    assert "its last five checks read 0.4/64 in high" in told
    assert "6.3/64 in" in told  # the master piece, 2.5 mm
    assert "64ths over the master piece" in told
    assert "mm over the master piece" not in told


def test_a_gauge_in_order_is_not_spoken_of(checked):
    cards.check_gauge(checked.folder, "taper", 2.5, "T01", now=checked.snapshot().as_of - timedelta(days=1))
    assert OVERDUE not in said(drift.layout(characteristic="action", position="treble", model="LARK-25"))


def test_the_chart_of_a_gauge_that_drifts_stands_open_and_the_others_are_folded(checked):
    now = checked.snapshot().as_of
    for k in range(6):
        cards.check_gauge(checked.folder, "rule", 2.5, "T01", now=now - timedelta(days=6 - k))
    steady = said(gauge_register.sheet(checked.snapshot().shop))
    assert "Every check of each gauge, in the order taken" in steady
    for k in range(6):
        cards.check_gauge(checked.folder, "taper", 2.65, "T01", now=now - timedelta(days=6 - k))
    open_, _, folded = said(gauge_register.sheet(checked.snapshot().shop)).partition("Every check of the others")
    assert "checks-taper" in open_
    assert "checks-rule" in folded
