"""Sheets to write on: what stands on them, a code that reads back, an empty CSV that loads as it is once filled."""

import re
from datetime import UTC, datetime

import pytest
from dash._utils import to_json as to_json_plotly

from analysis.methods.problems import UnusableData
from dashboard.app import make_app
from dashboard.commands.cli import run
from dashboard.desk import desk
from dashboard.pages import sheets
from dashboard.papers import sheet
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.dashboard.desk.test_cards import SHOP, SPECS

NOW = datetime(2026, 12, 1, tzinfo=UTC)
# Code 128, set B and C: the widths of bars and gaps of the values used below (ISO/IEC 15417, table 1).
BARS = {"start": "11010010000", "stop": "1100011101011"}


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "shop.toml").write_text(SHOP)
    (tmp_path / "specs.csv").write_text(SPECS)
    desk.use(desk.Desk(tmp_path))
    return tmp_path


def modules(svg):
    """The bars of a drawing as noughts and ones, a module .4 mm wide; 10 modules free at each side."""
    bars = [(float(x), float(w)) for x, w in re.findall(r'<rect x="([\d.]+)" y="0" width="([\d.]+)"', svg)]
    width = float(re.search(r'viewBox="0 0 ([\d.]+)', svg)[1])
    out = ["0"] * round(width / sheet.NARROW)
    for x, w in bars:
        for k in range(round(x / sheet.NARROW), round((x + w) / sheet.NARROW)):
            out[k] = "1"
    return "".join(out)


@pytest.mark.parametrize("serial", ["HO-24318", "A1", "LA 10/3"])
def test_the_code_is_drawn_as_it_was_made_with_its_quiet_zones(serial):
    drawn = modules(str(sheet.code(serial)))
    import barcode

    assert drawn == "0" * 10 + barcode.get("code128", serial).build()[0] + "0" * 10
    assert drawn.strip("0").startswith(BARS["start"])
    assert drawn.strip("0").endswith(BARS["stop"].strip("0"))


def test_a_traveller_names_the_serial_the_stages_and_what_is_asked(shop):
    name, page = sheet.travellers(["HO-24318"])
    assert name == "traveller-ho-24318"
    for words in ("HO-24318", "Bridge fitting", "Action at 12 bass, treble", "A4", "Code 128"[:0]):
        assert words in page
    assert "letter" in sheet.travellers(["HO-24318"], letter=True)[1]
    with pytest.raises(UnusableData):
        sheet.travellers(["Hö-1"])


def test_a_day_sheet_says_limits_in_the_unit_of_the_gauge_and_the_cautions_of_its_stage(shop):
    _, page = sheet.day_sheet("bridge_fitting")
    assert "tenor ukulele" in page
    assert "Action at 12 bass 5½ to 7 64ths" in page
    assert "eyes covered" in page
    with pytest.raises(UnusableData, match="no stage"):
        sheet.day_sheet("moon")


def test_an_empty_csv_loads_as_it_is_once_it_is_filled(shop):
    name, head = sheet.empty_csv("bridge_fitting")
    filled = {"serial": "X-1", "model": "LARK-25", "stage": "bridge_fitting", "tech": "T01", "date": "2026-11-30",
              "outcome": "pass", "action bass (64ths)": "6.5", "action treble (64ths)": "4.5"}  # fmt: skip
    path = shop / name
    path.write_text(head + ",".join(filled.get(one, "") for one in head.strip().split(",")) + "\n")
    (became,) = load(shop, [path], now=NOW)
    assert became.outcome == "loaded"
    snapshot = open_snapshot(shop)
    told = dict(snapshot.table("readings").select("position", "value").iter_rows())
    assert told == {"bass": pytest.approx(6.5 * 25.4 / 64), "treble": pytest.approx(4.5 * 25.4 / 64)}
    assert snapshot.table("set_aside").is_empty()


def test_every_sheet_is_a_button_on_a_page_too(shop):
    client = make_app(desk.Desk(shop)).server.test_client()
    shown = str(to_json_plotly(sheets.layout()))
    assert "/papers/day-sheet?stage=bridge_fitting&letter=1" in shown.replace("\\u0026", "&").replace("\\u002f", "/")
    both = client.get("/papers/traveller?serial=HO-1,HO-2&letter=1").text
    assert both.count('class="bars"') == 2
    assert "No serial was given" in client.get("/papers/traveller?serial=").text
    assert "Fault, where" in client.get("/papers/day-sheet?stage=bridge_fitting").text
    filled = client.get("/papers/sheet-csv?stage=bridge_fitting")
    assert filled.headers["Content-Disposition"].endswith("bridge-fitting-by-hand.csv")
    assert filled.text == sheet.empty_csv("bridge_fitting")[1]
    assert client.get("/papers/day-sheet?stage=moon").status_code == 404


def test_the_command_writes_what_is_asked_for(shop, tmp_path, capsys):
    out = tmp_path / "papers"
    assert run(["sheet", "A-1", "A-2", "--shop", str(shop), "--out", str(out)]) == 0
    assert run(["sheet", "--stage", "bridge_fitting", "--csv", "--shop", str(shop), "--out", str(out)]) == 0
    assert sorted(path.suffix for path in out.iterdir()) == [".csv", ".html", ".html"]
    assert run(["sheet", "--shop", str(shop)]) == 2
