"""Card where it is seldom walked: one bench in two tabs, a serial nobody knows, a gauge changed in the middle, an
instrument that stands elsewhere, what was skipped; light and dark, on a tablet and on a phone.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from ingest.verbs.load import load
from tests.browser.test_axe import OF_COLOURS, WHAT
from tests.browser.test_card import burst, opened, rows, says, tablet
from tests.dashboard.pages.moving_shop import SHOP

DAY = datetime(2026, 11, 23, 8)
HEAD = (
    "serial,model,stage,tech,finished_at,outcome,fault,fault_at,sent_back_to,"
    "relief (mm),action bass (mm),action treble (mm)"
)
MORE = """
[[gauge]]
key = "rule"
name = "Steel rule, 64ths"
measures = ["action"]
resolution = "0.5/64 in"

[[stage]]
key = "head_tension"
name = "Head tension"
families = ["banjo"]

[[stage]]
key = "head_retension"
name = "Head re-tension, planned"
families = ["banjo"]

[[model]]
key = "DRAY-5"
family = "banjo"
strings = 5

[[fault]]
key = "open-string buzz"
suspect = "bridge_fitting"
"""
SPECS = """characteristic,position,target,lower,upper,unit
relief,,0.20,0.05,0.35,mm
action,bass,2.60,2.20,3.00,mm
action,treble,2.40,2.00,2.80,mm
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Path:
    """A shop of two families: the stages of banjos come before the others, so that a re-tension can be skipped."""
    folder = tmp_path_factory.mktemp("paths") / "shop"
    folder.mkdir()
    first, bench = SHOP.format(judging="false_signals_per_week = 0.5", people="codes").split("[[stage]]", 1)
    own, banjo = MORE.split("\n[[stage]]", 1)
    stages, rest = banjo.split("\n[[model]]", 1)
    (folder / "shop.toml").write_text(f"{first}[[stage]]{stages}\n[[stage]]{bench}{own}\n[[model]]{rest}")
    (folder / "specs.csv").write_text(SPECS)
    lines = [HEAD]

    def visit(serial: str, model: str, stage: str, hour: float, told: str = "pass,,,", cells: str = ",,") -> None:
        lines.append(f"{serial},{model},{stage},T01,{DAY + timedelta(hours=hour):%Y-%m-%d %H:%M},{told},{cells}")

    for k in range(12):
        for stage, after in (("bridge_fitting", 0), ("final_inspection", 2), ("packing", 3)):
            cells = f"0.20,{2.5 + k / 100:.2f},2.40" if stage == "final_inspection" else ",,"
            visit(f"LA-{100 + k}", "LARK-25", stage, after + k / 10, cells=cells)
    for serial in ("LA-200", "LA-201"):
        visit(serial, "LARK-25", "bridge_fitting", 1)
        visit(serial, "LARK-25", "final_inspection", 3, "send back,open-string buzz,2 fret 3,bridge_fitting")
    visit("LA-201", "LARK-25", "bridge_fitting", 4)
    visit("LA-202", "LARK-25", "bridge_fitting", 1, "hold,,,")
    visit("DR-500", "DRAY-5", "head_tension", 1)
    path = folder / "as_typed.csv"
    path.write_text("\n".join(lines) + "\n")
    load(folder, [path], now=datetime(2026, 11, 29, tzinfo=UTC))
    return folder


def scanned(page: Page, serial: str) -> None:
    burst(page, serial)
    opened(page, serial)


def due(page: Page) -> str:
    return page.locator("#due").inner_text()


def test_it_is_said_where_an_instrument_stands_and_what_is_due_first(shop, browser, served):
    page = tablet(browser, served(make_app(Desk(shop))), "paths 1", "bridge_fitting")
    scanned(page, "LA-200")
    says(page, "Final inspection sent it here on 23")
    assert "open-string buzz, 2 fret 3" in page.locator("#line").inner_text()
    scanned(page, "LA-103")
    says(page, "It stands further on: Packing had it on 23")
    scanned(page, "LA-201")  # it was put right, and passes the bench again
    assert page.locator("#line").inner_text() == ""
    scanned(page, "LA-202")
    says(page, "Bridge fitting put it on hold on 23")
    scanned(page, "DR-500")
    assert due(page) == "Not on file: Head re-tension, planned."
    page.click("#other")
    page.click("[data-key=packing]")
    page.click("#begin")
    page.wait_for_selector("#foot p")
    burst(page, "LA-201")  # nothing is measured here
    page.wait_for_function("document.querySelector('#rows')?.textContent.includes('Nothing is measured here')")
    assert due(page) == "Final inspection sent it back and has not had it since."
    page.close()


