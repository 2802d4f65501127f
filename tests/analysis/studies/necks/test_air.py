"""Lots at the same air: a damp month is no supplier's doing."""

import numpy as np
import pytest

from analysis.studies.necks import air
from analysis.studies.necks.apart import more_outside, standing
from analysis.studies.necks.necks import by_lot
from tests.analysis.studies import damp_necks
from tests.analysis.studies.damp_necks import BAD, BAD_LOTS, DAMP


def test_bow_is_shown_to_follow_the_air_by_what_was_put_in():
    found = air.of(damp_necks.shop(np.random.default_rng(1)), "neck_bow")
    assert found.shown
    assert found.low < DAMP / 18 < found.high
    assert found.usual == pytest.approx(48.5, abs=1)
    none = air.of(damp_necks.shop(np.random.default_rng(1), damp=0.0), "neck_bow")
    assert (none.shown, none.slope) == (False, 0.0)
    assert air.of(damp_necks.shop(np.random.default_rng(1), air=False), "neck_bow").usual is None


def test_bad_lots_are_held_against_good_ones_at_the_same_air():
    """Held against all others as they were read they hid each other, and the one of the damp month looked worst."""
    found = standing(damp_necks.shop(np.random.default_rng(2)))
    far = found.filter("apart").sort("lot")
    assert set(far["lot"]) == set(BAD_LOTS)
    assert far["others"].to_list() == [11, 11, 11]
    assert far["others_apart"].to_list() == [2, 2, 2]
    for row in far.iter_rows(named=True):
        assert row["off_low"] < BAD < row["off_high"]
        assert row["off"] == pytest.approx(BAD, abs=0.03)


def test_necks_that_lie_outside_for_the_damp_are_not_laid_to_their_lot():
    snapshot = damp_necks.shop(np.random.default_rng(3), damp=0.14)
    rows = by_lot(snapshot)
    wet = rows.filter(lot="Cedar-6").row(0, named=True)
    assert round(wet["outside"] * wet["n"]) >= 3
    assert wet["bad_same_air"] <= 1
    assert wet["air_moves"] == pytest.approx(0.14, abs=0.02)
    assert not wet["more_outside"]
    assert not set(more_outside(snapshot).filter("more_outside")["lot"]) - set(BAD_LOTS)


def test_far_air_is_told_where_nobody_knows_what_it_does():
    alone = [one for one in damp_necks.visits(np.random.default_rng(4)) if one["serial"].startswith("Bell")]
    snapshot = damp_necks.made(
        alone, [damp_necks.LIMITS], stage=damp_necks.STAGES, characteristic=[{"key": "neck_bow"}]
    )
    rows = by_lot(snapshot)
    assert set(rows.filter("air_far")["lot"]) == {"Bell-5", "Bell-6", "Bell-7"}
    assert rows["air_moves"].null_count() == rows.height
