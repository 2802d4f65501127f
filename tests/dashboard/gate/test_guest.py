"""A guest's Week names nobody: neither who decided, nor who acts, nor who is named in what was written."""

import json

import plotly
import pytest

from dashboard.desk import desk as counter
from dashboard.desk import signed
from dashboard.pages.week import page
from dashboard.papers import week as paper
from dashboard.sentences import logs as sentences
from ingest.access import people
from ingest.access.tablets import Tablet
from tests.dashboard.pages import moving_shop

NAMES = ("Orla Vance", "Pim Decker", "Cas Noor")
GUEST = signed.Signed("Gus", "guest")


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    made = counter.Desk(moving_shop.stands(tmp_path_factory.mktemp("guest") / "shop"))
    people.add(made.folder, "Cas Noor", "manager", "four words of mine", now=moving_shop.NOW)
    counter.use(made)
    week = made.ask(page.review_week)
    made.write_entry("decision", "Pim Decker looks at the saddles", who="Orla Vance", owner="Pim Decker", week=week)
    made.write_entry("note", "Cas Noor was told", who="Orla Vance", week=week)
    return made


@pytest.fixture
def as_guest(desk):
    counter.use(desk)
    signed.use(GUEST, desk.folder)
    yield desk
    signed.use(None, desk.folder)


def shown(desk):
    counter.use(desk)
    return json.dumps(page.layout(), cls=plotly.utils.PlotlyJSONEncoder)


def test_whoever_works_here_sees_who_decided(desk):
    signed.use(None, desk.folder)
    assert "Pim Decker" in shown(desk)


def test_a_guest_sees_nobodys_name_on_page_or_paper(as_guest):
    told = shown(as_guest)
    assert "looks at the saddles" in told
    assert [name for name in NAMES if name in told] == []
    assert [name for name in NAMES if name in paper.paper()[1]] == []


def test_what_waits_on_tablets_and_a_wrong_clock_are_said_on_logs(desk):
    shop = desk.snapshot().shop
    one = Tablet(1, "Window", "final_inspection", "Ana", "", "", "", 3, 720.0)
    calm = Tablet(2, "Door", "final_inspection", "Ana", "", "", "", 0, 0.0)
    waits, clock = sentences.on_tablets([one, calm], shop)
    assert "the tablet Window, at Final inspection, 3 cards wait" in waits
    assert "12 min ahead" in clock