def test_a_serial_nobody_knows_asks_its_model_and_promises_nothing_before(shop, browser, served):
    page = tablet(browser, served(make_app(Desk(shop))), "paths 2", "bridge_fitting")
    burst(page, "QX-77")
    page.wait_for_selector("[data-model=DRAY-5]")
    assert page.locator("#route").inner_text() == "nothing on file yet"
    assert page.locator("#what").inner_text().startswith("model not known")
    faint = "[...document.querySelectorAll('#outcomes button')].map(one => getComputedStyle(one).opacity)"
    assert page.evaluate(faint) == ["0.45"] * 4  # what cannot be pressed looks so
    page.click("[data-model=DRAY-5]")
    opened(page, "QX-77")
    assert page.locator("#what").inner_text().startswith("DRAY-5")
    page.click("[data-outcome=pass]")
    page.click("#next")
    says(page, "Kept: QX-77, passed.")
    scanned(page, "QX-77")  # now it is known, by the card alone
    assert "DRAY-5" in page.locator("#what").inner_text()
    page.close()


def test_a_gauge_changed_in_the_middle_leaves_what_was_read_and_shows_its_own_steps(shop, browser, served):
    page = tablet(browser, served(make_app(Desk(shop))), "paths 3", "bridge_fitting")
    scanned(page, "LA-105")
    first = page.locator("[data-row='action bass']")
    first.locator("select").select_option("rule")
    assert "asked 6½/64 in, 5½ to 7½" in first.inner_text()
    page.fill("[data-value='action bass']", "6½")
    page.wait_for_function("document.querySelector('[data-answer=\"action bass\"]')?.textContent.includes('inside')")
    first.locator("select").select_option("taper")
    says(page, "6.5/64 in stays as it was read")
    assert "asked 2.60 mm, 2.20 to 3.00" in first.inner_text()
    page.locator("[data-row='action bass'] .val button").last.click()  # to the next mark of this gauge
    page.wait_for_function("document.querySelector('[data-value=\"action bass\"]').value === '2.6'")
    assert page.locator("#line").inner_text() == ""  # what was said of the reading before is over
    page.click("[data-outcome=pass]")
    page.click("#next")
    says(page, "Kept: LA-105")
    assert [row["action bass"] for row in rows(shop, "paths-3")] == ["2.6 mm"]
    page.evaluate("localStorage.removeItem('card-hands')")
    page.close()


def test_passing_with_a_reading_outside_asks_once_more_and_says_so(shop, browser, served):
    page = tablet(browser, served(make_app(Desk(shop))), "paths 6", "bridge_fitting")
    scanned(page, "LA-108")
    page.fill("[data-value='action treble']", "2,1 mm")  # a comma is a decimal sign at a bench
    page.wait_for_function("document.querySelector('[data-answer=\"action treble\"]')?.textContent.includes('inside')")
    page.fill("[data-value='action bass']", "3,4")
    page.wait_for_function("document.querySelector('[data-answer=\"action bass\"]')?.textContent.includes('outside')")
    page.focus("[data-outcome=pass]")
    page.keyboard.press("Enter")
    page.wait_for_selector("#back-to-it:focus")  # Enter once more keeps nothing
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-value='action bass']:focus")
    page.click("[data-outcome=pass]")
    page.wait_for_selector("#as-it-is")
    told = page.locator("#rows").inner_text()
    assert "Action, bass 3,4 mm: ✕ outside" in told
    assert "asked 2.60 mm, 2.20 to 3.00" in told
    assert rows(shop, "paths-6") == []
    page.click("#back-to-it")
    assert page.evaluate("document.activeElement.dataset.value") == "action bass"
    page.click("[data-outcome=pass]")
    page.click("#as-it-is")
    says(page, "Kept: LA-108, passed as it is; outside: Action, bass.")
    (kept,) = rows(shop, "paths-6")
    assert (kept["outcome"], kept["action bass"]) == ("pass", "3.4 mm")
    assert kept["note"] == "passed as it is; outside: Action, bass"
    page.close()


def test_the_first_screen_keeps_begin_in_sight_and_names_what_was_chosen(shop, browser, served):
    page = tablet(browser, served(make_app(Desk(shop))), "", "bridge_fitting")
    assert page.locator(".bar .who").inner_text() == ""  # a bench without a name of its own shows no key
    page.set_viewport_size({"width": 390, "height": 600})
    page.click("#other")
    page.click("[data-key=packing]")
    begin = page.locator("#begin")
    assert begin.inner_text() == "Begin\nPacking"
    assert begin.bounding_box()["y"] + begin.bounding_box()["height"] <= 600
    assert page.locator("#bench-name").input_value() == ""
    page.close()


