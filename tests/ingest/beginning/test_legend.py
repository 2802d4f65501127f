"""A tab that explains the words of the others."""

import io

import pytest
import xlsxwriter

from ingest.beginning.legend import legend_of, outcome_in
from ingest.beginning.new import propose


def test_a_word_and_its_meaning_are_two_cells_of_a_row():
    rows = [["Kürzel", "Name"], ["", "MB", "Mia B."], ["n.i.O.", "", "weg"], ["a", "b", "c"], ["Summe"], []]
    assert legend_of(rows) == {"kürzel": "Name", "mb": "Mia B.", "n.i.o.": "weg"}


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


def _book(*legend):
    """A workbook of visits, and a tab that explains their results."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out) as book:
        visits, words = book.add_worksheet("Mai"), book.add_worksheet("Legende")
        rows = [["Datum", "Serie", "Station", "Ergebnis", "Relief mm"]]
        rows += [
            [f"2026-05-{1 + n % 28:02d}", f"S{n}", "Sattel", "n.i.O." if n % 5 == 0 else "i.O.", 0.2] for n in range(30)
        ]
        for place, row in enumerate(rows):
            visits.write_row(place, 0, row)
        for place, row in enumerate(legend):
            words.write_row(place, 0, row)
    return propose([("a.xlsx", out.getvalue())])


def test_the_books_own_word_is_taken_and_what_it_leaves_open_is_asked():
    said = _book(["i.O.", "in Ordnung"], ["n.i.O.", "nicht in Ordnung, ausgesondert"])
    assert said.logs[0].words["outcome"] == {"i.O.": "pass", "n.i.O.": "reject"}
    assert {"outcome i.O.", "outcome n.i.O."} <= said.logs[0].said
    open_ = _book(["n.i.O.", "kommt ins Regal"])
    assert open_.logs[0].words["outcome"] == {"i.O.": "pass", "n.i.O.": "send back"}
    [asked] = [ask for ask in open_.asks if ask.key == "outcome n.i.O."]
    assert asked.default == "send back"
    assert "kommt ins Regal" in asked.text
