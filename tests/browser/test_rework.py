"""Rework in a real browser on the demo shop: from a sentence of the week to the flow, to one instrument's whole story,
to its line in the log.
"""

import re

import pytest

from analysis.review import review
from dashboard.app import make_app
from dashboard.desk.desk import use


@pytest.fixture(scope="module")
def demo_app(kept_demo_desk):
    kept_demo_desk.ask(review)  # worked out before a browser waits for it
    return make_app(kept_demo_desk)


@pytest.fixture
def counter(demo_desk):
    return demo_desk


@pytest.fixture
def address(demo_app, counter, served):
    return served(demo_app)


def test_from_a_sentence_to_the_flow_to_an_instrument_and_its_line(address, counter, watched):
    seen = watched()
    seen.page.goto(address)
    sentence = seen.page.locator(".finding", has=seen.page.locator(".state-came-back"))
    count = int(re.search(r"sent (\d+) instruments? back", sentence.inner_text())[1])
    sentence.locator(".go a, a.go").first.click()
    seen.page.wait_for_url("**/rework?weeks=1**")
    seen.page.wait_for_selector("h2:has-text('What causes')")
    seen.charts_drawn(3)
    flow = seen.page.locator(".chart[role=group]").first
    assert "of the work was caught at" in flow.get_attribute("aria-label")
    behind = seen.page.locator("section", has=seen.page.locator("h2", has_text="Caught at")).last
    assert f"{count} send-backs" in behind.inner_text()
    link = behind.locator("a.serial").first
    serial = link.inner_text().strip()
    link.click()
    seen.page.wait_for_url("**/logs/instrument**")
    seen.page.wait_for_selector("text=in time order")
    story = seen.page.locator("main").inner_text()
    assert serial in story
    visits = seen.page.locator("table.plain").first.locator("tbody tr")
    assert any("sent back" in text.lower() or "send back" in text.lower() for text in visits.all_inner_texts())
    told = visits.first.inner_text()
    file, line = re.search(r"(\S+\.csv), line (\d+)", told).groups()
    typed = (counter.folder / "logs" / file).read_text(encoding="utf-8-sig").splitlines()[int(line) - 1]
    assert serial in typed  # the very line, as it was typed
    assert seen.wrong == []


def test_a_lane_is_reached_by_the_keyboard_opens_its_instruments_and_the_filters_stay(address, watched):
    seen = watched()
    seen.page.goto(f"{address}/rework?weeks=13")
    seen.charts_drawn(3)
    seen.page.locator("a.led[href*='caused_at=']").first.focus()
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_url("**caused_at=**")
    assert "weeks=13" in seen.page.url
    seen.page.wait_for_selector("h2:has-text('Caused at')")
    assert seen.wrong == []


@pytest.mark.parametrize("width", [1280, 390])
def test_the_small_charts_of_the_weeks_stand_within_their_sheet_and_the_rest_unfolds(address, watched, width):
    seen = watched(width)
    seen.page.goto(f"{address}/rework")
    seen.charts_drawn(3)
    sheet = seen.page.locator("#rework-weekly")
    drawn = sheet.locator("img.for-light:visible")
    before = drawn.count()
    assert before >= 3
    sheet.locator("summary", has_text="The other").click()
    drawn.nth(before).wait_for()
    assert seen.page.evaluate("document.documentElement.scrollWidth") == width
    assert drawn.first.bounding_box()["width"] >= 80
    assert seen.wrong == []


def test_the_week_before_is_one_click_away_and_back_comes_back(moving_desk, served, watched):
    use(moving_desk)
    seen = watched()
    seen.page.goto(served(make_app(moving_desk)))
    headline = seen.page.locator("h1").inner_text()
    seen.page.get_by_role("link", name=re.compile("Week before")).click()
    seen.page.wait_for_url("**/?week=**")
    seen.page.wait_for_selector("text=Readings as they stood at the end of")
    seen.page.go_back()
    seen.page.wait_for_selector("text=Readings as they stood at the end of", state="detached")
    assert seen.page.locator("h1").inner_text() == headline
    assert seen.wrong == []
