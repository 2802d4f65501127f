"""Papers in a real browser and as the PDF it prints: whole pages, nothing cut, nothing over anything else, nothing from
elsewhere.
"""

import shutil
import subprocess

import pytest

from dashboard.app import make_app
from dashboard.papers import pdf, week
from tests.browser.conftest import CHROMIUM
from tests.browser.test_look import TEXTS

CUT = """() => [...document.querySelectorAll('.paper *')].filter(e => !e.closest('svg') && !e.closest('.chart')
  && e.getBoundingClientRect().right > document.querySelector('.paper').getBoundingClientRect().right + 1)
  .map(e => e.outerHTML.slice(0, 80))"""


@pytest.fixture
def here(moving_desk):
    return make_app(moving_desk)


@pytest.mark.parametrize("width", [1280, 390])
def test_the_weekly_review_reads_on_screen_and_phone(here, served, watched, width):
    seen = watched(width)
    seen.page.goto(f"{served(here)}/papers/week")
    seen.charts_drawn(5)
    assert seen.page.evaluate(TEXTS) == []
    assert seen.page.evaluate(CUT) == []
    assert seen.page.evaluate("document.documentElement.scrollWidth") == width
    assert seen.page.locator("h1").count() == 1
    assert seen.wrong == []


@pytest.mark.parametrize("letter", [False, True], ids=["A4", "Letter"])
def test_the_weekly_review_prints_on_three_pages_at_most_each_with_more_than_a_line(
    browser, here, tmp_path, monkeypatch, letter
):
    monkeypatch.setenv(pdf.OWN, CHROMIUM)
    html, printed = tmp_path / "week.html", tmp_path / "week.pdf"
    html.write_text(week.paper(letter=letter)[1])
    pdf.write_pdf(html, printed)
    pages = _pages(printed)
    assert 2 <= len(pages) <= 3
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "store version 1" in page  # what it was computed from stands on every page
        assert len([line for line in page.splitlines() if line.strip()]) > 10
    assert "runs now" in "".join(pages)  # the charts were drawn before it was printed
    size = subprocess.run(["pdfinfo", str(printed)], capture_output=True, text=True, check=True).stdout
    assert ("612 x 792" if letter else "594.96 x 841.92") in size


def test_without_a_chromium_the_paper_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setenv(pdf.OWN, str(tmp_path / "none"))
    with pytest.raises(pdf.NoPdf, match="open it in a browser and print it"):
        pdf.write_pdf(tmp_path / "week.html", tmp_path / "week.pdf")
    assert pdf.find_chromium() is None


def test_a_chromium_that_prints_nothing_is_told_of(tmp_path, monkeypatch):
    monkeypatch.setenv(pdf.OWN, str(shutil.which("true")))
    with pytest.raises(pdf.NoPdf, match="printed nothing"):
        pdf.write_pdf(tmp_path / "week.html", tmp_path / "week.pdf")


def _pages(printed):
    text = subprocess.run(
        ["pdftotext", "-layout", str(printed), "-"], capture_output=True, text=True, check=True
    ).stdout
    return text.split("\f")[:-1]
