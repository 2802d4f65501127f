"""Every page in a real browser on the demo shop: drawn, quiet, within its window, and linked to the next."""

import io
import zipfile
from pathlib import Path

import polars as pl
import pytest
from pypdf import PdfReader

from dashboard.app import make_app
from dashboard.desk import desk
from tests.dashboard.pages.logs.test_page import HEAD, ROWS, SHOP, SPECS

CHARTS = {"/": 4, "/drift": 2, "/capability": 1, "/rework": 3, "/necks": 1, "/bench": 1, "/logs": 0}


@pytest.fixture(scope="module")
def demo_app(kept_demo_desk):
    return make_app(kept_demo_desk)


@pytest.fixture
def address(demo_app, demo_desk, served):
    return served(demo_app)


@pytest.mark.parametrize(
    ("width", "paths"),
    [(1280, list(CHARTS)), (390, ["/", "/capability"])],
    ids=["1280", "390, those no other test opens there"],
)
def test_every_page_is_drawn_and_quiet(address, watched, width, paths):
    seen = watched(width)
    seen.page.goto(address)
    seen.page.wait_for_selector("h1")
    for path in paths:
        charts = CHARTS[path]
        if path != "/":
            _go_to(seen.page, path, phone=width < 760)
        if charts:
            seen.charts_drawn(charts)
        assert seen.page.locator("h1").inner_text().strip(), path
        assert seen.page.evaluate("document.documentElement.scrollWidth") == width, path
        assert seen.wrong == [], path


UNFIT = """() => [...document.querySelectorAll('.table-wrap, main td')].filter(e => e.checkVisibility()).flatMap(e => {
  const box = e.getBoundingClientRect();
  const over = e.matches('.table-wrap') && e.scrollWidth > e.clientWidth + 1;
  if (over) return ['runs out: ' + e.textContent.slice(0, 40)];
  const narrow = e.matches('td') && box.height > 100 && box.width < 90 && e.textContent.length > 24;
  return narrow ? ['narrow: ' + e.textContent] : [];
})"""


def test_no_table_runs_out_or_has_a_column_of_single_words_on_a_phone(address, watched):
    seen, wrong = watched(390), {}
    back = desk.here().snapshot().table("visits").filter(pl.col("outcome") == "send back")["serial"][0]
    pages = ("/bench", "/logs", "/necks", "/drift", "/capability?open=gauges", f"/logs/instrument?serial={back}")
    for path in pages:
        seen.page.goto(address + path)
        seen.page.wait_for_selector("h1")
        seen.page.wait_for_load_state("networkidle")
        seen.page.evaluate("document.querySelectorAll('#main details').forEach(one => one.open = true)")
        if told := seen.page.evaluate(UNFIT):
            wrong[path] = told
    assert wrong == {}
    seen.page.goto(address + "/necks")
    seen.page.wait_for_selector("h1")
    seen.page.evaluate("document.querySelectorAll('#main details').forEach(one => one.open = true)")
    broken = "[...document.querySelectorAll('td.whole a')].filter(e => e.getBoundingClientRect().height > 40).length"
    assert seen.page.locator("td.whole a").count() > 50
    assert seen.page.evaluate(broken) == 0


def _go_to(page, path, *, phone):
    """By the header, as a person goes; until the page before is gone."""
    before = page.query_selector("h1")
    if phone:
        page.click("#menu-name")
    page.click(f"{'.menu' if phone else '.top nav'} a[href='{path}']")
    page.wait_for_function("heading => !heading.isConnected", arg=before)
    page.wait_for_selector("h1")


def test_a_sentence_of_the_week_leads_to_its_chart_and_from_there_to_file_and_line(address, watched):
    seen = watched()
    seen.page.goto(address)
    seen.page.locator(".matter-row summary").first.focus()
    seen.page.keyboard.press("Enter")  # the row opens in place
    seen.page.locator(".matter-row[open] a", has_text="See it on Drift").focus()
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_url("**/drift**")
    seen.charts_drawn(2)
    assert "HERON-OM" in seen.page.locator("h2", has_text="HERON-OM").first.inner_text()
    seen.page.get_by_text("Its readings, each with file and line").first.click()
    seen.page.wait_for_url("**/logs/readings**")
    seen.page.wait_for_selector("table.plain tbody tr")
    assert "line" in seen.page.locator("table.plain tbody tr").first.inner_text()
    seen.page.locator("table.plain tbody tr a").first.click()
    seen.page.wait_for_url("**/logs/instrument**")
    seen.page.wait_for_selector("text=in time order")
    assert seen.wrong == []