@pytest.mark.parametrize("size", [(844, 390), (320, 256)])
def test_on_a_phone_held_sideways_a_reading_can_be_seen_and_typed(shop, browser, served, size):
    page = tablet(browser, served(make_app(Desk(shop))), "paths 7", "bridge_fitting")
    page.set_viewport_size({"width": size[0], "height": size[1]})
    scanned(page, "LA-109")
    page.locator("[data-value='action treble']").scroll_into_view_if_needed()
    page.fill("[data-value='action treble']", "2.1")
    hit = page.evaluate(
        "() => { const box = document.querySelector(\"[data-value='action treble']\").getBoundingClientRect();"
        " return document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2).dataset.value; }"
    )
    assert hit == "action treble"  # nothing lies over it
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.click("[data-outcome=pass]")
    page.click("#next")
    says(page, "Kept: LA-109, passed.")
    page.close()


def test_one_bench_in_two_tabs_counts_once_and_says_what_is_open_twice(shop, browser, served):
    address = served(make_app(Desk(shop)))
    one, two = (
        tablet(browser, address, "paths 4", "bridge_fitting"),
        tablet(browser, address, "paths 4", "bridge_fitting"),
    )
    scanned(one, "LA-106")
    one.fill("[data-value='action bass']", "2.6")
    one.wait_for_function("document.querySelector('[data-answer=\"action bass\"]')?.textContent.includes('inside')")
    scanned(two, "LA-106")
    says(two, "LA-106 is open in another tab at this bench too")
    two.click("#leave")
    says(two, "Left: LA-106")
    assert one.locator("[data-value='action bass']").input_value() == "2.6"
    scanned(two, "LA-107")
    two.click("[data-outcome=pass]")
    two.click("#next")
    says(two, "Kept: LA-107")
    one.wait_for_function(
        "document.querySelector('#today')?.textContent.includes('1 card')"
    )  # the other tab counts it too
    one.click("[data-outcome=pass]")
    one.click("#next")
    says(one, "Kept: LA-106")
    two.wait_for_function("document.querySelector('#today')?.textContent.includes('2 cards')")
    assert two.locator("#undo").inner_text().endswith("LA-106, passed")
    two.click("#undo")
    says(two, "Taken back: LA-106")
    one.wait_for_function("document.querySelector('#today')?.textContent.includes('1 card')")
    assert [row["serial"] for row in rows(shop, "paths-4")] == ["LA-107"]
    two.click("#leave")
    for page in (one, two):
        page.close()


ROW_IN_SIGHT = """() => {
  const box = one => document.querySelector(one).getBoundingClientRect();
  const row = box("[data-row]"), rows = box("#rows");
  return row.top >= rows.top - 1 && row.bottom <= rows.bottom + 1;
}"""
SMALL = (
    "[...document.querySelectorAll('button, input, select')].filter(one => one.offsetParent)"
    ".map(one => [one.textContent || one.id || one.dataset.value, one.getBoundingClientRect()])"
    ".filter(([, box]) => box.height < 43.5 || box.width < 43.5).map(([name]) => name)"
)
OVER = "[document.documentElement.scrollWidth > innerWidth, document.documentElement.scrollHeight > innerHeight]"


@pytest.mark.long
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1024, 768), (390, 844)])
def test_a_card_follows_the_systems_light_or_dark_and_the_first_row_is_whole(shop, browser, served, scheme, size, axe):
    page = tablet(browser, served(make_app(Desk(shop))), "paths 5", "final_inspection")
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.evaluate(axe)
    assert page.evaluate("document.documentElement.getAttribute('data-scheme')") == scheme
    assert page.evaluate(WHAT, {} if scheme == "light" else OF_COLOURS) == []
    scanned(page, "LA-200")
    assert page.evaluate(ROW_IN_SIGHT)
    assert page.evaluate(SMALL) == []
    assert page.evaluate(OVER) == [False, False]
    page.fill("[data-value='action bass']", "3.4")
    page.wait_for_function("document.querySelector('[data-answer=\"action bass\"]')?.textContent.includes('outside')")
    assert page.evaluate(WHAT, {} if scheme == "light" else OF_COLOURS) == []
    page.click("[data-outcome='send back']")
    page.wait_for_selector(".neck")
    assert page.evaluate(WHAT, {} if scheme == "light" else OF_COLOURS) == []
    page.click("#leave-it")
    page.click("#leave")
    page.click("#leave-open")
    says(page, "Left")
    page.close()
