"""A slope that lots of all sources follow: laws, bad lots, and how often it is shown and held."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.methods.common_slope import NOT_TOLD, Read, common_slope

DAMP = (5, 6, 7, 8)  # weeks of sixteen


def read(rng, *, slope=0.0, lots=0.01, bad=0.0, sources=3, weeks=16, necks=20, week=0.0, own=0.0):
    """A lot a week of each source, 18 % RH damper in DAMP; a share of lots is bad by 0.12; `lots`, `week`: spread that
    comes with a lot, and with a week whatever its lots; `own`: what the first source alone reads more in DAMP.
    """
    source, at, _ = (part.ravel() for part in np.mgrid[:sources, :weeks, :necks])
    lot = source * weeks + at
    damp = np.isin(at, DAMP)
    x = 48.0 + 18.0 * damp + rng.normal(0, 1.5, len(at))
    condition = rng.integers(0, 2, len(at))
    level = rng.normal(0, lots, sources * weeks) + 0.12 * (rng.random(sources * weeks) < bad)
    y = 0.1 + 0.03 * source + 0.02 * condition + level[lot] + slope * (x - 48) + rng.normal(0, week, weeks)[at]
    y = y + own * (damp & (source == 0)) + rng.normal(0, 0.05, len(at))
    return Read(y, x, source, condition, lot, at)


def test_a_slope_is_found_past_lots_that_are_bad():
    told = read(np.random.default_rng(1), slope=0.003)
    bad = np.isin(told.lot, [2, 6, 9, 14])
    found = common_slope(replace(told, y=told.y + 0.12 * bad))
    assert found.shown
    assert found.low < 0.003 < found.high
    assert found.high - found.low < 0.0015


def test_units_order_and_names_change_nothing():
    told = read(np.random.default_rng(2), slope=0.003, bad=0.1)
    one = common_slope(told)
    inches = common_slope(replace(told, y=told.y / 25.4, x=told.x / 100))
    assert (inches.slope, inches.low, inches.high) == pytest.approx(
        tuple(part * 100 / 25.4 for part in (one.slope, one.low, one.high)), rel=1e-6
    )
    order = np.random.default_rng(3).permutation(len(told.y))
    turned = common_slope(Read(*(part[order] for part in vars(told).values())))
    assert (turned.slope, turned.low, turned.high) == pytest.approx((one.slope, one.low, one.high), rel=1e-6)
    names = common_slope(replace(told, source=2 - told.source, lot=47 - told.lot, condition=1 - told.condition))
    assert (names.slope, names.low, names.high) == pytest.approx((one.slope, one.low, one.high), rel=1e-6)
    levels = common_slope(replace(told, y=told.y + 5.0 * told.source - told.condition))
    assert levels.slope == pytest.approx(one.slope, rel=1e-6)


def test_what_one_source_alone_does_is_not_what_all_follow():
    assert not common_slope(read(np.random.default_rng(4), own=0.1)).shown
    alone = read(np.random.default_rng(5), slope=0.005, sources=1)
    assert not common_slope(alone).shown  # its own doing or the air's: nobody can tell


def test_nothing_is_told_of_still_air_few_lots_or_constant_readings():
    told = read(np.random.default_rng(6), slope=0.003)
    assert common_slope(replace(told, x=np.full(len(told.x), 48.0))) == NOT_TOLD
    few = Read(*(part[told.lot < 4] for part in vars(told).values()))
    assert common_slope(few) == NOT_TOLD
    assert not common_slope(replace(told, y=np.full(len(told.y), 0.1))).shown


@pytest.mark.promise
@pytest.mark.parametrize(
    ("lots", "bad", "week"), [(0.0, 0.0, 0.0), (0.02, 0.0, 0.0), (0.01, 0.15, 0.0), (0.0, 0.0, 0.02)]
)
def test_a_slope_is_seldom_shown_where_none_is(lots, bad, week):
    rng = np.random.default_rng(20261130)
    shown = [common_slope(read(rng, lots=lots, bad=bad, week=week)).shown for _ in range(200)]
    assert np.mean(shown) <= 0.03  # 200 shops at one in a hundred and 2.8 standard errors


@pytest.mark.promise
@pytest.mark.parametrize(("lots", "bad"), [(0.0, 0.0), (0.02, 0.0), (0.01, 0.15)])
def test_the_interval_of_a_slope_holds_it(lots, bad):
    rng = np.random.default_rng(20261201)
    told = [common_slope(read(rng, slope=0.003, lots=lots, bad=bad)) for _ in range(150)]
    assert np.mean([one.low <= 0.003 <= one.high for one in told]) >= 0.90  # .95 less 2.8 standard errors
    assert np.mean([one.shown for one in told]) >= 0.9
