"""The review loop in a real browser: a matter's life over two weeks and both papers, one period against another, and
the keyboard alone from Week to a typed row and back.
"""

import shutil
from datetime import timedelta

import pytest

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from ingest.verbs.load import load
from tests.dashboard.pages import moving_shop

LATER = 5 * 8  # instruments of the week after, back where they were


@pytest.fixture
def stands(moving_desk):
    return moving_desk.folder  # read only: a test that writes has a copy


def next_week(folder):
    """The bench goes on for a week; the treble action stands where it stood before."""
    lines = [moving_shop.log().splitlines()[0]]
    for k in range(LATER):
        at = moving_shop.day(moving_shop.N + k)
        stamps = f"{at:%Y-%m-%d %H:%M},{at + timedelta(minutes=5):%Y-%m-%d %H:%M}"
        value = 2.35 + 0.05 * (k % 3)
        lines.append(f"LA-{2000 + k},LARK-25,final_inspection,T02,{stamps},pass,taper,0.20,2.60,{value:.2f}")
    path = folder / "as_typed" / "next.csv"
    path.write_text("\n".join(lines) + "\n")
    load(folder, [path], now=moving_shop.NOW)


@pytest.mark.long
def test_a_matter_lives_over_two_weeks_and_both_papers(stands, tmp_path, served, watched):
    folder = shutil.copytree(stands, tmp_path / "copy")
    address = served(make_app(Desk(folder)))
    seen = watched()
    seen.page.goto(address)
    seen.page.click(".matter-row summary")
    row = seen.page.locator(".matter-row[open]")
    row.get_by_label("Action").fill("measure ten blanks")
    row.get_by_label("Owner").fill("bridge bench")
    row.get_by_label("By", exact=True).fill("2026-04-08")
    row.get_by_label("Written by").fill("Mara")
    row.get_by_role("button", name="Give it to someone").click()
    seen.says("bridge bench, by 8 Apr")
    seen.page.wait_for_function("document.getElementById('week-who').value === 'Mara'")  # asked for once
    seen.page.get_by_role("button", name="The week is reviewed").click()
    seen.says("Reviewed by Mara on")
    assert "measure ten blanks" in seen.page.request.get(f"{address}/papers/week?week=2026-03-30").text()
    next_week(folder)
    seen.page.goto(f"{address}/book")
    seen.says("measure ten blanks")
    seen.page.click(".register-row summary")
    seen.page.get_by_label("Done on", exact=True).fill("2026-04-03")
    seen.page.wait_for_function(
        "[...document.querySelectorAll('[autocomplete=name]')].some(one => one.value === 'Mara')"
    )
    seen.page.get_by_role("button", name="It is done").click()
    seen.says("moved as hoped")
    seen.page.goto(f"{address}/?week=2026-03-30")
    seen.says("Reviewed by Mara on")
    assert "done 3 Apr" not in seen.page.text_content("body")
    first, second = (seen.page.request.get(f"{address}/papers/week{week}").text() for week in ("?week=2026-03-30", ""))
    assert "bridge bench" in first
    assert "moved as hoped" not in first
    assert "week of 6 April" in second.replace("\u00a0", " ").replace("&nbsp;", " ")
    assert "moved as hoped" in second
    assert seen.wrong == []


def test_three_choices_and_a_link_hold_one_period_against_another(moving_desk, served, watched):
    seen = watched()
    seen.page.goto(f"{served(make_app(moving_desk))}/drift")
    seen.page.get_by_text("Hold a period, lot or gauge of it against another").click()
    seen.page.wait_for_url("**/against?what=action**")
    seen.says("LARK-25, since 30 Mar lies 0.30 mm higher than LARK-25, up to 29 Mar")  # since it moved, and before
    seen.page.locator("#against-a-from").fill("2026-03-31")
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_url("**a_from=2026-03-31**")
    seen.says("LARK-25, since 31 Mar lies")
    focused = "document.activeElement.id"
    seen.page.wait_for_function(f"{focused} === 'against-a-from'")
    seen.page.wait_for_function("document.title.startsWith('LARK-25, since 31 Mar lies')")
    assert seen.page.evaluate("document.documentElement.scrollWidth") == 1280
    assert seen.wrong == []


def test_the_keyboard_alone_leads_from_week_to_a_typed_row_and_back(moving_desk, served, watched):
    seen = watched()
    seen.page.goto(served(make_app(moving_desk)))
    seen.page.wait_for_selector(".matter-row summary")

    seen.page.wait_for_load_state("networkidle")
    here = "/^(A|SUMMARY|BUTTON)$/.test(document.activeElement.tagName) ? document.activeElement.textContent : ''"

    def on(words, most=80):
        for _ in range(most):
            seen.page.keyboard.press("Tab")
            if words in seen.page.evaluate(here):
                return
        raise AssertionError(f"the keyboard never came to {words!r}")

    on("Action treble on LARK-25")
    seen.page.keyboard.press("Enter")
    on("See it on Drift")
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_url("**/drift**")
    seen.page.wait_for_selector("text=Its readings, each with file and line")
    on("Its readings, each with file and line", most=300)
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_url("**/logs/readings**")
    seen.page.wait_for_selector("table.plain tbody tr")
    assert "bench.csv" in seen.page.inner_text("#main")
    seen.page.go_back()  # Alt and the arrow, which a browser without a window does not know
    seen.page.wait_for_url("**/drift**")
    seen.page.go_back()
    seen.page.wait_for_selector(".matter-row summary")
    assert seen.wrong == []
