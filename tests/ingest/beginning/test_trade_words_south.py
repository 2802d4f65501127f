"""Headings, benches and results in Spanish, Italian and Portuguese, and what Dutch sheets have besides."""

import pytest

from ingest.beginning.guesses import guess_heading, guess_outcome
from ingest.beginning.new import propose
from ingest.beginning.stage_words import stage_of_word
from tests.ingest.small_shop import csv


@pytest.mark.parametrize(
    ("word", "stage"),
    [
        ("recepción", "receiving"),
        ("enderezado", "neck_straightening"),
        ("Trekstaaf", "neck_straightening"),
        ("vlakken", "levelling"),
        ("cejuela", "nut_slotting"),
        ("Capotasto", "nut_slotting"),
        ("puente", "bridge_fitting"),
        ("ponticello", "bridge_fitting"),
        ("proefspelen", "play_test"),
        ("reposo", "rest"),
        ("collaudo", "final_inspection"),
        ("embalagem", "packing"),
    ],
)
def test_a_bench_of_the_south_is_known_by_its_word(word, stage):
    assert stage_of_word(word) == stage


@pytest.mark.parametrize(
    ("word", "outcome"),
    [("bien", "pass"), ("goed", "pass"), ("Arreglado", "fixed"), ("devuelto", "send back"), ("scartato", "reject")],
)
def test_a_result_of_the_south_is_known(word, outcome):
    assert guess_outcome(word) == outcome


@pytest.mark.parametrize(
    ("heading", "target"),
    [
        ("Relieve", "relief"),
        ("Curva antes", "neck_bow found"),
        ("Curva después", "neck_bow left"),
        ("Cejuela grave", "nut bass"),
        ("Vuelve a", "sent_back_to"),
        ("Terug naar", "sent_back_to"),
        ("Gebrek", "fault"),
    ],
)
def test_a_heading_of_the_south_is_known_by_its_words(heading, target):
    assert guess_heading(heading).target() == target


def test_a_spanish_book_asks_for_no_bench_and_no_result():
    benches = ("recepción", "enderezado", "reposo", "cejuela", "puente", "final")
    rows = [
        f"GT-{k:05};Mar;{bench};Ana;{10 + k % 5:02}/08/2026 {7 + at:02}:{k % 60:02};"
        f"{'0,1' + str(k % 9) if at == 0 else ''};{'0,1' + str(k % 7) if at == 5 else ''};"
        f"{'0,4' + str(k % 9) if at == 3 else ''};{'devuelto' if at == 5 and k % 9 == 0 else 'bien'}"
        for k in range(60)
        for at, bench in enumerate(benches)
    ]
    head = "N° serie;Modelo;Puesto;Operario;Inicio;Curva;Relieve;Cejuela grave;Resultado"
    made = propose([("taller.csv", csv(head, *rows))])
    asked = [one.text for one in made.asks]
    assert not [text for text in asked if any(f"'{word}'" in text for word in (*benches, "bien", "devuelto"))]
    for key in ("receiving", "neck_straightening", "rest", "nut_slotting", "bridge_fitting", "final_inspection"):
        assert f'key = "{key}"' in made.shop_toml, key