def test_a_deep_link_opens_the_stream_it_names(address, watched):
    seen = watched()
    seen.page.goto(f"{address}/drift?characteristic=relief&position=&model=HERON-D&stage=final_inspection")
    seen.charts_drawn(2)
    assert seen.page.locator("h2", has_text="HERON-D").count() == 1
    assert seen.wrong == []


def test_a_filter_lives_in_the_address_and_back_goes_back(address, watched):
    seen = watched()
    seen.page.goto(f"{address}/capability")
    seen.charts_drawn(1)
    seen.page.select_option("#capability-when", label="As built")
    seen.page.wait_for_url("**when=as+built**")
    seen.page.wait_for_selector("text=first play-test readings")
    seen.page.go_back()
    seen.page.wait_for_selector("text=first final-inspection readings")
    assert seen.wrong == []


def test_a_dropped_sheet_is_read_its_question_answered_and_marked(tmp_path, served, watched):
    (tmp_path / "shop.toml").write_text(SHOP, encoding="utf-8")
    (tmp_path / "specs.csv").write_text(SPECS, encoding="utf-8")
    seen = watched()
    seen.page.goto(served(make_app(desk.Desk(tmp_path))) + "/logs")
    seen.page.set_input_files(
        "input[type=file]", {"name": "bench.csv", "mimeType": "text/csv", "buffer": (HEAD + ROWS).encode()}
    )
    seen.page.wait_for_selector("text=1 question waits")
    seen.page.get_by_role("link", name="Answer").first.click()
    seen.page.fill("#logs-value", "2.5")
    seen.page.fill("#logs-who", "Mara")
    seen.page.fill("#logs-why", "a dot was lost")
    seen.page.click("#logs-correct")
    seen.page.wait_for_selector("text=no question waits")
    seen.page.goto(seen.page.url.split("/logs")[0] + "/logs/readings?characteristic=action&serials=L-2")
    seen.page.wait_for_selector("text=corrected >> visible=true")
    assert seen.wrong == []


def test_the_font_is_our_own_file():
    font = Path(__file__).parents[2] / "dashboard" / "assets" / "font"
    files = list(font.glob("*.woff2"))
    assert files
    assert all(file.read_bytes()[:4] == b"wOF2" for file in files)


