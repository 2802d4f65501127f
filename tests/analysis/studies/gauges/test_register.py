"""The register: what is due, which gauge has come to read beside its master piece, and what leaves it alone."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analysis.studies.gauges.register import register
from ingest.shopfiles.shop import ShopProblem, checked_shop

NOW = datetime(2026, 11, 30, tzinfo=UTC)


def shop(**gauge):
    own = {"key": "rule", "measures": ["action"], "resolution": "0.1 mm", "master": "2.5 mm", "check_days": 7} | gauge
    return checked_shop({"shop": {"name": "x", "timezone": "UTC"}, "stage": [{"key": "a"}],
                         "characteristic": [{"key": "action"}], "model": [{"key": "M", "family": "f"}],
                         "gauge": [own, {"key": "leaves", "measures": ["action"], "resolution": "1 mm"}]})  # fmt: skip


def checks(off, *, days=1, last=0):
    n = len(off)
    return [(NOW - timedelta(days=last + days * (n - 1 - k)), "rule", 2.5 + value) for k, value in enumerate(off)]


def test_only_gauges_with_a_master_piece_are_in_it_and_the_first_check_is_due():
    (one,) = register(shop(), [], now=NOW)
    assert (one.gauge, one.due, one.drifts, one.bias, one.master) == ("rule", True, False, None, 2.5)


def test_a_check_is_due_again_after_its_days():
    assert not register(shop(), checks([0.0], last=6), now=NOW)[0].due
    assert register(shop(), checks([0.0], last=8), now=NOW)[0].due
    assert not register(shop(check_days=None), checks([0.0], last=80), now=NOW)[0].due


def test_a_shift_of_more_than_half_a_step_is_said_and_a_constant_run_is_not():
    assert register(shop(), checks([0.0] * 10 + [0.1] * 5), now=NOW)[0].drifts
    assert not register(shop(), checks([0.0] * 15), now=NOW)[0].drifts
    assert not register(shop(), checks([0.1] * 5), now=NOW)[0].drifts  # too few to say
    assert register(shop(), checks([-0.1] * 6), now=NOW)[0].bias == pytest.approx(-0.1)


def test_what_a_gauge_reads_beside_its_master_piece_has_an_interval_of_its_step_at_least():
    off = [0.5, 0.0, 0.1, -0.1, 0.1, 0.1]  # the first is not of the last five
    one = register(shop(resolution="0.01 mm"), checks(off), now=NOW)[0]
    half = 2.776445 * np.std(off[1:], ddof=1) / 5**0.5  # t(.975, 4), any table
    assert (one.bias, one.low, one.high) == pytest.approx((0.04, 0.04 - half, 0.04 + half), abs=1e-6)
    same = register(shop(), checks([-0.1] * 6), now=NOW)[0]
    assert (same.low, same.high) == pytest.approx((-0.15, -0.05))  # a step of 0.1 mm tells no more
    single = register(shop(), checks([0.1]), now=NOW)[0]
    assert (single.bias, single.low, single.high) == (pytest.approx(0.1), None, None)


def test_a_gauge_that_only_scatters_is_seldom_said_to_drift():
    rng = np.random.default_rng(20270916)
    told = [register(shop(), checks(np.round(rng.normal(0, 0.05, 12), 1)), now=NOW)[0].drifts for _ in range(300)]
    assert np.mean(told) <= 0.03


def test_check_days_without_a_master_piece_are_refused():
    with pytest.raises(ShopProblem, match="master piece"):
        shop(master="")
