"""Axe finds nothing on any page of the header: light and dark, at 1280 px and on a phone."""

from pathlib import Path

import pytest

from dashboard.app import PAGES, make_app
from dashboard.desk.desk import Desk, use
from tests.dashboard.pages import moving_shop

WHAT = """async () => (await axe.run(document, {resultTypes: ['violations']})).violations
  .filter(found => ['critical', 'serious', 'minor'].includes(found.impact))
  .map(found => `${found.impact} ${found.id}: ${found.nodes[0].html.slice(0, 160)}`)"""
PATHS = [f"/{name}" if name != "week" else "/" for name in PAGES] + ["/capability?open=figures", "/drift?open=limits"]


@pytest.fixture(scope="module")
def axe():
    pytest.importorskip("axe_playwright_python")
    import axe_playwright_python as package

    return (Path(package.__file__).parent / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def counter(tmp_path_factory):
    return Desk(moving_shop.stands(tmp_path_factory.mktemp("axe") / "shop"))


@pytest.mark.parametrize("width", [1280, 390])
def test_axe_finds_nothing_on_any_page(axe, counter, served, watched, width):
    use(counter)
    address = served(make_app(counter))
    seen = watched(width)
    found = {}
    for path in PATHS:
        seen.page.goto(address + path)
        seen.page.wait_for_selector("h1")
        seen.page.wait_for_load_state("networkidle")
        seen.page.evaluate(axe)
        for scheme in ("light", "dark"):
            seen.page.evaluate(f"document.documentElement.setAttribute('data-mantine-color-scheme', '{scheme}')")
            wrong = seen.page.evaluate(WHAT)
            if wrong:
                found[path, scheme] = wrong
    assert found == {}