def test_what_stands_in_a_sheet_is_saved_as_picture_and_table(address, watched):
    seen = watched()
    seen.page.goto(address)
    seen.charts_drawn(4)
    sheet = seen.page.locator(".sheet", has=seen.page.locator("h2", has_text="As set, outside limits"))
    firsts = sheet.locator("table.plain tbody tr td:first-child")
    for place, text in enumerate(("=1+1", "\u22120.05", "-1 mm")):
        firsts.nth(place).evaluate("(cell, text) => { cell.textContent = text }", text)
    with seen.page.expect_download() as table:
        sheet.get_by_role("button", name="Save table").click()
    assert table.value.suggested_filename == "as-set-outside-limits.csv"
    rows = table.value.path().read_text(encoding="utf-8-sig").splitlines()
    assert len(rows) > 5
    # a number is plain, what a spreadsheet would run is text
    assert [row.split(",")[0] for row in rows[1:4]] == ["'=1+1", "-0.05", "'-1 mm"]
    assert len({row.count(",") for row in rows if '"' not in row}) == 1, rows
    for place in range(firsts.count()):  # a column of one unit: the unit goes into the heading
        firsts.nth(place).evaluate("(cell, text) => { cell.textContent = text }", f"\u2212{place}.5\u00a0mm")
    with seen.page.expect_download() as table:
        sheet.get_by_role("button", name="Save table").click()
    first, *summed = table.value.path().read_text(encoding="utf-8-sig").splitlines()
    assert first.split(",")[0].endswith(" (mm)")
    assert [row.split(",")[0] for row in summed[:2]] == ["-0.5", "-1.5"]
    for place, text in enumerate(("=1+1", "\u22120.05 mm", "1,204")):
        firsts.nth(place).evaluate("(cell, text) => { cell.textContent = text }", text)
    with seen.page.expect_download() as book:
        sheet.get_by_role("button", name="as a workbook").click()
    assert book.value.suggested_filename == "as-set-outside-limits.xlsx"
    told = pl.read_excel(book.value.path(), has_header=False, read_options={"dtypes": "string"})
    assert len(told) == len(rows)
    assert told.to_series(0).to_list()[1:4] == ["=1+1", "-0.05", "1204"]
    for place in range(firsts.count()):  # 64ths of an inch are marks that can be summed
        firsts.nth(place).evaluate("(cell, text) => { cell.textContent = text }", f"{place}.5/64\u00a0in")
    with seen.page.expect_download() as table:
        sheet.get_by_role("button", name="Save table").click()
    first, *summed = table.value.path().read_text(encoding="utf-8-sig").splitlines()
    assert first.split(",")[0].endswith(" (64ths)")
    assert [row.split(",")[0] for row in summed[:2]] == ["0.5", "1.5"]
    with seen.page.expect_download() as marks:
        sheet.get_by_role("button", name="as a workbook").click()
    told = pl.read_excel(marks.value.path(), has_header=False, read_options={"dtypes": "string"})
    assert told.to_series(0).to_list()[1:3] == ["0.5", "1.5"]
    with zipfile.ZipFile(marks.value.path()) as parts:
        assert "/64\u00a0in" in parts.read("xl/styles.xml").decode()
    with zipfile.ZipFile(book.value.path()) as parts:
        assert parts.testzip() is None
        styles = parts.read("xl/styles.xml").decode()
        cells = parts.read("xl/worksheets/sheet1.xml").decode()
    assert 'formatCode="0.00 &quot; mm&quot;"' in styles or 'formatCode="0.00&quot; mm&quot;"' in styles
    assert 'formatCode="#,##0"' in styles
    assert "<f>" not in cells  # no formula
    with seen.page.expect_download() as picture:
        sheet.get_by_role("button", name="Save picture").click()
    drawn = picture.value.path().read_text(encoding="utf-8")
    assert drawn.startswith("<svg")
    assert "var(" not in drawn  # its colours are its own
    shop = seen.page.locator("#shop-name").inner_text()
    assert ">As set, outside limits</text>" in drawn  # and it says what it is of
    assert f">{shop}, as of" in drawn
    with seen.page.expect_download() as painted:
        sheet.get_by_role("button", name="as PNG").click()
    assert painted.value.path().read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    decision = seen.page.locator(".sheet", has=seen.page.locator("h2", has_text="Decision of the week"))
    assert not decision.get_by_role("button", name="Save").first.is_visible()
    assert seen.wrong == []


def test_a_long_table_is_sorted_leafed_through_and_saved_whole(address, watched):
    seen = watched()
    seen.page.goto(f"{address}/gauges")
    seen.page.wait_for_url("**/capability?open=gauges")
    first = seen.page.locator("#gauges-steps tbody tr:first-child td:first-child")
    coarsest = first.inner_text()
    seen.page.click("#gauges-steps-by-in_sigma")
    seen.page.wait_for_url("**sort=-in_sigma**")
    seen.page.wait_for_selector("#gauges-steps th[aria-sort=descending]")
    assert first.inner_text() != coarsest
    focused = "document.activeElement.id"
    seen.page.wait_for_function(f"{focused} === 'gauges-steps-by-in_sigma'")  # focus stays where it was
    with seen.page.expect_download() as saved:
        seen.page.get_by_role("link", name="Save as CSV, unrounded").click()
    total = int(seen.page.locator(".leaves span").inner_text().split(" of ")[1].replace(",", ""))
    assert len(saved.value.path().read_text(encoding="utf-8").splitlines()) == total + 1
    first.locator("a").click()
    seen.page.wait_for_url("**/drift**")
    seen.charts_drawn(2)
    assert seen.wrong == []


