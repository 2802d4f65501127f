"""Readings in sigmas off their baselines."""

import numpy as np
import pytest

from analysis.studies.drift.in_sigmas import in_sigmas
from analysis.studies.drift.signals import signals
from tests.analysis.studies.drift.test_streams import RELIEF
from tests.analysis.studies.drifting import shop, snapshot

X = np.random.default_rng(20270320).normal(size=300)
SETTER = np.array(["T1", "T2"])[np.random.default_rng(20270321).integers(0, 2, 300)]


def test_each_reading_stands_in_its_streams_sigmas_and_those_of_its_setter():
    judged = snapshot(shop(), {RELIEF: X}, setter=SETTER).once(signals)
    found, own = in_sigmas(judged, 100), judged.streams.own
    z = (X - own.centre[0]) / own.sigma[0]
    assert found.z[:300] == pytest.approx(z)
    assert found.after[:300].tolist() == [False] * 100 + [True] * 200
    mine = np.where(SETTER == "T1", z[:100][SETTER[:100] == "T1"].mean(), z[:100][SETTER[:100] == "T2"].mean())
    assert found.setter[100:300] == pytest.approx((z - mine)[100:])
    assert np.isnan(found.gauge).all()  # nobody wrote down which
    assert np.isnan(found.z[300:]).all()  # a tech's own stream is told by `twin`


def test_a_stream_without_a_full_baseline_has_none():
    judged = snapshot(shop(), {RELIEF: X[:90]}).once(signals)
    assert np.isnan(in_sigmas(judged, 100).z).all()
