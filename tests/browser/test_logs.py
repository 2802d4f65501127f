"""Logs in a real browser: from a foreign sheet in an empty folder to a week, and from a dropped log through its
questions to a corrected number.
"""

from pathlib import Path

import pytest

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from ingest.verbs.load import load
from tests.ingest.bench import HEADER, NOW, log, row, shop
from tests.ingest.strangers.all_ten import stranger

FOREIGN = Path(__file__).parents[1] / "ingest" / "foreign"
TECHS = '\n[[tech]]\nkey = "T01"\n'


@pytest.fixture
def opened(served, watched):
    def open_logs(folder, width=1280, path="/logs"):
        seen = watched(width)
        seen.page.goto(served(make_app(Desk(folder))) + path)
        seen.page.wait_for_selector("h1")
        return seen

    return open_logs


def test_a_foreign_sheet_in_an_empty_folder_becomes_a_shop_with_a_week(tmp_path, opened):
    seen = opened(tmp_path / "shop")
    seen.says("No shop here yet.")
    seen.page.set_input_files("#logs-new-drop input", FOREIGN / "line_check_march.xlsx")
    seen.says("225 rows, a row a visit")
    seen.says("What the sheets cannot tell")
    assert not (tmp_path / "shop").exists()
    seen.page.get_by_label("What is the shop called?").fill("Quay Street Guitars")
    zone = seen.page.get_by_label("Which time zone does its clock show")
    zone.fill("Dublin")
    seen.page.get_by_label("No column is read as the model").select_option(label="electric guitar")
    seen.page.click("#logs-new-write")
    seen.says("'Dublin' is no time zone; wanted one such as Europe/Dublin.")
    zone.fill("Europe/Dublin")
    seen.page.click("#logs-new-write")
    seen.says("225 rows read = 225 accepted.")
    seen.says("1 log loaded; no question waits.")
    text = (tmp_path / "shop" / "shop.toml").read_text(encoding="utf-8")
    assert 'name = "Quay Street Guitars"' in text
    assert 'timezone = "Europe/Dublin"' in text
    seen.page.get_by_role("link", name="To the week").click()
    seen.says("As set, outside limits")
    seen.says("Quay Street Guitars")
    assert seen.wrong == []


def test_without_a_shop_every_other_page_shows_the_way_to_logs(tmp_path, opened):
    seen = opened(tmp_path, path="/drift")
    seen.says("No shop here yet.")
    seen.page.get_by_role("link", name="Bring a sheet").click()
    seen.says("Bring your first sheet")
    assert seen.wrong == []


def test_a_new_kind_of_sheet_shows_what_shop_toml_would_need_and_writes_nothing(tmp_path, opened):
    folder = shop(tmp_path)
    before = (folder / "shop.toml").read_bytes()
    seen = opened(folder, width=390)
    seen.page.get_by_text("A new kind of sheet?").click()
    seen.page.set_input_files("#logs-new-drop input", FOREIGN / "setup_book_2026.csv")
    seen.says('files = "setup_book_*.csv"')
    assert seen.page.evaluate("document.documentElement.scrollWidth") == 390
    assert {path.name for path in folder.iterdir()} == {"shop.toml"}
    assert (folder / "shop.toml").read_bytes() == before
    assert seen.wrong == []


def test_a_dropped_log_is_questioned_mended_asked_again_and_corrected(tmp_path, opened):
    folder = shop(tmp_path, TECHS)
    later = {"start": "2026-03-04 09:00", "finish": "2026-03-04 09:20", "stage": "final_inspection"}
    rows = [row(f"A{n}", start=f"2026-03-02 09:{n:02d}", finish=f"2026-03-02 09:{n + 1:02d}") for n in range(30)]
    rows += [
        row("B1", relief="25"),
        row("B2", stage="playtest"),
        row("B3", tech="Zed"),
        row("A1", model="HERON", **later),
    ]
    seen = opened(folder)
    seen.page.set_input_files(
        "#logs-drop input", {"name": "bench.csv", "mimeType": "text/csv", "buffer": "\n".join([HEADER, *rows]).encode()}
    )
    seen.says("34 rows read = 33 accepted + 1 set aside. 1 cell set aside.")
    seen.says("Words nobody has listed")
    seen.says("HERON: bench.csv, line 35")
    sheet = '\n[[log]]\nname = "cards"\nwords = { stage = { "playtest" = "play_test" } }\n'
    (folder / "shop.toml").write_text((folder / "shop.toml").read_text() + sheet)
    seen.page.click("#logs-again")
    seen.says("34 rows read = 34 accepted.")
    seen.says("1 log loaded; 1 question waits.")
    seen.page.get_by_role("link", name="Answer").click()
    seen.says("This question")
    seen.page.fill("#logs-value", "0.25")
    seen.page.fill("#logs-who", "Mara")
    seen.page.fill("#logs-why", "a dot was lost")
    seen.page.click("#logs-correct")
    seen.says("1 log loaded; no question waits.")
    seen.page.goto(seen.page.url.split("/logs")[0] + "/logs/readings?characteristic=relief&serials=B1")
    seen.says("corrected")
    seen.page.goto(seen.page.url.split("/logs")[0] + "/drift?characteristic=relief&model=LARK-25&stage=play_test")
    seen.charts_drawn(2)
    seen.says("corrected by a person")
    rings = 'document.querySelectorAll(\'[id*="drift-stream"] .drawn circle[r="6"]\').length'
    assert seen.page.evaluate(rings) == 1
    assert seen.wrong == []


