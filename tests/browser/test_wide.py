"""A shop of 40 models and 60 techs: every page keeps its height and its width, and what leads on leads on."""

import pytest

from dashboard.app import PAGES, make_app
from dashboard.desk.desk import Desk, use
from tests.dashboard.pages import wide_shop

HEIGHT = {1280: 3000, 390: 6000}
PATHS = [f"/{name}" if name != "week" else "/" for name in PAGES] + [
    "/gauges",
    "/against",
    "/sheets",
    "/capability?open=figures",
    "/drift?stage=all&open=all",
]
SIZE = "[document.documentElement.scrollHeight, document.documentElement.scrollWidth]"


@pytest.mark.long
def test_every_page_of_a_wide_shop_keeps_its_size_and_its_marks_lead_on(served, watched, tmp_path):
    counter = Desk(wide_shop.stands(tmp_path / "shop"))
    use(counter)
    address = served(make_app(counter))
    seen = watched(1280)
    page, over = seen.page, {}
    for path in PATHS:
        page.set_viewport_size({"width": 1280, "height": 900})
        page.goto(address + path)
        page.wait_for_selector("h1")
        page.wait_for_load_state("networkidle")
        for width, most in HEIGHT.items():
            page.set_viewport_size({"width": width, "height": 900})
            height, across = page.evaluate(SIZE)
            if height > most or across > width:
                over[path, width] = (height, across)
    assert over == {}
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(address + "/drift")
    page.locator("a.led").nth(
        3
    ).focus()  # a dot of what moved, under others of the eight models: the keyboard reaches it
    page.keyboard.press("Enter")
    page.wait_for_function("location.search.includes('model=MODEL-')")
    page.wait_for_selector("#drift-one")
    page.goto(address + "/capability")
    page.locator(".chart").first.focus()  # 360 dots: the arrows go from one to the next
    page.keyboard.press("PageDown")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.wait_for_selector("#capability-one h3")
    page.locator("#fold-figures").click()
    page.wait_for_selector("#capability-figures")
    page.locator("#capability-figures-next").click()
    page.wait_for_function("location.search.includes('page=2')")
    page.keyboard.press("/")
    page.keyboard.type("MODEL-07")
    page.keyboard.press("Enter")
    page.wait_for_selector("#main .sheet >> text=MODEL-07")
    assert seen.wrong == []