def test_the_key_slash_leads_into_the_header_s_field_and_a_lot_to_its_necks(address, watched):
    seen = watched()
    seen.page.goto(address)
    seen.page.wait_for_selector("#find")
    seen.page.keyboard.press("/")
    seen.page.keyboard.type("th 2149")
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_url("**/necks?**")
    assert "lot=TH-2149" in seen.page.url
    seen.page.get_by_role("link", name="All readings of lot TH-2149").click()
    seen.page.wait_for_url("**/logs/readings?**")
    assert seen.wrong == []


def test_a_file_too_large_to_be_dropped_in_one_comes_in_pieces(tmp_path, served, watched, monkeypatch):
    monkeypatch.setattr("dashboard.pages.logs.page.LARGEST", 10)
    (tmp_path / "shop.toml").write_text(SHOP, encoding="utf-8")
    (tmp_path / "specs.csv").write_text(SPECS, encoding="utf-8")
    seen = watched()
    seen.page.goto(served(make_app(desk.Desk(tmp_path))) + "/logs")
    place = seen.page.locator("[data-pieces]:not([data-pieces='0'])").first
    place.wait_for()
    file = {"name": "bench.csv", "mimeType": "text/csv", "buffer": (HEAD + ROWS).encode()}
    place.locator("input[type=file]").set_input_files(file)
    seen.page.wait_for_selector("text=bench.csv: ")
    seen.page.wait_for_selector("text=rows read =")
    place.evaluate("place => { place.dataset.pieces = 20 }")
    file = {"name": "bench_2027-W01.csv", "mimeType": "text/csv", "buffer": b"serial,date,stage,note\n,,,\n"}
    place.locator("input[type=file]").set_input_files(file)
    seen.page.wait_for_selector("text=truerun load bench_2027-W01.csv")
    assert seen.wrong == []


def test_a_sheet_that_fails_stands_in_its_place_and_the_page_stands(address, watched, monkeypatch):
    monkeypatch.setattr("dashboard.faults.loud", False)
    monkeypatch.setattr("dashboard.pages.rework.rest.savings", lambda *_: 1 / 0)
    seen = watched(390)
    seen.page.goto(f"{address}/rework")
    sheet = seen.page.locator(".sheet", has=seen.page.get_by_role("heading", name="What removing it would save"))
    sheet.locator("text=something went wrong in the program; the details stand in store/program.log").wait_for()
    assert seen.page.locator(".sheet").count() > 2
    assert "division by zero" not in seen.page.inner_text("body")
    assert seen.wrong == []


def test_a_page_that_fails_keeps_its_frame(address, watched, monkeypatch):
    monkeypatch.setattr("dashboard.faults.loud", False)
    monkeypatch.setattr("dashboard.pages.necks.page.layout", lambda **_: 1 / 0)
    seen = watched()
    seen.page.goto(f"{address}/necks")
    seen.page.wait_for_selector("text=Necks cannot be shown now.")
    assert seen.page.locator("text=the details stand in store/program.log").is_visible()
    seen.page.locator("nav").get_by_role("link", name="Logs").click()
    seen.page.wait_for_selector("text=Loaded logs")
    assert seen.wrong == []


def test_a_page_as_paper_begins_with_its_headline_and_first_sheet_and_keeps_its_charts(address, watched):
    seen = watched()
    seen.page.goto(address)
    seen.charts_drawn(4)
    first = seen.page.locator(".chart").first.get_attribute("aria-label")
    assert first
    paper = PdfReader(io.BytesIO(seen.page.pdf(prefer_css_page_size=True, print_background=True)))
    told = [" ".join(page.extract_text().split()) for page in paper.pages]
    assert "What to know" in told[0]
    assert "Is it a normal week?" in " ".join(told)
    assert "Save picture" not in " ".join(told)
    assert "Reviewed by" not in " ".join(told)
    assert float(paper.pages[0].mediabox.width) > float(paper.pages[0].mediabox.height)  # landscape
    assert len(paper.pages) <= 4
    seen.page.emulate_media(media="print")
    widths = seen.page.evaluate(
        "[...document.querySelectorAll('.chart svg')].map(one => one.getBoundingClientRect().height)"
    )
    assert min(widths) > 0
