"""The sheets that cards are written to: their names, their headings, and which file is one."""

from datetime import date

import pytest

from ingest.reading.card_sheet import FIELDS, header, heading, is_card, name_of
from tests.ingest.small_shop import small_shop

DAY = date(2026, 3, 2)


@pytest.mark.parametrize(
    ("bench", "sheet", "name"),
    [
        ("Play test", 1, "card_2026-03-02_play-test.csv"),
        ("Play test", 2, "card_2026-03-02_play-test_2.csv"),
        ("  Nut / Bund 3 ", 1, "card_2026-03-02_nut-bund-3.csv"),
        ("Prüfung", 3, "card_2026-03-02_pr-fung_3.csv"),
        ("...", 1, "card_2026-03-02_bench.csv"),
    ],
)
def test_a_sheet_is_named_by_its_day_and_bench_and_known_by_it(bench, sheet, name):
    assert name_of(DAY, bench, sheet) == name
    assert is_card(name)
    assert is_card(f"C:\\logs\\{name}")
    assert is_card(f"/logs/{name}")


def test_the_first_sheet_of_a_day_has_no_number():
    assert name_of(DAY, "Play test") == name_of(DAY, "Play test", 1)


OTHERS = (
    "card_2026-3-2_x.csv",
    "cards_2026-03-02_x.csv",
    "card_2026-03-02_.csv",
    "card_2026-03-02_x.txt",
    "my card_2026-03-02_x.csv",
)


@pytest.mark.parametrize("name", OTHERS)
def test_other_files_are_no_cards(name):
    assert not is_card(name)


def test_its_headings_are_the_fields_and_every_measurement_found_and_left():
    columns = header(small_shop(), [("relief", ""), ("fret_wear", "2")])
    assert columns[: len(FIELDS) + 1] == [*FIELDS, "card"]
    assert columns[len(FIELDS) + 1 :][:4] == ["relief", "relief left", "action bass", "action bass left"]
    assert columns[-2:] == ["fret_wear 2", "fret_wear 2 left"]
    assert len(columns) == len(set(columns)) == len(FIELDS) + 1 + 2 * (1 + 2 + 4 + 4 + 2 + 1)


def test_a_heading_says_what_where_and_when():
    assert heading("action", "bass") == "action bass"
    assert heading("relief", "") == "relief"
    assert heading("action", "3 fret 7", "left") == "action 3 fret 7 left"