def test_two_values_lead_to_the_instrument(tmp_path, opened):
    folder = shop(tmp_path)
    later = {"start": "2026-03-04 09:00", "finish": "2026-03-04 09:20", "stage": "final_inspection"}
    load(folder, [log(folder, "a.csv", [row("A1"), row("A1", model="HERON", **later)])], now=NOW)
    seen = opened(folder)
    seen.says("Two values where an instrument has one")
    seen.page.get_by_role("link", name="A1").first.click()
    seen.page.wait_for_url("**/logs/instrument?serial=A1")
    assert seen.wrong == []


def choose(seen, heading, words):
    """Take the column of a heading for something else: its long list is there once somebody comes to it."""
    field = seen.page.get_by_label(f"{heading} is", exact=True)
    field.focus()
    field.select_option(label=words)


def say(seen, question, answer):
    """Answer one question from its list."""
    seen.page.get_by_label(question).select_option(label=answer)


@pytest.mark.long
def test_an_unknown_export_in_codes_is_mapped_in_the_browser_to_a_first_finding_and_taken_back(tmp_path, opened):
    sheets = stranger("coded_export", 60).files
    path = tmp_path / "export_ag.csv"
    path.write_bytes(sheets["export_ag.csv"])
    seen = opened(tmp_path / "shop")
    seen.page.set_input_files("#logs-new-drop input", path)
    seen.says("318 of 318 rows and 0 readings would be read")
    seen.says("'SL_B' is not read (129 cells): nobody has said what it is")
    choose(seen, "SL_B", "Action at fret 12, bass")
    choose(seen, "SL_D", "Action at fret 12, treble")
    choose(seen, "HK", "Neck relief")
    seen.says("Readings: action bass 129, action treble 129, relief 193.")
    seen.page.get_by_label("Which time zone does its clock show").fill("Europe/Vienna")
    say(seen, "what does the result '0' mean", "pass")
    for code, stage in (
        ("10", "Receiving inspection"),
        ("20", "Neck straightening"),
        ("30", "Nut slotting"),
        ("40", "Play test"),
    ):
        say(seen, f"which stage is '{code}'", stage)
    say(seen, "which stage is '50'", "Final inspection")
    for model in ("400210", "400220", "400310"):
        say(seen, f"the model '{model}'", "steel-string guitar")
    seen.says("9 sent back")
    assert not (tmp_path / "shop").exists()
    seen.page.click("#logs-new-write")  # what the answers brought up was asked at once
    seen.says("318 rows read = 318 accepted.")
    seen.page.get_by_role("link", name="To the week").click()
    seen.says("As set, outside limits")
    seen.page.go_back()
    assert seen.wrong == []


def test_the_workbook_of_the_readme_leads_to_a_first_finding_and_can_be_taken_back(tmp_path, opened):
    seen = opened(tmp_path / "shop")
    seen.page.set_input_files("#logs-new-drop input", FOREIGN / "pruefbuch_2026.xlsx")
    seen.says("596 of 596 rows and 1,210 readings would be read")
    seen.says("tab 'Auswertung' is no log and is left")
    seen.says("read along both edges: bow, not relief")
    seen.page.get_by_label("Which time zone does its clock show").fill("Europe/Berlin")
    seen.says("0 rows and 0 cells set aside; 18 sent back")
    seen.page.click("#logs-new-write")
    seen.says("596 rows read = 596 accepted.")
    seen.page.get_by_role("button", name="Take it back and map it anew").click()
    seen.says("The sheets are taken out")
    seen.page.wait_for_function("fetch('/logs').then(() => true)")
    seen.page.get_by_role("link", name="Map them anew").click()
    seen.says("No shop here yet.")
    assert not (tmp_path / "shop" / "shop.toml").exists()
    seen.page.set_input_files("#logs-new-drop input", FOREIGN / "pruefbuch_2026.xlsx")
    seen.says("596 of 596 rows and 1,210 readings would be read")
    seen.says("18 sent back")
    seen.page.click("#logs-new-write")
    seen.says("596 rows read = 596 accepted.")
    seen.page.get_by_role("link", name="To the week").click()
    seen.says("instruments have at least one reading outside")
    assert seen.wrong == []
