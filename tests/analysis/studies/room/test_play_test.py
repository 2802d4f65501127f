"""Play tests of whole instruments as the shop logs them: pooled strings, chokes, short strings, zero from specs."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.studies.room.intonation import intonation_rows
from analysis.studies.room.notes import own_fret, played
from analysis.studies.room.play_test import advice, movable, of_serial, slot_cents
from dashboard.sentences import play_test as words
from tests.analysis.studies.measured import made, visit
from tests.analysis.studies.room.test_intonation import SHOP, gamma

FRETS = (0, 1, 2, 3, 5, 7, 9, 12)
KINDS = SHOP | {
    "characteristic": [
        {"key": "intonation", "quantity": "pitch", "set_at": "bridge", "positions": ["1", "2", "3", "4", "5"]},
        {"key": "nut_height", "set_at": "nut"},
    ],
    "model": [
        {"key": "LARK", "family": "steel-string guitar", "scale": "645 mm", "strings": 4},
        {"key": "WREN", "family": "banjo", "scale": "667 mm", "strings": 5,
         "short_string": {"string": 5, "starts_at": 5}},
    ],
    "stage": [
        {"key": key, "role": role}
        for key, role in (
            ("levelling", "bench"), ("crowning", "bench"), ("nut", "bench"), ("bridge", "bench"),
            ("play", "test"), ("final", "final"),
        )
    ],
}  # fmt: skip
MM = 1731.234 / 645


def notes(rng, *, back=0.0, strings=(1, 2, 3, 4), noise=0.8, odd=None):
    """Cents of an instrument whose bridge wants to go back by `back` mm on every string; 645 mm."""
    out = {}
    for s in strings:
        for n in FRETS:
            out[f"intonation {s} fret {n}"] = back * MM * (gamma(n) - 1) + noise * float(rng.normal())
    return out | {f"intonation {key}": value for key, value in (odd or {}).items()}


def shop_of(*odd, rng, usual=40, specs=None, **given):
    visits = [visit(f"U{k:03d}", k, "play", readings=notes(rng, **given)) for k in range(usual)]
    visits += [visit(f"X{k}", 200 + k, "play", "pass", readings=one) for k, one in enumerate(odd)]
    return made(visits, specs, **KINDS)


def test_strings_of_one_instrument_speak_together_in_millimetres():
    rng = np.random.default_rng(61)
    shop = shop_of(notes(rng, back=2.0), notes(rng), rng=rng)
    (one,) = of_serial(shop, serial="X0")
    assert (one.kind, one.stage) == ("saddle", "bridge")
    assert (one.treble_mm, one.bass_mm) == pytest.approx((2.0, 2.0), abs=0.4)
    assert "back, away from the nut" in words.line(shop.shop, one)
    assert of_serial(shop, serial="X1") == ()
    rows = intonation_rows(shop)
    assert set(rows.filter(rows["serial"] == "X0")["send_to"]) == {"bridge"}


def test_a_choke_goes_to_levelling_and_the_rest_of_the_strings_still_speak():
    rng = np.random.default_rng(62)
    shop = shop_of(notes(rng, back=3.0, odd={"2 fret 7": 92.0}), rng=rng)
    said = {one.kind: one for one in of_serial(shop, serial="X0")}
    assert set(said) == {"choke", "saddle"}
    assert (said["choke"].stage, said["choke"].string, said["choke"].fret, said["choke"].stopped_by) == (
        "levelling",
        "2",
        7,
        8,
    )
    assert "Level fret 8" in words.line(shop.shop, said["choke"])
    rows = intonation_rows(shop)
    first = dict(rows.filter(rows["serial"] == "X0").select("string", "send_to").iter_rows())
    assert first == {"1": "bridge", "2": "levelling", "3": "bridge", "4": "bridge"}  # the earliest along the bench


def test_a_flat_note_far_out_is_no_choke():
    rng = np.random.default_rng(63)
    assert not [one for one in advice(shop_of(notes(rng, odd={"2 fret 7": -92.0}), rng=rng)) if one.kind == "choke"]


def test_frets_that_the_string_does_not_have_are_left_out():
    banjo = made([], **KINDS).shop.by_model["WREN"]
    assert [own_fret(banjo, "5", fret) for fret in (0, 1, 5, 6, 12, 24, 25)] == [0, None, None, 1, 7, 19, None]
    assert [own_fret(banjo, "4", fret) for fret in (0, 1, 24, 25)] == [0, 1, 24, None]
    rng = np.random.default_rng(64)
    visits = [visit("A", 0, "play", readings=notes(rng, strings=(5,)), model="WREN")]
    assert played(made(visits, **KINDS))["own"].to_list() == [0, 2, 4, 7]


def test_what_specs_ask_of_a_fret_is_the_zero_though_the_whole_shop_stands_off():
    # Every bridge of this shop stands 2 mm too far forward: against themselves nobody is, against the twelfth all are.
    rng = np.random.default_rng(65)
    visits = [visit(f"U{k:03d}", k, "play", readings=notes(rng, back=2.0)) for k in range(40)]
    assert sum(one.kind == "saddle" for one in advice(made(visits, **KINDS))) <= 2
    asked = [{"characteristic": "intonation", "target": 0.0, "lower": -5.0, "upper": 5.0}]
    said = [one for one in advice(made(visits, asked, **KINDS)) if one.kind == "saddle"]
    assert len(said) >= 36
    assert np.median([one.treble_mm for one in said]) == pytest.approx(2.0, abs=0.3)


def test_a_new_model_is_judged_by_specs_of_a_low_and_a_high_fret_before_thirty_passed():
    rng = np.random.default_rng(66)
    visits = [visit("A", 0, "play", readings=notes(rng, back=3.0))]
    assert advice(made(visits, **KINDS)) == ()
    asked = [
        {"characteristic": "intonation", "position": f"{s} fret {n}", "target": 0.0, "lower": -5.0, "upper": 8.0}
        for s in range(1, 5)
        for n in (1, 12)
    ]
    (one,) = advice(made(visits, asked, **KINDS))
    assert (one.kind, one.treble_mm) == ("saddle", pytest.approx(3.0, abs=0.6))


def test_a_string_out_of_tune_is_told_to_be_tuned():
    rng = np.random.default_rng(67)
    flat = {f"3 fret {n}": -9.0 + 0.8 * float(rng.normal()) for n in FRETS}
    (one,) = of_serial(shop_of(notes(rng, odd=flat), rng=rng), serial="X0")
    assert (one.kind, one.string, one.stage) == ("tuning", "3", "")
    assert one.cents == pytest.approx(-9.0, abs=1.5)


def test_what_is_said_names_feet_of_a_loose_bridge_and_line_of_a_saddle():
    rng = np.random.default_rng(68)
    shop = shop_of(notes(rng, back=2.5), rng=rng)
    (one,) = of_serial(shop, serial="X0")
    banjo = replace(one, kind="bridge", treble_mm=-0.4, bass_mm=2.6)
    assert words.to_do(shop.shop, banjo).replace("\u202f", " ").replace("\xa0", " ") == (
        "Move the bass foot 2.6 mm back, away from the nut, the treble foot 0.4 mm forward, towards the nut."
    )
    assert words.to_do(shop.shop, replace(banjo, treble_mm=2.5, bass_mm=2.6)).startswith("Move the bridge, both feet")
    nut = replace(one, kind="nut", slots=(("1", 0.42), ("2", 0.02)), treble_mm=None, bass_mm=None)
    told = words.to_do(shop.shop, nut).replace("\u202f", " ").replace("\xa0", " ")
    assert told == "Gauge over fret 1, then deepen the slots: string 1 about 0.4 mm."


def test_bridges_and_slots_by_family():
    models = made([], **KINDS).shop.by_model
    assert (movable(models["WREN"]), movable(models["LARK"]), movable(None)) == (True, False, False)
    assert slot_cents(models["WREN"], "4") == slot_cents(models["WREN"], "1") / 2


def test_without_play_tests_nothing_is_said():
    assert advice(made([visit("A", 0, "play")], **KINDS)) == ()
