"""Who has too few readings for limits of their own is held against those of all techs, by how far apart theirs lie."""

from datetime import timedelta

import numpy as np
import pytest

from analysis.studies.drift.setter_spreads import wider_than_all
from analysis.studies.drift.signals import signals
from analysis.studies.drift.streams import streams
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import START, shop, snapshot

MODELS = tuple(f"M{k}" for k in range(6))


def made(seed, spreads, days=60, per_day=30):
    """Six models that four people set, one of them less steadily; nothing moves."""
    rng, n = np.random.default_rng([20310111, seed]), days * per_day
    day = np.repeat(np.arange(days), per_day)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(per_day) * 8.0 / per_day, days)
    model, who = rng.integers(0, 6, n), rng.integers(0, 4, n)
    relief = 0.2 + 0.1 * np.array(spreads)[who] * rng.normal(size=n)
    names = [np.array(words, dtype=object) for words in (MODELS, ("T0", "T1", "T2", "T3"))]
    return snapshot(shop(MODELS), {("relief", ""): relief}, model=names[0][model], hours=hours, setter=names[1][who])


def wider(shown):
    held = streams(shown)
    own = np.flatnonzero((held.rows["tech"] != "").to_numpy())
    factor = wider_than_all(held, own, baseline_readings=shown.shop.judging.baseline_readings)
    return held.rows["tech"].gather(own).to_numpy(), factor


def test_whose_readings_lie_twice_as_far_apart_has_a_wider_sigma_there():
    tech, factor = wider(made(1, (1, 1, 1, 2)))
    assert factor[tech == "T3"].mean() == pytest.approx(2 / np.sqrt(7 / 4), rel=0.15)
    assert (factor[tech != "T3"] == 1.0).all()


def test_where_all_are_alike_and_where_no_baseline_is_complete_nobody_has():
    assert (wider(made(2, (1, 1, 1, 1)))[1] == 1.0).all()
    assert (wider(made(2, (1, 1, 1, 2), days=10))[1] == 1.0).all()


def test_what_comes_later_does_not_move_it():
    shown = made(3, (1, 1, 1, 2))
    tech, factor = wider(shown)
    before = Snapshot(shown.shop, shown.specs, shown.readers, START + timedelta(weeks=9))
    assert len(streams(before).values) < len(streams(shown).values)
    assert np.array_equal(factor, wider(before)[1])
    assert factor[tech == "T3"].min() > 1


def test_it_opens_no_more_signals_than_others():
    mine = others = 0
    for seed in range(10, 16):
        found = signals(made(seed, (1, 1, 1, 2))).found
        mine += int((found["tech"] == "T3").sum())
        others += int((~found["tech"].is_in(["", "T3"])).sum())
    assert mine <= others + 3  # with the sigma of all techs 26 to 3
