"""The name of a kind of sheet: numbers and months left open, and never everything."""

import pytest

from ingest.beginning.file_names import fits, pattern_of


@pytest.mark.parametrize(
    ("name", "pattern"),
    [
        ("final_Mar26.csv", "final_*.csv"),
        ("final 2026-04-13.csv", "final *.csv"),
        ("March nut bench.xlsx", "* nut bench.xlsx"),
        ("Prüfung März 2026.csv", "Prüfung *.csv"),
        ("MES_Frueh_KW06.csv", "MES_Frueh_KW*.csv"),
        ("bench_2026-03-02 (1).csv", "bench_* (*).csv"),
        ("Marc.csv", "Marc.csv"),  # begins like a month and is none
        ("maybe.csv", "maybe.csv"),
        ("2026.csv", "2026.csv"),  # no word left: every file would fit
        ("March.csv", "March.csv"),
        ("log7", "log*"),
    ],
)
def test_numbers_and_months_are_left_open_where_a_word_stays(name, pattern):
    assert pattern_of(name) == pattern


def test_a_pattern_fits_only_where_it_fits_every_name_whatever_its_capitals():
    assert fits("final_*.csv", ("Final_1.csv", "final_2_corrected.csv"))
    assert not fits("final_*.csv", ("final_1.csv", "nut_1.csv"))
