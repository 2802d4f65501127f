"""A day that is written once for all rows of that day, and numbers and days as other languages write them."""

import tomllib
from datetime import datetime

import polars as pl
import pytest

from ingest.reading.as_above import as_above
from ingest.reading.reader import read_log
from ingest.reading.tabular import Table
from ingest.shopfiles.shop import checked_shop
from ingest.terms.clock import read_stamp
from tests.ingest.strangers.sheets import workbook_bytes

SHOP = """
[shop]
name = "Notes"
timezone = "Europe/Stockholm"
[[stage]]
key = "setup"
role = "final"
[[model]]
key = "A"
family = "not said"
[[characteristic]]
key = "relief"
quantity = "length"
[[log]]
stage = "setup"
decimal = ","
SAME
[log.headings]
Dag = "date"
Nr = "serial"
Relief = "relief (mm)"
"""


def _read(text: str, same: str = 'same_as_above = ["Dag"]'):
    shop = checked_shop(tomllib.loads(SHOP.replace("SAME", same)))
    return read_log(text.encode("cp1252"), "notes.txt", shop)


NOTES = "Dag;Nr;Relief\n2 mars 2026;801;0,15\n;802;0,20\n;803;0,10\nSumma mars;3 st;\nMAJ 2026;;\n4 maj 2026;804;0,15\n"


def test_rows_without_a_day_are_of_the_day_above_them():
    sheet = _read(NOTES)
    days = sheet.visits.sort("line")["started_at"].dt.date().to_list()
    assert sheet.rows_set_aside == 0
    assert sheet.readings.height == 4
    assert sheet.passed_over == 2  # the sum and the month
    assert len(set(days)) == 2


def test_a_row_without_a_day_is_set_aside_where_nobody_said_that_it_goes_on():
    sheet = _read(NOTES, "")
    assert sheet.rows_set_aside == 2


def test_a_day_goes_on_over_pieces_of_a_file():
    held: dict[str, str] = {}
    first = Table(("Dag", "Nr"), 1, pl.DataFrame({"line": [2, 3], "c0": ["2 mars 2026", '"'], "c1": ["1", "2"]}))
    second = Table(("Dag", "Nr"), 1, pl.DataFrame({"line": [4], "c0": [""], "c1": ["3"]}))
    assert as_above(first, ["Dag"], held).rows["c0"].to_list() == ["2 mars 2026"] * 2
    assert as_above(second, ["Dag"], held).rows["c0"].to_list() == ["2 mars 2026"]
    assert as_above(second, ["Nr"], {}).rows["c0"].to_list() == [""]


def test_a_day_does_not_go_on_from_one_tab_to_the_next():
    tab = [["Dag", "Nr", "Relief"], ["2026-03-02", "801", 0.15], [None, "802", 0.2]]
    other = [["Dag", "Nr", "Relief"], [None, "803", 0.15], ["2026-03-05", "804", 0.2]]
    shop = checked_shop(tomllib.loads(SHOP.replace("SAME", 'same_as_above = ["Dag"]')))
    sheet = read_log(workbook_bytes({"Mars": tab, "April": other}), "notes.xlsx", shop)
    assert sheet.visits["serial"].to_list() == ["801", "802", "804"]
    assert sheet.set_aside["line"].to_list() == [5]


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("12 maj 2026", datetime(2026, 5, 12)),
        ("3 juillet 2026", datetime(2026, 7, 3)),
        ("3 juin 2026", datetime(2026, 6, 3)),
        ("1er août 2025", datetime(2025, 8, 1)),
        ("7 de março de 2026", datetime(2026, 3, 7)),
        ("14 paź 2026", datetime(2026, 10, 14)),
        ("3 mrt 2026", datetime(2026, 3, 3)),
    ],
)
def test_months_by_name_are_read_in_other_languages_too(text, day):
    read = read_stamp(text, "dmy")
    assert read is not None
    assert read[0] == day


def test_six_figures_are_a_time_of_day_and_no_more_than_a_day_has():
    read = read_stamp("081455", "ymd")
    assert read is not None
    assert read[0] is not None
    assert (read[0].hour, read[0].minute, read[0].second, read[2]) == (8, 14, 55, False)
    assert read_stamp("261455", "ymd") is None
