"""Page /sheets and what it prints, in a real browser: the buttons lead to the papers, each paper is one page of A4 or
Letter, the bars of a printed serial read back, and the empty CSV arrives with a name that loads.
"""

from __future__ import annotations

import itertools
import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Page

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from dashboard.papers import pdf, sheet
from demo_data.generator import write_shop
from ingest.verbs.load import load
from tests.browser.conftest import CHROMIUM
from tests.browser.test_look import TEXTS

SERIALS = ("D5-27572", "HO-24318")
DPI = 300
MODULE = sheet.NARROW / 25.4 * DPI  # px of a module as printed


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Path:
    """The demo's last week: nineteen stages, five families, the longest traveller we have."""
    folder = tmp_path_factory.mktemp("sheets") / "shop"
    logs = write_shop(folder, weeks=1)
    load(folder, logs, now=datetime(2026, 11, 21, tzinfo=UTC))
    return folder


@pytest.fixture
def page(shop, served, watched) -> Page:
    seen = watched(1280)
    seen.page.goto(served(make_app(Desk(shop))) + "/sheets")
    seen.page.wait_for_selector("#sheets-serial")
    return seen.page


def printed(tmp_path: Path, html: str, monkeypatch) -> list[tuple[float, float]]:
    """The pages of a paper as a browser prints it, their sizes in mm; their pictures lie beside."""
    monkeypatch.setenv(pdf.OWN, str(CHROMIUM))
    source, place = tmp_path / "paper.html", tmp_path / "paper.pdf"
    source.write_text(html)
    pdf.write_pdf(source, place)
    told = subprocess.run(["pdfinfo", "-l", "99", str(place)], capture_output=True, text=True, check=True).stdout
    sizes = [line.split(":", 1)[1].split() for line in told.splitlines() if line.startswith("Page ") and "size" in line]
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", str(place), str(tmp_path / "page")], check=True)
    return [(float(one[0]) / 72 * 25.4, float(one[2]) / 72 * 25.4) for one in sizes]


def read_back(picture: Path) -> str:
    """What a scanner reads from the first code of a printed page: Code 128, found by its start sign, checked by its
    sum. ISO/IEC 15417: a sign is eleven modules, three bars and three gaps; the patterns are the library's own table.
    """
    from barcode.charsets import code128 as table

    kind, size, _, data = picture.read_bytes().split(b"\n", 3)
    assert kind == b"P5"
    width, height = (int(one) for one in size.split())
    patterns = {pattern: value for value, pattern in enumerate(table.CODES)}
    for y in range(0, height, 4):
        line = [data[y * width + x] < 128 for x in range(width)]
        edges = [x for x in range(1, width) if line[x] != line[x - 1]]
        runs = [round((b - a) / MODULE) for a, b in itertools.pairwise(edges)]
        begins = [k for k in range(len(runs) - 5) if line[edges[k]] and runs[k : k + 6] in STARTS]
        for begin in begins:
            said = decoded(runs[begin:], patterns, table)
            if said:
                return said
    return ""


STARTS = ([2, 1, 1, 4, 1, 2], [2, 1, 1, 2, 1, 4], [2, 1, 1, 2, 3, 2])  # A, B, C (ISO/IEC 15417, table 1)
SETS = {103: "A", 104: "B", 105: "C", 99: "C", 100: "B", 101: "A"}


def decoded(runs: list[int], patterns: dict[str, int], table) -> str:
    values: list[int] = []
    for k in range(0, len(runs) - 5, 6):
        bits = "".join("10"[place % 2] * runs[k + place] for place in range(6))
        if bits == table.STOP:
            break
        if bits not in patterns:
            return ""
        values.append(patterns[bits])
    *values, check = values
    if check != (values[0] + sum(k * value for k, value in enumerate(values))) % 103:
        return ""
    letters, now = "", SETS[values[0]]
    for value in values[1:]:
        if value in SETS and not (now == "C" and value == 99) and value >= 99:
            now = SETS[value]
        else:
            letters += f"{value:02d}" if now == "C" else chr(value + 32)
    return letters


needs_a_printer = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler's pdftoppm is not here")


@needs_a_printer
@pytest.mark.parametrize(
    "letter", [pytest.param(False, id="A4"), pytest.param(True, id="Letter", marks=pytest.mark.long)]
)
def test_travellers_are_a_page_each_and_their_bars_read_back(shop, page, tmp_path, monkeypatch, letter):
    _, html = sheet.travellers(SERIALS, letter=letter)
    sizes = printed(tmp_path, html, monkeypatch)
    assert [(round(wide), round(high)) for wide, high in sizes] == [(216, 279) if letter else (210, 297)] * len(SERIALS)
    pictures = sorted(tmp_path.glob("page-*.pgm"))
    assert [read_back(one) for one in pictures] == list(SERIALS)


@needs_a_printer
@pytest.mark.parametrize(
    "letter", [pytest.param(False, id="A4"), pytest.param(True, id="Letter", marks=pytest.mark.long)]
)
def test_every_day_sheet_is_one_page(shop, page, tmp_path, monkeypatch, letter):
    for stage in ("final_inspection", "bridge_fitting", "packing"):
        _, html = sheet.day_sheet(stage, letter=letter)
        ((wide, high),) = printed(tmp_path, html, monkeypatch)
        assert (round(wide), round(high)) == ((279, 216) if letter else (297, 210)), stage


def test_the_page_leads_to_its_papers_and_saves_an_empty_csv(page):
    page.fill("#sheets-serial", ", ".join(SERIALS))
    with page.context.expect_page() as opened:
        page.click("button[name=letter][value='1']")
    paper = opened.value
    paper.wait_for_selector(".trav")
    assert [one.inner_text() for one in paper.locator(".trav h1").all()] == list(SERIALS)
    assert paper.evaluate(TEXTS) == []
    paper.close()
    row = page.locator("tr", has_text="Bridge fitting").first
    with page.context.expect_page() as opened:
        row.get_by_role("link", name="A4").click()
    opened.value.wait_for_selector("text=Bridge fitting, day")
    opened.value.close()
    with page.expect_download() as saved:
        row.get_by_role("link", name="Empty CSV").click()
    assert saved.value.suggested_filename.endswith("_bridge-fitting-by-hand.csv")
    heading = Path(saved.value.path()).read_text()
    assert heading.startswith("serial,model,stage,tech,date,")
    assert "action treble" in heading


@pytest.mark.parametrize("width", [1280, 390])
def test_the_page_fits_and_its_texts_lie_apart(page, width):
    page.set_viewport_size({"width": width, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert page.evaluate(TEXTS) == []
