"""What to mind stands at the place: each bench of the demo's shop with its own cautions, on Card and on its sheet."""

import html

import pytest

from dashboard.app import make_app
from dashboard.desk.desk import Desk, use
from dashboard.papers import sheet
from dashboard.sentences import cautions as said
from dashboard.sentences.cautions import (
    BUFFING,
    DUST,
    EDGES,
    HEARING,
    HEAT,
    HOOKS,
    ROD,
    SAWS,
    SOLVENTS,
    STEEL_WOOL,
    STRAIN,
    STRINGS,
)
from demo_data.generator import TEMPLATES, files
from ingest.shopfiles.shop import Shop

OF = {  # common practice, no published source but where a text names one
    "head_tension": {HOOKS},
    "neck_straightening": {ROD, HEAT},
    "levelling": {EDGES, DUST},
    "crowning": {EDGES, DUST, STEEL_WOOL},
    "polishing": {EDGES, STEEL_WOOL, SOLVENTS, BUFFING, DUST},
    "conditioning": {STEEL_WOOL, SOLVENTS},
    "stringing": {STRINGS},
    "head_retension": {HOOKS},
    "neck_angle": {ROD, STRINGS, HEAT},
    "nut_slotting": {STRINGS, EDGES, DUST, SOLVENTS, SAWS},
    "bridge_fitting": {STRINGS, EDGES, DUST},
    "intonation": {STRINGS, HEARING},
    "tailpiece": {STRINGS},
    "play_test": {HEARING},
    "final_inspection": {HEARING},
    "repair": {ROD, EDGES, DUST, SOLVENTS, HEAT},
}


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cautions")
    for name in TEMPLATES:
        (folder / name).write_bytes(files("demo_data").joinpath(name).read_bytes())
    return folder


@pytest.mark.parametrize("stage", OF)
def test_each_bench_has_its_own_cautions_on_card_and_on_its_sheet(shop, stage):
    desk = Desk(shop)
    use(desk)
    with make_app(desk).server.test_client() as client:
        asked = {"stage": stage, "serial": "HO-1", "model": "HERON-OM", "tech": ""}
        card = client.post("/card/open", json=asked, base_url="http://127.0.0.1").get_json()["cautions"]
    page = html.unescape(sheet.day_sheet(stage)[1])
    for text in OF[stage] | {STRINGS, STRAIN}:
        assert text in card
        assert text in page
    assert card[0] in OF[stage]  # the bench's own is the one that is read without opening the rest


def test_the_texts_name_what_the_trade_warns_of():
    every = " ".join(text for name, text in vars(said).items() if name.isupper() and isinstance(text, str)).lower()
    for word in ("slacken", "eye", "steel wool", "magnets", "burn", "hearing", "dust", "rags", "solvents", "whip"):
        assert word in every


ABROAD = {  # stages in other words, and that bench's own caution; st40 tells by what is set there, z9 by its role
    ("abrichten", "Bünde abrichten"): DUST,
    ("s30", "Sattel kerben"): SAWS,
    ("s31", "Steg einpassen"): EDGES,
    ("s32", "Besaiten"): STRINGS,
    ("polieren", ""): BUFFING,
    ("st40", "Vierte Station"): ROD,
    ("z9", "Abnahme"): HEARING,
}


def test_a_bench_that_is_called_in_another_language_has_its_own_cautions():
    stages = [{"key": key, "name": name, "minutes": 4} for key, name in ABROAD]
    stages[-1]["role"] = "final"
    shop = Shop.model_validate(
        {
            "shop": {"name": "Werkstatt", "timezone": "Europe/Berlin"},
            "stage": stages,
            "characteristic": [{"key": "relief", "set_at": "st40"}],
            "model": [{"key": "A", "family": "mandolin", "strings": 8, "scale": "352 mm"}],
        }
    )
    for (key, _), own in ABROAD.items():
        assert own in said.at_bench(key, shop), key
    assert said.at_bench("st40", shop)[0] == ROD
    assert HOOKS not in said.cautions(shop.stages, shop)
