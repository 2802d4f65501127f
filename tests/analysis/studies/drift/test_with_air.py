"""Streams that follow the air are judged on what it does not explain, where the shop asks for it."""

import numpy as np
import pytest

from analysis.studies.drift.setters import follow_air
from analysis.studies.drift.signals import signals
from analysis.studies.drift.streams import streams
from analysis.studies.drift.watching import AIR_OUT, AVERAGE
from tests.analysis.studies.drifting import shop, snapshot

N = 400  # eight a day, fifty days
RNG = np.random.default_rng(20281204)
RH = 48 + np.repeat(4 * RNG.normal(size=N // 8) + np.where(np.arange(N // 8) >= 25, 5.0, 0.0), 8)
NOISE = RNG.normal(size=(3, N))
FOLLOWS = NOISE[0] + 0.2 * (RH - 48)
VALUES = {("relief", ""): FOLLOWS, ("action", "bass"): NOISE[1], ("action", "treble"): NOISE[2]}


def made(*, air: bool, values=VALUES, **more):
    return snapshot(shop(false_signals_per_week=0.2, air=air), values, rh=RH, **more)


def opened(judged, characteristic):
    """Signals of the chart with a baseline; a young stream's readings are judged as they come."""
    rows = judged.found.filter(characteristic=characteristic, chart=AVERAGE)
    return rows.to_dicts()


def test_only_a_stream_whose_baseline_follows_the_air_has_it_taken_out():
    held = made(air=True).once(streams)
    found = dict(zip(held.rows["characteristic"] + held.rows["position"], follow_air(held), strict=True))
    assert found == {"relief": True, "actionbass": False, "actiontreble": False}
    mine = held.with_air[:N] if held.rows["characteristic"][0] == "relief" else held.with_air[-N:]
    assert mine[:100].mean() == pytest.approx(0, abs=1e-9)
    assert np.polyfit(RH[:100], mine[:100], 1)[0] == pytest.approx(0.2, abs=0.06)


def test_damp_weeks_open_no_signal_where_the_air_is_taken_out_and_one_where_it_is_not():
    assert opened(made(air=False).once(signals), "relief")
    judged = made(air=True).once(signals)
    assert not opened(judged, "relief")
    row = judged.charts.rows["characteristic"].index_of("relief")
    assert AIR_OUT in judged.charts.adjusted[row]


def test_a_step_opens_a_signal_of_its_own_size_whatever_the_air():
    step = {**VALUES, ("relief", ""): FOLLOWS + np.where(np.arange(N) >= 200, -2.0, 0.0)}
    (row,) = opened(made(air=True, values=step).once(signals), "relief")
    assert row["size"] == pytest.approx(-2.0, abs=0.4)


def test_what_comes_after_the_baseline_changes_nothing_that_was_judged():
    first = made(air=True).once(streams).with_air
    late = {key: np.where(np.arange(N) >= 300, column + 0.5 * (RH - 48), column) for key, column in VALUES.items()}
    assert made(air=True, values=late).once(streams).with_air == pytest.approx(first)


def test_air_beyond_what_the_baseline_saw_counts_as_the_most_that_it_saw():
    rh = RH.copy()
    rh[200:] += 60
    held = snapshot(shop(air=True), VALUES, rh=rh).once(streams)
    far = held.with_air[follow_air(held).argmax() * N :][:N]
    assert far[200:].max() == pytest.approx(far[:100].max())
