"""Necks and Bench in a real browser, and their papers as the PDF it prints: whole, quiet, nothing over anything
else.
"""

import shutil
import subprocess

import pytest

from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.papers import bench, necks, pdf
from tests.browser.conftest import CHROMIUM
from tests.browser.test_look import TEXTS
from tests.browser.test_papers import CUT


@pytest.fixture
def here(people_desk):
    return make_app(people_desk)


@pytest.mark.long
@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize(("path", "charts"), [("/necks", 3), ("/bench?tech=T09&stage=nut_slotting", 10)])
def test_the_pages_hold_their_texts_apart_and_within_the_window(here, served, watched, width, path, charts):
    seen = watched(width)
    seen.page.goto(served(here) + path)
    seen.charts_drawn(charts)
    assert seen.page.evaluate(TEXTS) == []
    assert seen.page.evaluate("document.documentElement.scrollWidth") == width
    assert seen.page.locator("h1").count() == 1
    assert seen.wrong == []


def test_choosing_a_supplier_puts_it_into_the_address_and_back_returns(here, served, watched):
    seen = watched()
    seen.page.goto(f"{served(here)}/necks")
    seen.charts_drawn(3)
    seen.page.select_option("#necks-supplier", label="Tollgate Necks")
    seen.page.wait_for_url("**supplier=Tollgate*")
    seen.page.wait_for_function("document.body?.textContent.includes('For the talk with Tollgate Necks')")
    seen.page.go_back()
    seen.page.wait_for_function("document.body?.textContent.includes('For the talk with Marrow & Pine')")
    assert seen.wrong == []


def test_a_trainer_chooses_a_bench_signs_a_step_and_finds_it_in_the_book(people_desk, served, watched, tmp_path):
    seen = watched()
    copy = desk.Desk(shutil.copytree(people_desk.folder, tmp_path / "signs"))
    seen.page.goto(f"{served(make_app(copy))}/bench?tech=T02")
    seen.charts_drawn(1)
    seen.page.select_option("#bench-stage", label="Nut slotting")
    seen.page.wait_for_url("**stage=nut_slotting*")
    seen.page.wait_for_function("document.querySelector('h1')?.textContent.includes('T02 at nut slotting')")
    seen.page.click("#bench-agree")
    seen.page.wait_for_function(
        "document.querySelector('#bench-agreed')?.textContent.startsWith('Write the next step')"
    )
    seen.page.fill("#bench-step", "Stop two strokes early")
    seen.page.fill("#bench-trainer", "R. Marsh")
    seen.page.click("#bench-agree")
    seen.page.wait_for_function("document.querySelector('#bench-agreed')?.textContent.startsWith('Written into')")
    seen.page.fill("#bench-signer", "R. Marsh")
    seen.page.click("#bench-sign")
    seen.page.wait_for_function("document.querySelector('#bench-signed')?.textContent.startsWith('Signed off by R.')")
    seen.page.reload()
    seen.page.wait_for_function("document.body?.textContent.includes('Written by R. Marsh')")
    seen.page.wait_for_function("document.body?.textContent.includes('Signed off by R. Marsh')")
    assert seen.page.get_by_text("chance and mix explain").count() == 1
    assert seen.wrong == []


@pytest.mark.parametrize("path", ["/papers/necks?supplier=Marrow+%26+Pine", "/papers/bench?tech=T09"])
def test_the_papers_read_on_a_phone(here, served, watched, path):
    seen = watched(390)
    seen.page.goto(served(here) + path)
    seen.charts_drawn(2)
    assert seen.page.evaluate("document.documentElement.scrollWidth") == 390
    assert seen.wrong == []


@pytest.mark.parametrize("letter", [False, True], ids=["A4", "Letter"])
def test_the_card_is_one_page_and_the_packet_is_not_cut(browser, here, served, watched, tmp_path, monkeypatch, letter):
    monkeypatch.setenv(pdf.OWN, CHROMIUM)
    sizes = {}
    for name, html in (
        ("card", bench.paper("T09", letter=letter)[1]),
        ("packet", necks.paper("Marrow & Pine", money=True, letter=letter)[1]),
    ):
        (tmp_path / f"{name}.html").write_text(html)
        pdf.write_pdf(tmp_path / f"{name}.html", tmp_path / f"{name}.pdf")
        text = subprocess.run(
            ["pdftotext", "-layout", str(tmp_path / f"{name}.pdf"), "-"], capture_output=True, text=True, check=True
        ).stdout
        pages = text.split("\f")
        sizes[name] = len(pages) - 1
        assert name == "card" or "in the lot" in pages[0]  # the first page is not left empty before the lots
        assert f"page 1 of {sizes[name]}" in text
    assert sizes["card"] == 1
    assert 2 <= sizes["packet"] <= 4
    seen = watched(1280)
    seen.page.goto(f"{served(here)}/papers/necks?supplier=Marrow+%26+Pine" + ("&letter=1" if letter else ""))
    seen.charts_drawn(2)
    assert seen.page.evaluate(CUT) == []
    assert seen.page.evaluate(TEXTS) == []
