"""What a target card says of readings that do not count."""

from datetime import date
from types import SimpleNamespace

import numpy as np

from analysis.studies.people import targets
from analysis.studies.people.not_theirs import FAR, LOT, MATTER, LeftOut
from dashboard.sentences import bench, coaching
from dashboard.sentences import targets as sentences_targets
from tests.analysis.studies.benches import shop


def test_readings_of_a_lot_that_moved_are_not_laid_to_the_lot_alone():
    band = {"characteristic": "action"}
    one, other = (LeftOut(LOT, lot, date(2026, 6, 30), date(2026, 7, 17), 4, 0.13) for lot in ("H-35", "H-39"))
    few = coaching.left_out(shop(), SimpleNamespace(left_out=[one], band=band)).replace("\u00a0", " ")
    assert few == (
        "4 instruments are not counted: in the days of lot H-35 (30 Jun to 17 Jul) what others set of it lay off too, "
        "by +0.13 mm, be it the lot, a gauge, the air or what else came in these days."
    )
    many = coaching.left_out(shop(), SimpleNamespace(left_out=[one, other] * 4, band=band))
    assert many.endswith("be it the lots, a gauge, the air or what else came in these days.")


def test_what_may_be_mistyped_is_said_with_its_instruments():
    for n, what, said in (
        (1, "T738", "1 instrument is not counted until corrected: its reading lies far from all others and may be"),
        (
            2,
            "T1, T2",
            "2 instruments are not counted until corrected: their readings lie far from all others and may be",
        ),
    ):
        stand = SimpleNamespace(left_out=[LeftOut(FAR, what, None, None, n, None)])
        assert coaching.left_out(shop(), stand) == f"{said} mistyped ({what})."


def test_what_others_set_moved_too_is_said_and_not_this_persons_to_practise():
    one = LeftOut(MATTER, "", date(2026, 9, 7), None, 31, 0.13)
    said = coaching.left_out(shop(), SimpleNamespace(left_out=[one], band={"characteristic": "action"}))
    assert said.replace("\u00a0", " ") == (
        "31 instruments are not counted since 7 Sep: what others set moved too, by +0.13 mm; it is not this person's "
        "to practise."
    )


def test_a_spread_that_is_wide_is_said_and_is_what_to_work_on():
    band = {"characteristic": "action", "target": None, "model": "LARK"}
    test = SimpleNamespace(shown_at=np.array([0, 1]))
    stand = SimpleNamespace(
        band=band, wide=(1.9, 1.71, 2.14), values=[0.2], began_at=0, test=test, verdict=targets.TOO_FEW, too_wide=None
    )
    (said,) = sentences_targets.wide(shop(), [stand, stand, SimpleNamespace(band=band, wide=None)])
    assert "1.9 times as wide as the others" in said
    assert "1.7 to 2.1" in said
    assert coaching.steps(shop(), stand, [])[0] == coaching.NARROWER
    stand.wide = None
    assert coaching.steps(shop(), stand, [])[0] == "Keep the middle where it is."


def test_who_is_wide_is_told_so_in_the_headline_and_what_the_test_says_is_said_beside():
    band = {"characteristic": "action", "position": "bass", "model": "LARK", "target": None, "stage": "bridge"}
    stand = SimpleNamespace(
        band=band,
        wide=(1.9, 1.71, 2.14),
        too_wide=(45, 782, 3, 4818),
        values=[0.2] * 114,
        inside=110,
        inside_low=0.91,
        inside_high=0.99,
        on_edge=0,
        decided_at=72,
        verdict=targets.NOT_SHOWN,
    )
    said = sentences_targets.standing(shop(), stand).replace("\u00a0", " ")
    assert "Shown by its test at instrument 72, and not yet by the spread: 1.9 times as wide as the others" in said
    assert "45 of 782 outside the bands of all models and places here (of the others 3 of 4,818)" in said
    stand.test = SimpleNamespace(shown_at=np.array([0, 1]))
    first, _, last = coaching.steps(shop(), stand, [])
    assert (first, last) == (coaching.NARROWER, "Go on: it is shown once the spread is no longer wide.")
    head = bench.headline(shop(), "VAL", "bridge", [stand]).replace("\u00a0", " ")
    name = shop().characteristic_name("action").lower()
    assert head.endswith(f"one target not yet; 1.9 times as wide as the others in {name}.")
