"""Axe finds nothing on any page and further page, light and dark, at 1280 px and on a phone; each reflows at 320 px
(1280 at 400 %), its targets are 24 px; the system's dark setting and its wish for less motion are followed.
"""

from pathlib import Path

import pytest

from dashboard.app import PAGES, make_app
from dashboard.desk.desk import use

WHAT = """async () => (await axe.run(document, {resultTypes: ['violations']})).violations
  .filter(found => ['critical', 'serious', 'minor'].includes(found.impact))
  .map(found => `${found.impact} ${found.id}: ${found.nodes[0].html.slice(0, 160)}`)"""
# in the other scheme the same page has other colours only
COLOURS = WHAT.replace("{resultTypes", "{runOnly: ['cat.color'], resultTypes")
SCHEME = "scheme => document.documentElement.setAttribute('data-mantine-color-scheme', scheme)"
# what a finger cannot hit: under 24 px each way, unless its words stand in a sentence (WCAG 2.2, 2.5.8)
SMALL = """() => [...document.querySelectorAll('#main :is(a, button, summary, input), .top :is(a, button)')]
  .map(one => [one, one.getBoundingClientRect(), getComputedStyle(one)])
  .filter(([one, box, look]) => box.width && box.height && !one.closest('svg') && look.visibility !== 'hidden'
    && (box.height < 23.5 || box.width < 23.5) && look.clipPath === 'none'
    && !(look.display === 'inline' && one.parentElement.textContent.trim() !== one.textContent.trim()))
  .map(([one, box]) => `${one.tagName} ${one.textContent.slice(0, 30)} ${box.width} x ${box.height}`)"""
SIDEWAYS = "document.documentElement.scrollWidth - innerWidth"
FURTHER = [
    "/capability?open=figures",
    "/drift?open=limits",
    "/logs/readings",
    "/logs/visits",
    "/logs/instrument?serial=LA-1004",
    "/find?q=LA-1004",
    "/against",
    "/gauges",
]
PATHS = [f"/{name}" if name != "week" else "/" for name in PAGES] + FURTHER


@pytest.fixture(scope="module")
def axe():
    pytest.importorskip("axe_playwright_python")
    import axe_playwright_python as package

    return (Path(package.__file__).parent / "axe.min.js").read_text(encoding="utf-8")


def test_axe_finds_nothing_on_any_page_and_each_reflows_with_targets_for_a_finger(axe, moving_desk, served, watched):
    use(moving_desk)
    address = served(make_app(moving_desk))
    page = watched(1280).page
    found = {}
    for path in PATHS:
        page.set_viewport_size({"width": 1280, "height": 900})
        page.goto(address + path)
        page.wait_for_selector("h1")
        page.wait_for_load_state("networkidle")
        page.evaluate(axe)
        for width in (1280, 390):
            page.set_viewport_size({"width": width, "height": 900})
            for scheme, rules in (("light", WHAT), ("dark", COLOURS)):
                page.evaluate(SCHEME, scheme)
                found[path, width, scheme] = page.evaluate(rules)
            found[path, width, "small"] = page.evaluate(SMALL)
        page.set_viewport_size({"width": 320, "height": 640})
        found[path, 320, "sideways"] = page.evaluate(SIDEWAYS)
    assert {key: wrong for key, wrong in found.items() if wrong} == {}


def test_what_the_system_asks_for_is_followed(moving_desk, served, watched):
    use(moving_desk)
    page = watched(1280).page
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    page.goto(served(make_app(moving_desk)) + "/")
    page.wait_for_selector("h1")
    ground = "getComputedStyle(document.body).backgroundColor"
    page.wait_for_function(f"{ground} === 'rgb(17, 20, 23)'")
    assert page.evaluate("getComputedStyle(document.querySelector('.button')).transitionDuration") == "0s"
    page.click("#scheme")  # who chooses is asked before the system
    page.wait_for_function(f"{ground} === 'rgb(243, 245, 245)'")
    page.emulate_media(color_scheme="light", forced_colors="active")
    page.goto(page.url + "drift")
    page.wait_for_selector(".drawn")
    look = "getComputedStyle(document.querySelector('.drawn')).forcedColorAdjust"
    assert page.evaluate(look) == "none"  # a drawing keeps the colours that tell asked from done
