"""Play tests of whole instruments: what is put wrong is found again, against a baseline of accepted ones."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.room.intonation import INTONATION, intonation_rows, strings
from analysis.studies.room.notes import played
from tests.analysis.studies.measured import made, visit

FRETS = (0, 1, 2, 3, 5, 7, 9, 12)
SHOP = {
    "characteristic": [
        {"key": "intonation", "quantity": "pitch", "set_at": "bridge", "positions": ["1", "2"]},
        {"key": "nut_height", "set_at": "nut"},
    ],
    "model": [
        {"key": "LARK", "family": "tenor ukulele", "scale": "432 mm"},
        {"key": "WREN", "family": "banjo", "scale": "667 mm", "short_string": {"string": 5, "starts_at": 5}},
    ],
    "stage": [
        {"key": key, "role": role}
        for key, role in (
            ("nut", "bench"),
            ("crowning", "bench"),
            ("bridge", "bench"),
            ("play", "test"),
            ("final", "final"),
        )
    ],
}
USUAL = dict(
    zip(FRETS, (0.0, 6.0, 4.0, 3.0, 2.5, 2.0, 1.5, 1.0), strict=True)
)  # what every instrument shares by design


def gamma(fret):
    return 2 ** (fret / 12)


def notes(rng, *, tuning=0.0, bridge=0.0, nut=0.0, hook=0.0, fret=None, cents=0.0, string="1", noise=0.3, frets=FRETS):
    """Cents of each note, written from the model of trade practice: e = t + p + q (g - 1) + h (g1 - 1) / (g - 1)."""
    out = {}
    for n in frets:
        fretted = nut + bridge * (gamma(n) - 1) + hook * (gamma(1) - 1) / (gamma(n) - 1) if n else 0.0
        out[f"intonation {string} fret {n}"] = (
            USUAL[n] + tuning + fretted + (cents if n == fret else 0.0) + noise * float(rng.normal())
        )
    return out


def shop_with(*odd, rng, usual=40, string="1", outcome="pass", **more):
    visits = [visit(f"U{k:03d}", k, "play", readings=notes(rng, string=string), **more) for k in range(usual)]
    visits += [visit(f"X{k}", 100 + k, "play", outcome, readings=reading, **more) for k, reading in enumerate(odd)]
    return made(visits, **SHOP)


def row(snapshot, serial="X0"):
    return intonation_rows(snapshot).filter(pl.col("serial") == serial).row(0, named=True)


def test_bridge_nut_and_tuning_are_found_again():
    rng = np.random.default_rng(41)
    found = row(shop_with(notes(rng, tuning=3.0, bridge=12.0, nut=2.0, noise=0.0), rng=rng))
    assert (found["tuning"], found["bridge"], found["nut"], found["hook"]) == pytest.approx(
        (3.0, 12.0, 2.0, 0.0), abs=0.5
    )
    assert found["bridge_mm"] == pytest.approx(12.0 * 432 / 1731.234, rel=0.06)
    assert found["send_to"] == "bridge"
    assert found["string"] == "1"


def test_a_high_nut_goes_to_the_nut_and_a_lone_fret_to_crowning():
    rng = np.random.default_rng(42)
    snapshot = shop_with(notes(rng, hook=15.0), notes(rng, fret=5, cents=9.0), notes(rng), rng=rng)
    assert row(snapshot)["hook"] == pytest.approx(15.0, abs=2.5)
    assert row(snapshot)["send_to"] == "nut"
    lone = row(snapshot, "X1")
    assert (lone["fret"], lone["send_to"]) == (5, "crowning")
    assert lone["fret_cents"] == pytest.approx(9.0, abs=1.5)
    assert abs(lone["bridge"]) < 2.0
    plain = row(snapshot, "X2")
    assert plain["send_to"] == ""


def test_out_by_less_than_five_cents_sends_nobody_back():
    rng = np.random.default_rng(43)
    assert row(shop_with(notes(rng, bridge=4.0, noise=0.0), rng=rng))["send_to"] == ""


def test_without_thirty_accepted_instruments_of_the_same_string_set_nothing_is_told():
    rng = np.random.default_rng(44)
    few = row(shop_with(notes(rng), rng=rng, usual=29, outcome="send back"))
    assert [few[name] for name in ("tuning", "bridge", "nut", "hook", "fret", "fret_cents", "bridge_mm")] == [None] * 7
    assert few["send_to"] == ""
    assert row(shop_with(notes(rng), rng=rng, usual=29))["tuning"] is not None  # it passed itself: thirty with it
    visits = [visit(f"U{k:03d}", k, "play", readings=notes(rng), string_set="light") for k in range(40)]
    visits.append(visit("X0", 99, "play", readings=notes(rng), string_set="heavy"))
    assert row(made(visits, **SHOP))["tuning"] is None


def test_without_the_open_string_or_with_two_frets_nothing_is_told():
    rng = np.random.default_rng(45)
    for frets in (FRETS[1:], (0, 5, 12)):
        assert row(shop_with(notes(rng, frets=frets), rng=rng))["tuning"] is None
    four = row(shop_with(notes(rng, frets=(0, 1, 5, 12)), rng=rng))
    assert four["tuning"] is not None  # four notes for four terms: no fret can be judged beside them
    assert four["fret"] is None


def test_a_choked_note_is_left_out_and_the_rest_still_speak():
    rng = np.random.default_rng(46)
    choked = notes(rng, bridge=12.0) | {"intonation 1 fret 7": 90.0}
    snapshot = shop_with(choked, rng=rng)
    told = strings(snapshot).filter(pl.col("serial") == "X0").row(0, named=True)
    assert told["notes"] == len(FRETS) - 1
    assert told["bridge"] == pytest.approx(12.0, abs=2.5)


def test_only_first_passes_found_at_the_play_test_count_and_columns_are_as_agreed():
    rng = np.random.default_rng(47)
    first, second = notes(rng, bridge=12.0), notes(rng)
    visits = [visit(f"U{k:03d}", k, "play", readings=notes(rng)) for k in range(40)]
    visits += [
        visit("X0", 50, "play", "send back", readings=first, left=second),
        visit("X0", 52, "play", readings=second),
        visit("Y0", 60, "final", readings=first),
        visit("Z0", 61, "play", readings={"intonation 1": 3.0}),
    ]
    snapshot = made(visits, **SHOP)
    assert intonation_rows(snapshot).schema == INTONATION
    assert set(intonation_rows(snapshot)["serial"]) == {f"U{k:03d}" for k in range(40)} | {"X0"}
    assert row(snapshot)["bridge"] == pytest.approx(12.0, abs=2.0)
    assert played(snapshot).filter(pl.col("serial") == "X0").height == len(FRETS)


def test_a_short_string_has_its_own_length_and_an_unknown_scale_gives_no_millimetres():
    rng = np.random.default_rng(48)
    short = row(shop_with(notes(rng, bridge=10.0, string="5"), rng=rng, string="5", model="WREN"))
    assert short["bridge_mm"] == pytest.approx(short["bridge"] * 667 * 2 ** (-5 / 12) / 1731.234)
    unknown = row(shop_with(notes(rng, bridge=10.0), rng=rng, model="OTHER"))
    assert unknown["bridge"] is not None
    assert unknown["bridge_mm"] is None


def test_a_shop_without_play_tests_has_no_row():
    assert intonation_rows(made([visit("A", 0, "play")], **SHOP)).is_empty()
