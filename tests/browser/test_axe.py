"""Axe finds nothing on any page of the header: light and dark, at 1280 px and on a phone."""

from dashboard.app import PAGES, make_app
from dashboard.desk.desk import use

WHAT = """async rules => (await axe.run(document, {resultTypes: ['violations'], ...rules})).violations
  .filter(found => ['critical', 'serious', 'minor'].includes(found.impact))
  .map(found => `${found.impact} ${found.id}: ${found.nodes[0].html.slice(0, 160)}`)"""
OF_COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
SCHEMES = {"light": {}, "dark": OF_COLOURS}
PATHS = [f"/{name}" if name != "week" else "/" for name in PAGES] + ["/capability?open=figures", "/drift?open=limits"]


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
            for scheme, rules in SCHEMES.items():
                seen.page.evaluate(f"document.documentElement.setAttribute('data-mantine-color-scheme', '{scheme}')")
                wrong = seen.page.evaluate(WHAT, rules)
                if wrong:
                    found[path, width, scheme] = wrong
    assert found == {}
