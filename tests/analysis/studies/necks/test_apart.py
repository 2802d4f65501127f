"""Lots that stand apart from their supplier's others."""

from datetime import timedelta

import numpy as np
import pytest

from analysis.review import review
from analysis.studies.necks.apart import more_outside, standing
from analysis.studies.necks.necks import by_lot
from tests.analysis.studies.measured import made, visit

LIMITS = {"characteristic": "neck_bow", "lower": -0.5, "upper": 0.9}
BOW = {"characteristic": [{"key": "relief", "set_at": "neck"}, {"key": "neck_bow"}]}


def lots_of(supplier, means, *, start=0):
    """Lots of 30 necks each, WREN necks bowed by 0.05 mm more than LARK's; the last lot of WREN alone."""
    rng, rows = np.random.default_rng(21), []
    for number, mean in enumerate(means):
        for k in range(30):
            model = "WREN" if k % 2 or number == len(means) - 1 else "LARK"
            bow = rng.normal(mean + (0.05 if model == "WREN" else 0.0), 0.03)
            same = {"supplier": supplier, "lot": f"{supplier[0]}{number}", "model": model}
            serial = f"{supplier[0]}{number}-{k:02d}"
            rows.append(visit(serial, start + number + k / 100, "receiving", readings={"neck_bow": float(bow)}, **same))
    return rows


def test_a_lot_with_all_its_necks_within_limits_stands_apart_from_the_others_of_its_supplier():
    means = [0.15, 0.16, 0.15, 0.25, 0.14, 0.16, 0.15, 0.15]
    snapshot = made([*lots_of("Oxbow", means), *lots_of("Holm", [0.3] * 8, start=50)], [LIMITS], **BOW)
    found = standing(snapshot)
    far = found.filter("apart").row(0, named=True)
    assert found.filter("apart").select("supplier", "lot").rows() == [("Oxbow", "O3")]
    assert far["off"] == pytest.approx(0.10, abs=0.02)
    assert far["off_low"] < 0.10 < far["off_high"]
    assert far["others"] == 7
    rows = by_lot(snapshot)
    assert rows.filter("apart")["lot"].to_list() == ["O3"]
    assert rows.filter("apart")["outside"].to_list() == [0.0]


def test_a_lot_of_a_model_that_bows_more_does_not_stand_apart():
    found = standing(made(lots_of("Oxbow", [0.15, 0.16, 0.15, 0.15, 0.14, 0.16, 0.15, 0.15]), [LIMITS], **BOW))
    assert not found["apart"].any()
    assert abs(found.filter(lot="O7")["off"].item()) < 0.03


def test_without_necks_no_lot_stands_anywhere():
    assert standing(made([visit("A", 0, "play")])).is_empty()


def test_the_review_tells_those_measured_in_its_week_alone():
    means = [0.15, 0.16, 0.15, 0.25, 0.14, 0.16, 0.15, 0.15]
    snapshot = made(lots_of("Oxbow", means), [LIMITS], **BOW)
    day = by_lot(snapshot).filter("apart")["first_at"].item().date()
    week = day - timedelta(days=day.weekday())
    told = review(snapshot, week=week).apart_lots
    assert told.select("lot", "mean").rows() == [
        ("O3", pytest.approx(by_lot(snapshot).filter(lot="O3")["mean"].item()))
    ]
    assert review(snapshot, week=week + timedelta(weeks=1)).apart_lots.is_empty()


def test_more_outside_than_chance_is_a_lot_of_many_bad_necks_not_one_with_the_only_bad_one():
    rows = lots_of("Oxbow", [0.15] * 12)
    bad = {"O3-00"}

    def told():
        for row in rows:
            if row["serial"] in bad:
                row |= visit(row["serial"], 3, "receiving", readings={"neck_bow": 1.2}, supplier="Oxbow", lot="O3")
        return more_outside(made(rows, [LIMITS], **BOW)).filter("more_outside")["lot"].to_list()

    assert told() == []
    bad |= {f"O3-{k:02d}" for k in range(8)}
    assert told() == ["O3"]
    assert more_outside(made(rows, [], **BOW)).is_empty()
