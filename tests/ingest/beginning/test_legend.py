"""A tab that explains the words of the others."""

import pytest

from ingest.beginning.legend import legend_of, outcome_in
from ingest.beginning.raw_tables import RawTable


def test_a_word_and_its_meaning_are_two_cells_of_a_row():
    names = RawTable("Legende", ("Kürzel", "Name", ""), (("MB", "", "n.i.O."), ("Mia B.", "", ""), ("", "x", "weg")))
    assert legend_of([names]) == {"kürzel": "Name", "mb": "Mia B.", "n.i.o.": "weg"}
    assert legend_of([]) == {}


@pytest.mark.parametrize(
    ("meaning", "outcome"),
    [
        ("nicht in Ordnung, ausgesondert", "reject"),
        ("in Ordnung", "pass"),
        ("not ok - scrapped", "reject"),
        ("nicht in Ordnung", ""),  # says no more than the word
        ("ausgesondert / zurück", ""),
        ("die Decke ist matt", ""),
    ],
)
def test_a_meaning_is_an_outcome_where_it_names_one_alone(meaning, outcome):
    assert outcome_in(meaning) == outcome
