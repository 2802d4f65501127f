"""Drift in a real browser: a cell, a deep link, limits put on file, a cause written down, a matter marked known, two
people at once.
"""

import shutil

import pytest

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from tests.dashboard.pages import moving_shop

DRAWN = "[...document.querySelectorAll('.drawn')].map(chart => chart.textContent).join(' ')"
DEEP = "/drift?characteristic=relief&model=LARK-25&stage=final_inspection"


@pytest.fixture
def folder(moving_desk, tmp_path):
    return shutil.copytree(moving_desk.folder, tmp_path / "copy")


@pytest.fixture
def opened(moving_desk, served, watched):
    """A window on Drift of a shop; another call opens another window on the same shop."""
    return windows(moving_desk, served, watched)


@pytest.fixture
def opened_copy(folder, served, watched):
    """The same on a copy of the shop that may be written to."""
    return windows(Desk(folder), served, watched)


def windows(counter, served, watched):
    address = served(make_app(counter))

    def open_page(path="/drift", width=1280):
        seen = watched(width)
        seen.page.set_default_timeout(60_000)
        seen.page.goto(address + path)
        seen.charts_drawn(1 if "open=" in path else 2)
        return seen

    return open_page


def test_a_click_on_a_cell_shows_its_stream_and_back_returns(opened):
    seen = opened("/drift?open=all")
    seen.page.locator("a.led[aria-label^='LARK-25, neck relief']").first.focus()
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_url("**characteristic=relief**")
    seen.says("Neck relief on LARK-25 ran true")
    seen.page.wait_for_function("scrollY > 0")  # the sheet that the address names is in sight
    seen.page.go_back()
    seen.says("Back to the whole page")
    assert seen.wrong == []


def test_a_deep_link_shows_its_stream_and_its_readings_are_a_click_away(opened):
    seen = opened(DEEP)
    seen.says("LARK-25, neck relief, final inspection")
    href = seen.page.get_by_text("Its readings, each with file and line").get_attribute("href")
    assert href.startswith("/logs/readings?characteristic=relief&model=LARK-25&stage=final_inspection")
    assert seen.wrong == []


def test_a_filter_goes_into_the_address_and_the_page_follows(opened):
    seen = opened()
    seen.page.select_option("#drift-weeks", label="4, to 3 Apr")
    seen.page.wait_for_url("**weeks=4**")
    seen.says("four weeks to 3 April 2026")
    assert seen.wrong == []


def test_limits_put_on_file_change_the_chart(opened_copy):
    seen = opened_copy("/drift?open=limits")
    assert "limits set anew" not in seen.page.evaluate(DRAWN)
    seen.page.fill("#drift-from", moving_shop.day(40).date().isoformat())
    seen.page.fill("#drift-to", moving_shop.day(119).date().isoformat())
    seen.page.fill("#drift-limits-who", "Mara")
    seen.page.fill("#drift-limits-why", "steady weeks")
    seen.page.click("#drift-try")
    seen.says("From 80 readings: centre line")
    seen.page.click("#drift-file")
    seen.says("Mara, ")
    seen.page.wait_for_function(f"{DRAWN}.includes('limits set anew')")
    assert seen.wrong == []


@pytest.mark.long
def test_a_cause_is_seen_at_once_and_a_known_matter_leaves_week(opened_copy):
    seen = opened_copy()
    seen.page.fill("#drift-cause", "saddle blanks stand taller")
    seen.page.fill("#drift-who", "Mara")
    seen.page.click("#drift-write")
    seen.says("Cause: saddle blanks stand taller")
    week = opened_copy("/")
    week.says("Action treble on LARK-25 moved up")
    seen.page.fill("#drift-who", "Mara")
    seen.page.fill("#drift-until", "2026-05-01")
    seen.page.click("#drift-known")
    seen.says("Marked known until 1 May")
    week.page.reload()
    week.says("Marked known, not shown until its date")
    assert "Action treble on LARK-25 moved up" not in week.page.text_content("body")
    assert seen.wrong == []
    assert week.wrong == []


@pytest.mark.long
def test_two_people_who_write_at_once_lose_nothing(opened_copy, folder):
    first, second = opened_copy(), opened_copy()
    for seen, who in ((first, "Mara"), (second, "Rowan")):
        seen.page.fill("#drift-action", f"look at the jig, says {who}")
        seen.page.fill("#drift-who", who)
    first.page.click("#drift-write", no_wait_after=True)
    second.page.click("#drift-write", no_wait_after=True)
    first.says("Action: look at the jig, says Mara")
    second.says("Action: look at the jig, says Rowan")
    written = Desk(folder).snapshot().table("bench_book")
    assert sorted(written["who"]) == ["Mara", "Rowan"]


def test_on_a_phone_nothing_runs_off_the_side(opened):
    seen = opened(width=390)
    assert seen.page.evaluate("document.documentElement.scrollWidth") == 390
    assert seen.wrong == []
