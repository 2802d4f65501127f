"""The frame and every chart in a real browser: 1280 px and a phone, light and dark; nothing overlaps, nothing leaves,
nothing asks outside.
"""

import sys
import types

import pytest

from dashboard import app as frame
from dashboard import parts
from dashboard.charts import style
from tests.dashboard.charts.examples import EXAMPLES
from tests.dashboard.test_app import CounterOfNoShop

TEXTS = """() => [...document.querySelectorAll('.drawn')].flatMap((chart, number) => {
  const frame = chart.getBoundingClientRect(), wrong = [];
  const texts = [...chart.querySelectorAll('text')].filter(t => t.textContent.trim())
    .map(t => ({words: t.textContent, box: t.getBoundingClientRect(), size: parseFloat(getComputedStyle(t).fontSize)}));
  texts.forEach((a, i) => {
    if (a.size < 12) wrong.push([number, 'small', a.words]);
    if (a.box.left < frame.left - 2 || a.box.right > frame.right + 2
      || a.box.top < frame.top - 2 || a.box.bottom > frame.bottom + 2)
      wrong.push([number, 'leaves its chart', a.words]);
    texts.slice(i + 1).forEach(b => {
      const across = Math.min(a.box.right, b.box.right) - Math.max(a.box.left, b.box.left);
      const down = Math.min(a.box.bottom, b.box.bottom) - Math.max(a.box.top, b.box.top);
      if (across > 3 && down > 3) wrong.push([number, 'overlap', a.words, b.words]);
    });
  });
  return wrong;
})"""
CHARTS = [
    "stream, moved up",
    "stream, moved down",
    "stream in width mode",
    "stream, one reading",
    "stream, crowded",
    "rack",
    "lanes",
    "lots",
    "capability map",
    "room left",
    "what moved",
    "shares",
    "pareto",
    "moves with",
    "settling",
    "savings",
    "shops",
    "weeks",
    "funnel",
    "learning",
    "band",
    "evidence",
    "cost",
    "variance",
    "ages",
]


@pytest.fixture(scope="module")
def address(served):
    """An app with two more pages: one holds every chart of the examples, one a single stream."""
    with pytest.MonkeyPatch.context() as patch:
        for name, charts in (("everything", CHARTS), ("single", CHARTS[:1])):
            page = types.ModuleType(f"dashboard.pages.{name}")
            page.PATH, page.NAME, page.layout, page.connect = (
                f"/{name}",
                name.capitalize(),
                drawing(name, charts),
                lambda app: None,
            )
            patch.setitem(sys.modules, page.__name__, page)
        patch.setattr(frame, "PAGES", {**frame.PAGES, "everything": "everything", "single": "single"})
        made = frame.make_app(CounterOfNoShop())
    return served(made)


def drawing(page, charts):
    def layout(**_address):
        sheets = []
        for number, name in enumerate(charts):
            chart, view = EXAMPLES[name]
            sheets.append(
                parts.sheet(name, "invented figures", parts.graph(parts.both(chart, view), name, f"{page}-{number}"))
            )
        return parts.page(parts.page_head("What there is to draw", "Invented figures."), *sheets)

    return layout


@pytest.mark.parametrize("width", [1280, 1024, 390])
def test_charts_in_both_schemes_do_not_overlap_leave_their_place_or_ask_outside(address, watched, width):
    seen = watched(width)
    seen.page.goto(f"{address}/everything")
    seen.charts_drawn(len(CHARTS))
    assert seen.page.evaluate(TEXTS) == []
    assert seen.page.evaluate("document.documentElement.scrollWidth") == width
    assert seen.page.evaluate("document.fonts.check('16px \"Atkinson Hyperlegible Next\"')")
    seen.page.click("#scheme")
    seen.page.wait_for_function("getComputedStyle(document.body).backgroundColor === 'rgb(17, 20, 23)'")
    fills = "[...new Set([...document.querySelectorAll('.drawn text')].map(t => getComputedStyle(t).fill))]"
    dark = {f"rgb({int(c[1:3], 16)}, {int(c[3:5], 16)}, {int(c[5:], 16)})" for c in style.DARK.values()}
    assert set(seen.page.evaluate(fills)) <= dark
    assert seen.page.evaluate("document.documentElement.scrollWidth") == width
    assert seen.wrong == []


def test_crossing_760_px_redraws_a_chart_for_the_other_width(address, watched):
    seen = watched(1280)
    seen.page.goto(f"{address}/single")
    seen.charts_drawn()
    words = "[...document.querySelectorAll('.drawn text')].map(t => t.textContent).join('|')"
    assert "centre line" in seen.page.evaluate(words)
    seen.page.set_viewport_size({"width": 390, "height": 800})
    seen.page.wait_for_function(f"{words}.includes('runs at')")
    assert seen.wrong == []


def test_the_phones_list_names_the_open_page_and_closes_on_the_way_to_another(address, watched):
    seen = watched(390)
    seen.page.goto(f"{address}/single")
    seen.page.wait_for_function("document.getElementById('menu-name')?.textContent === 'Single'")
    seen.page.click("#menu-name")
    assert seen.page.locator(".menu a[aria-current=page]").inner_text() == "Single"
    seen.page.click(".menu a[href='/everything']")
    seen.page.wait_for_function(
        "document.getElementById('menu-name')?.textContent === 'Everything' && !document.getElementById('menu')?.open"
    )


def test_the_keyboard_finds_the_skip_link_first_and_the_print_leaves_the_header_out(address, watched):
    seen = watched(1280)
    seen.page.goto(f"{address}/single")
    seen.charts_drawn()
    seen.page.keyboard.press("Tab")
    assert seen.page.evaluate("document.activeElement.textContent") == "Skip to the page"
    assert seen.page.locator("h1").count() == 1
    seen.page.emulate_media(media="print")
    assert not seen.page.locator("header.top").is_visible()
    assert seen.page.locator("h1").is_visible()
    assert seen.wrong == []
