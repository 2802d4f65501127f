"""Card on a touch screen of 1024 by 768: typed as a scanner types, corrected, undone, two benches, a browser killed."""

import csv
import re

import pytest
from playwright.sync_api import BrowserContext, Page, Route

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from tests.browser.conftest import calm
from tests.dashboard.pages.moving_shop import stands

SCANNED = 20


@pytest.fixture
def shop(tmp_path):
    return stands(tmp_path / "shop")


def tablet(browser: BrowserContext, address: str, bench: str, stage: str = "final_inspection") -> Page:
    """A page of the browser at a bench."""
    page = calm(browser.new_page())
    page.set_viewport_size({"width": 1024, "height": 768})
    page.set_default_timeout(60_000)
    page.goto(f"{address}/card")
    if page.locator("#begin").count() == 0:
        page.wait_for_selector("#begin, #other")
        if page.locator("#other").count():
            page.click("#other")
    page.wait_for_selector("#begin")
    page.click(f"[data-key={stage}]")
    page.fill("#bench-name", bench)
    page.click("#begin")
    page.wait_for_selector("#foot p")
    return page


def scan(page: Page, text: str) -> None:
    """Keys as a scanner sends them: faster than fingers, Enter at the end."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


BURST = """text => {
  const field = document.activeElement, began = performance.now();
  let sent = 0;
  const key = name => {
    const event = new KeyboardEvent("keydown", { key: name, bubbles: true, cancelable: true });
    Object.defineProperty(event, "timeStamp", { value: began + sent++ });
    field.dispatchEvent(event);
  };
  for (const sign of text) {
    key(sign); field.value += sign; field.dispatchEvent(new Event("input", { bubbles: true }));
  }
  key("Enter");
}"""


def burst(page: Page, text: str) -> None:
    """The same, a millisecond a key, however busy the machine is."""
    page.evaluate(BURST, text)


def enter(page: Page, serial: str, *values: str) -> None:
    """One instrument: serial, its values each with Enter, passed."""
    scan(page, serial)
    page.wait_for_function(
        f"document.querySelector('#serial')?.value === '{serial}' && document.querySelector('[data-row]')"
    )
    for value in values:
        page.keyboard.type(value)
        page.keyboard.press("Enter")
    page.wait_for_selector('#outcomes button[data-outcome="pass"]:focus')
    page.keyboard.press("p")
    page.wait_for_selector("#next:not([disabled])")
    page.click("#next")
    page.wait_for_function(f"document.querySelector('#line')?.textContent === 'Kept: {serial}, passed.'")


def rows(folder, bench):
    out = []
    for path in sorted((folder / "cards").glob(f"card_*_{bench}.csv")):
        with path.open(newline="") as file:
            out += list(csv.DictReader(file))
    return out


@pytest.mark.long
def test_twenty_instruments_one_corrected_one_undone_and_a_browser_killed(shop, browser, served):
    address = served(make_app(Desk(shop)))
    page = tablet(browser, address, "bench 2")
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    for k in range(SCANNED - 1):
        enter(page, f"LA-{1000 + k}", "0.20", "2.60", "2.40")
    assert page.locator("#today").inner_text().startswith("Today at this bench: 19 cards; 19 passed")

    page.click("#undo")  # the last one, with a value put right, is kept again
    page.wait_for_function("document.querySelector('#line')?.textContent.startsWith('Taken back: LA-1018')")
    assert page.locator("[data-value=relief]").input_value() == "0.2"
    page.fill("[data-value=relief]", "0.25")
    page.wait_for_function("document.querySelector('[data-answer=relief]')?.textContent.includes('inside')")
    page.click("#next:not([disabled])")
    page.wait_for_function("document.querySelector('#line')?.textContent.startsWith('Kept: LA-1018')")

    page.click("#undo")  # and one is undone for good
    page.wait_for_function("document.querySelector('#line')?.textContent.startsWith('Taken back')")
    told = rows(shop, "bench-2")
    assert [row["serial"] for row in told] == [f"LA-{1000 + k}" for k in range(18)]
    page.click("#leave")
    page.wait_for_function("document.querySelector('#line')?.textContent === 'LA-1018 stays taken back.'")

    # the answer to the last card never comes: the tablet holds it, the browser dies, and it is sent again once
    page.route("**/card/keep", lambda route: (route.fetch(), route.abort()))
    scan(page, "LA-1019")
    page.wait_for_function(
        "document.querySelector('#serial')?.value === 'LA-1019' && document.querySelector('[data-row]')"
    )
    page.click("[data-outcome=hold]")
    page.click("#next")
    page.wait_for_function("document.querySelector('#net')?.textContent.includes('1 card kept here')")
    page.close(run_before_unload=False)
    again = tablet(browser, address, "bench 2")
    again.wait_for_function("document.querySelector('#net')?.textContent.includes('All cards kept')")
    again.wait_for_function("document.querySelector('#today')?.textContent.includes('19 cards')")
    again.close()
    told = rows(shop, "bench-2")
    assert [row["serial"] for row in told].count("LA-1019") == 1
    assert len({row["card"] for row in told}) == len(told) == 19
    assert wrong == []


@pytest.mark.long
def test_two_benches_at_once_and_a_serial_scanned_while_a_value_is_typed(shop, browser, served):
    address = served(make_app(Desk(shop)))
    first, second = tablet(browser, address, "bench 2"), tablet(browser, address, "bench 3", "bridge_fitting")
    second.keyboard.type("L")  # a key that comes late is still of the serial it begins
    second.wait_for_timeout(80)
    scan(second, "A-1013")
    second.wait_for_selector("[data-row]")
    assert second.locator("#serial").input_value() == "LA-1013"
    second.reload()
    second.wait_for_selector("#serial:focus")
    for k in range(3):
        enter(first, f"LA-{1000 + k}", "0.20", "2.60", "2.40")
        enter(second, f"LA-{1010 + k}", "2.60", "2.40")
    assert [row["serial"] for row in rows(shop, "bench-2")] == ["LA-1000", "LA-1001", "LA-1002"]
    assert [row["stage"] for row in rows(shop, "bench-3")] == ["bridge_fitting"] * 3
    scan(first, "LA-1005")
    first.wait_for_selector("[data-value=relief]:focus")
    first.keyboard.type("0.3", delay=60)
    burst(first, "LA-1006")  # lands in the serial, not in the value; what is typed asks once
    first.wait_for_selector("#back-to-it")
    first.click("#back-to-it")
    first.wait_for_function("document.querySelector('#serial').value === 'LA-1005'")
    assert first.locator("[data-value=relief]").input_value() == "0.3"
    for page in (first, second):
        page.close()


def test_every_target_is_large_enough_and_nothing_leaves_the_screen(shop, browser, served):
    address = served(make_app(Desk(shop)))
    page = tablet(browser, address, "bench 7")
    scan(page, "LA-1003")
    page.wait_for_selector("[data-row]")
    small = page.evaluate(
        "[...document.querySelectorAll('button, input, select')].filter(one => one.offsetParent)"
        ".map(one => [one.textContent || one.id || one.dataset.value, one.getBoundingClientRect()])"
        ".filter(([, box]) => box.height < 43.5 || box.width < 43.5).map(([name]) => name)"
    )
    assert small == []
    assert page.evaluate(
        "document.documentElement.scrollWidth <= innerWidth && document.documentElement.scrollHeight <= innerHeight"
    )
    assert re.search(r"asked 2\.60 mm, 2\.20 to 3\.00", page.locator("#rows").inner_text())
    page.close()


def opened(page: Page, serial: str) -> None:
    """A card is there whole: its rows are its own."""
    page.wait_for_function(
        f"document.querySelector('#serial')?.value === '{serial}' && document.querySelector('[data-row]')"
        " && !document.querySelector('#rows').inert"
    )


def says(page: Page, begin: str) -> None:
    page.wait_for_function(f"document.querySelector('#line')?.textContent.startsWith({begin!r})")


@pytest.mark.long
def test_nothing_is_kept_that_nobody_said_whatever_hands_do(shop, browser, served):
    address = served(make_app(Desk(shop)))
    page = tablet(browser, address, "bench 8")
    enter(page, "LA-1000", "0.20", "2.60", "2.40")

    page.click("#undo")  # taken back: its outcome stands there, and a scan must not keep it again
    says(page, "Taken back: LA-1000")
    burst(page, "LA-1001")
    page.wait_for_selector("#keep-open")
    assert page.locator("#next").is_disabled()
    page.click("#leave-open")
    opened(page, "LA-1001")
    assert rows(shop, "bench-8") == []

    burst(page, "LA-1002")  # what is typed before a card has come is that card's
    page.keyboard.type("0.2")
    opened(page, "LA-1002")
    burst(page, "LA-1002")  # and a scanner that fires twice does nothing
    page.wait_for_function("document.querySelector('[data-value=relief]').value === '0.2'")

    page.fill("#serial", "LA-1003")  # the wrong one was scanned: its readings go to the right one
    page.press("#serial", "Enter")
    page.wait_for_selector("#carry-open")
    page.click("#carry-open")
    opened(page, "LA-1003")
    assert page.locator("[data-value=relief]").input_value() == "0.2"
    page.press("[data-value=relief]", "End")
    page.keyboard.type("LA-1004", delay=60)  # a slow scanner writes into a value: no reading of 0.2LA
    page.keyboard.press("Enter")
    page.wait_for_selector("#back-to-it")
    page.click("#back-to-it")
    opened(page, "LA-1003")
    assert page.locator("[data-value=relief]").input_value() == "0.2"
    page.click("[data-outcome=pass]")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")  # once too often
    says(page, "Kept: LA-1003, passed.")
    assert [(row["serial"], row["relief"]) for row in rows(shop, "bench-8")] == [("LA-1003", "0.2 mm")]

    burst(page, "LA-1005")
    opened(page, "LA-1005")
    page.fill("[data-value=relief]", "0.25")
    page.click("[data-outcome=hold]")
    page.go_back()  # the tablet's Back leaves no card by accident
    page.wait_for_selector("#back-to-it")
    other = tablet(browser, address, "bench 9")  # a second tab is another bench, and takes nothing of the first
    assert other.locator("#serial").input_value() == ""
    page.close(run_before_unload=False)  # the power goes
    again = tablet(browser, address, "bench 8")
    says(again, "LA-1005 was open")
    assert again.locator("[data-value=relief]").input_value() == "0.25"
    assert again.locator("#next").is_enabled()
    assert len(rows(shop, "bench-8")) == 1
    other.reload()
    other.wait_for_selector("#serial")
    assert "bench 9" in other.locator(".bar").inner_text()

    burst(again, "QX-77")  # an open card whose outcome nobody said again is asked about
    again.click("#leave-open")
    again.wait_for_selector("[data-model=LARK-25]")  # and a serial nobody knows asks its model first
    assert again.locator("[data-outcome=pass]").is_disabled()
    again.click("[data-model=LARK-25]")
    opened(again, "QX-77")
    assert "not on file" in again.locator("#what").inner_text()
    again.click("#leave")
    assert len(rows(shop, "bench-8")) == 1
    for each in (again, other):
        each.close()


@pytest.mark.long
def test_an_outcome_pressed_while_the_last_value_is_being_answered_is_judged_by_that_answer(shop, browser, served):
    address = served(make_app(Desk(shop)))
    page = tablet(browser, address, "bench 4")
    late: list[Route] = []
    page.route(
        "**/card/judge",
        lambda route: late.append(route) if route.request.post_data_json["text"] in ("2.6", "9") else route.continue_(),
    )
    told = "document.querySelector('[data-answer=\"action bass\"]')?.textContent"
    scan(page, "LA-1000")
    opened(page, "LA-1000")
    page.fill("[data-value='action bass']", "2")  # outside, and so is told
    page.wait_for_function(f"{told}.includes('outside')")
    page.fill("[data-value='action bass']", "2.6")
    page.click("[data-outcome=pass]")
    page.wait_for_selector("#next:not([disabled])")  # the answer to 2 keeps nothing and asks nothing
    late.pop().continue_()
    page.wait_for_function(f"{told}.includes('inside')")
    page.wait_for_timeout(300)
    assert rows(shop, "bench-4") == []
    assert page.locator("#next").is_enabled()

    page.click("[data-outcome=pass]")  # not said any more
    page.fill("[data-value='action bass']", "9")
    page.click("[data-outcome=pass]")
    late.pop().continue_()
    page.wait_for_selector("#as-it-is")  # what was pressed is not taken off without a word
    page.click("#back-to-it")
    page.fill("[data-value='action bass']", "2.5")
    page.wait_for_function(f"{told}.includes('inside')")
    page.click("[data-outcome=pass]")
    page.click("#next")
    says(page, "Kept: LA-1000, passed.")
    page.close()
