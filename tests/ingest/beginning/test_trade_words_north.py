"""Headings and benches in Swedish, Danish and Norwegian, and the sides of an instrument in Italian and Spanish."""

import pytest

from ingest.beginning.guesses import guess_heading, guess_outcome
from ingest.beginning.new import propose
from ingest.beginning.stage_words import stage_of_word
from tests.ingest.small_shop import csv


@pytest.mark.parametrize(
    ("heading", "target"),
    [
        ("Löpnummer", "serial"),
        ("Modell", "model"),
        ("Dag", "date"),
        ("Utført av", "tech"),
        ("Resultat", "outcome"),
        ("Fel", "fault"),
        ("Leverandør", "supplier"),
        ("Stränghöjd bas (mm)", "action bass (mm)"),
        ("Strengehøjde diskant", "action treble"),
        ("Sadel diskant", "nut treble"),
        ("Halskrökning", "relief"),
        ("Capotasto acuto", "nut treble"),
        ("Capotasto grave", "nut bass"),
        ("user", "tech"),
    ],
)
def test_a_heading_of_the_north_is_known_by_its_words(heading, target):
    assert guess_heading(heading).target() == target


@pytest.mark.parametrize(
    ("word", "stage"),
    [
        ("Bandslipning", "levelling"),
        ("Sadel", "nut_slotting"),
        ("Stall", "bridge_fitting"),
        ("Slutkontroll", "final_inspection"),
        ("Pakning", "packing"),
    ],
)
def test_a_bench_of_the_north_is_known_by_its_word(word, stage):
    assert stage_of_word(word) == stage


def test_who_did_what_stands_under_its_bench():
    head = "Nummer;Modell;Dag;Sadel av;Sadel bas;Sadel diskant;Stall av;Stränghöjd bas;Kontroll av;Resultat"
    hands = ("Åsa", "Bo", "Eva")
    rows = [
        f"{881 + k};Alm;2026-07-{13 + k % 5};{hands[k % 3]};0,5{k % 9};0,4{k % 9};{hands[k // 2 % 3]};2,4{k % 9};"
        f"{hands[k // 3 % 3]};godkänd"
        for k in range(60)
    ]
    made = propose([("bänken v29.csv", csv(head, *rows))])
    told = {column.heading: (column.guess.field, column.guess.stage) for column in made.surveys[0].columns}
    assert told["Sadel av"] == ("tech", "nut_slotting")
    assert told["Stall av"] == ("tech", "bridge_fitting")
    assert told["Kontroll av"] == ("tech", "final_inspection")
    assert guess_outcome("godkänd") == "pass"
