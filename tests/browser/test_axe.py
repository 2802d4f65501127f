"""Axe finds nothing on any page, light and dark, at 1280 px and on a phone; shown at 400 % a page still fits."""

import shutil

import pytest

from analysis.review import review
from dashboard.app import PAGES, make_app
from dashboard.desk.desk import Desk, use
from dashboard.desk.several import Together
from dashboard.pages.week import reviewed
from ingest.store.target import Target
from tests.analysis.studies.shops.invented import Planted
from tests.dashboard.commands.test_several import published

WHAT = """async rules => (await axe.run(document, {resultTypes: ['violations'], ...rules})).violations
  .filter(found => ['critical', 'serious', 'minor'].includes(found.impact))
  .map(found => `${found.impact} ${found.id}: ${found.nodes[0].html.slice(0, 160)}`)"""
OF_COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
SCHEMES = {"light": {}, "dark": OF_COLOURS}
PATHS = [f"/{name}" if name != "week" else "/" for name in PAGES] + ["/capability?open=figures", "/drift?open=limits"]


# what scrolls at this width is told to the keyboard once it is laid out
DRAWN_ANEW = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done))))"


def over(seen, path):
    """What leaves a window of 1280 by 1024 px shown at 400 %; {} where nothing does (WCAG 2.2, 1.4.10)."""
    seen.page.set_viewport_size({"width": 320, "height": 256})
    seen.page.evaluate(DRAWN_ANEW)
    wide, head = seen.page.evaluate(
        "[document.documentElement.scrollWidth, getComputedStyle(document.querySelector('header.top')).position]"
    )
    return {} if (wide, head) == (320, "static") else {(path, 320): [wide, head]}


@pytest.mark.long
def test_axe_finds_nothing_on_any_page(axe, moving_desk, served, watched):
    """One visit a page: the window is made narrow on it, and in the dark only what speaks of colours is asked again."""
    use(moving_desk)
    address = served(make_app(moving_desk))
    seen = watched(1280)
    found = {}
    for path in PATHS:
        seen.page.set_viewport_size({"width": 1280, "height": 900})
        seen.page.goto(address + path)
        seen.page.wait_for_selector("h1")
        seen.page.wait_for_load_state("networkidle")
        seen.page.evaluate(axe)
        for width in (1280, 390):
            seen.page.set_viewport_size({"width": width, "height": 900})
            seen.page.evaluate(DRAWN_ANEW)
            for scheme, rules in SCHEMES.items():
                seen.page.evaluate(f"document.documentElement.setAttribute('data-scheme', '{scheme}')")
                wrong = seen.page.evaluate(WHAT, rules)
                if wrong:
                    found[path, width, scheme] = wrong
        found |= over(seen, path)
    assert found == {}


FURTHER = [
    "/against",
    "/sheets",
    "/find?q=LARK",
    "/logs/readings",
    "/logs/visits",
    "/papers/week",
    "/papers/week?letter=1",
    "/shops",
    "/papers/shops",
]
ONE = "/capability?stream=action%7Ctreble%7CLARK-25"


@pytest.mark.long
def test_axe_finds_nothing_behind_the_numbers_nor_on_papers(axe, moving_desk, served, watched, tmp_path):
    """What only links lead to: an instrument's story, one group against another, sheets, what was found, a stream of
    Capability, a week that was reviewed, and papers.
    """
    shutil.copytree(moving_desk.folder, tmp_path / "copy")
    counter = Desk(tmp_path / "copy")
    use(counter)
    address = served(make_app(counter))
    (tmp_path / "several").mkdir()
    planted = Planted(level={(1, "LARK-25"): 0.06}, gauge={2: 0.1}, lot={"M-03": 0.4}, always=("M-03",), back={4: 2.2})
    counter.several = Together(tmp_path / "copy", Target(str(published(tmp_path / "several", planted, 5))))
    assert reviewed.write(reviewed.SAY, "Mara", counter.ask(review).week) == ""
    serial = counter.snapshot().table("visits")["serial"][0]
    stories = [f"/logs/instrument?serial={serial}", "/"]
    seen = watched(1280)
    found = {}
    for path in [*FURTHER, ONE, *stories]:
        seen.page.set_viewport_size({"width": 1280, "height": 900})
        seen.page.goto(address + path)
        seen.page.wait_for_selector("h1")
        seen.page.wait_for_load_state("networkidle")
        seen.page.evaluate(axe)
        paper = path.startswith("/papers")
        for width in (1280,) if paper else (1280, 390):
            seen.page.set_viewport_size({"width": width, "height": 900})
            seen.page.evaluate(DRAWN_ANEW)
            for scheme, rules in ({"light": {}} if paper else SCHEMES).items():
                if not paper:
                    seen.page.evaluate(f"document.documentElement.setAttribute('data-scheme', '{scheme}')")
                wrong = seen.page.evaluate(WHAT, rules)
                if wrong:
                    found[path, width, scheme] = wrong
        found |= {} if paper else over(seen, path)
    assert found == {}
    assert "Reviewed by Mara" in seen.page.text_content("body")


def test_axe_finds_nothing_on_the_papers_of_necks_and_of_a_bench(axe, people_desk, served, watched):
    use(people_desk)
    seen, address = watched(1280), served(make_app(people_desk))
    for path in ("/papers/necks?supplier=Tollgate+Necks", "/papers/bench?tech=T02"):
        seen.page.goto(address + path)
        seen.page.wait_for_selector("h1")
        seen.page.evaluate(axe)
        assert seen.page.evaluate(WHAT, {}) == [], path


@pytest.mark.long
def test_a_field_keeps_the_keyboard_when_its_filter_lays_the_page_anew(people_desk, served, watched):
    use(people_desk)
    seen, address = watched(1280), served(make_app(people_desk))
    for path in ("/drift", "/capability", "/rework", "/necks", "/bench", "/against"):
        seen.page.goto(address + path)
        seen.page.wait_for_selector(".filters select")
        seen.page.wait_for_load_state("networkidle")
        here = seen.page.evaluate("location.search")
        field = next(
            one for one in seen.page.locator(".filters select:enabled").all() if one.locator("option").count() > 1
        )
        id, held = field.get_attribute("id"), field.input_value()
        other = next(
            one.get_attribute("value") for one in field.locator("option").all() if one.get_attribute("value") != held
        )
        field.focus()
        field.select_option(other)
        seen.page.wait_for_function(f"location.search !== {here!r}")
        seen.page.wait_for_load_state("networkidle")
        seen.page.wait_for_function(f"document.activeElement.id === {id!r}")
        assert field.input_value() == other, path
    assert seen.wrong == []
