"""How many independent readings carry as much: laws, and coverage of Ppk's bounds where they are not independent."""

from dataclasses import fields

import numpy as np
import pytest
from scipy.special import ndtri

from analysis.methods import independent_number
from analysis.methods.independent_number import bounded, carried
from analysis.methods.problems import UnusableData
from tests.trials.ppk_and_share import cell, readings

STREAMS, N = 12, 120
STARTS = np.arange(STREAMS) * N
POOL = np.zeros(STREAMS, dtype=np.int64)
NORMAL = ndtri((np.arange(60) + 0.5) / 60)  # sixty readings without lean


def told(x, lot, day):
    return carried(np.asarray(x).ravel(), STARTS, pool=POOL, lot=lot, day=day)


def test_nothing_tested_positive_leaves_every_reading_counting():
    x, lot, day = readings("normal", STREAMS, N, np.random.default_rng(1))
    found = told(x, lot, day)
    assert found.number(np.full(STREAMS, 1.2)).tolist() == [N] * STREAMS
    assert not found.dependent.any()


@pytest.mark.parametrize("kind", ["lots", "lag-1", "t5"])
def test_readings_that_carry_less_count_for_less_whatever_their_unit(kind):
    x, lot, day = readings(kind, STREAMS, N, np.random.default_rng(2))
    found = told(x, lot, day)
    number = found.number(np.full(STREAMS, 1.2))
    assert (number < N).all()
    again = told(25.4 * x + 7, lot, day)
    assert again.number(np.full(STREAMS, 1.2)) == pytest.approx(number)
    mirrored = told(-x, lot, day)
    assert mirrored.number(np.full(STREAMS, 1.2), -1) == pytest.approx(found.number(np.full(STREAMS, 1.2), 1))


def test_lots_are_measured_over_the_pool():
    rng = np.random.default_rng(3)
    lot = np.arange(STREAMS * N) // 10
    x = rng.normal(size=STREAMS * N) + rng.normal(size=STREAMS * N // 10)[lot]
    found = told(x, lot, np.arange(STREAMS * N))
    assert found.lots.mean() == pytest.approx(0.5, abs=0.1)
    # 12 lots of 10 with half of the variance between them: the mean is as sure as that of some 22 readings
    assert 1 / found.mean_variance.mean() == pytest.approx(1 / (0.5 / 12 + 0.5 / 120), rel=0.2)


def test_a_day_that_its_readings_share_is_not_taken_for_neighbours_that_resemble_each_other():
    rng = np.random.default_rng(4)
    day = np.arange(STREAMS * N) // 6
    x = rng.normal(size=STREAMS * N) + rng.normal(size=STREAMS * N // 6)[day]
    found = told(x, np.full(STREAMS * N, -1), day)
    assert found.days.mean() == pytest.approx(0.5, abs=0.1)
    assert (found.phi < 0.1).all()


def test_a_stream_without_spread_or_of_one_reading_stops_no_other():
    x = np.concatenate([np.full(30, 2.0), np.random.default_rng(5).permutation(NORMAL), [1.0]])
    found = carried(x, [0, 30, 90], pool=[0, 0, 0], lot=np.full(91, -1), day=np.arange(91)).number(
        np.array([np.nan, 1.0, np.nan])
    )
    assert found[:2].tolist() == [30, 60]
    assert np.isnan(found[2])


def number_of(x):
    x = np.random.default_rng(6).permutation(np.asarray(x))
    alone = np.full(len(x), -1)
    found = carried(x, [0], pool=[0], lot=alone, day=np.arange(len(x)))
    return float(found.number([1.2], 1)[0]), bool(found.heavy[0])


def test_few_readings_that_lean_a_little_count_for_fewer_and_many_only_where_it_is_sure():
    leaning = np.where(NORMAL > 0, 1.35, 1.0) * NORMAL  # its skewness is 1.07 standard errors of sixty readings
    assert number_of(NORMAL) == (60, False)
    few, sure = number_of(leaning)
    assert 40 < few < 60
    assert not sure
    assert number_of(np.tile(leaning, 5)) == (300, False)  # 2.35 standard errors
    many, sure = number_of(np.tile(leaning, 10))
    assert sure
    assert 500 < many < 600


def test_bounds_want_six_readings_and_three_independent_ones():
    assert bounded(np.array([5.0, 3.0, 2.9, 40.0, np.nan]), [5, 84, 84, 40, 1]).tolist() == [
        False, True, False, True, False
    ]  # fmt: skip


def test_codes_of_another_length_are_refused():
    with pytest.raises(UnusableData, match="wanted a lot and a day"):
        carried(np.arange(4.0), [0], pool=[0], lot=[1, 2], day=np.arange(4))


@pytest.mark.promise
@pytest.mark.parametrize(("kind", "n"), [("t5", 50), ("gamma(4)", 300), ("lots", 50), ("lots", 300), ("lag-1", 300)])
@pytest.mark.parametrize("index", [0.67, 1.33])
def test_ppk_s_bounds_hold_the_truth_where_readings_are_not_independent(kind, n, index):
    found = cell(kind, 12, n, index, np.random.default_rng(20261206), shops=50)
    assert found.hold >= (0.90 if kind == "t5" else 0.93) - 0.02  # 600 streams: two standard errors
    assert found.null <= 0.02


@pytest.mark.promise
@pytest.mark.parametrize("kind", ["t5", "gamma(4)"])
def test_so_they_do_for_fifty_readings_that_nobody_else_s_stand_beside(kind):
    found = cell(kind, 1, 50, 1.33, np.random.default_rng(20281202), shops=600)
    assert found.hold >= (0.90 if kind == "t5" else 0.93) - 0.02
    assert found.null < 0.02
    assert found.plain < found.hold


@pytest.mark.promise
@pytest.mark.parametrize(("kind", "n", "index"), [("normal", 50, 0.5), ("normal", 300, 0.67), ("step 0.5", 300, 0.67)])
def test_a_share_that_is_told_holds_the_truth_though_only_narrow_intervals_are(kind, n, index):
    found = cell(kind, 12, n, index, np.random.default_rng(20261207), shops=50)
    assert found.either >= 0.93
    assert found.told < 0.2 or found.share >= 0.93 - 0.02


def test_pools_worked_out_apart_are_told_as_all_together(monkeypatch):
    rng = np.random.default_rng(8)
    for _ in range(20):
        size = rng.integers(1, 60, 15)
        n, starts = int(size.sum()), np.cumsum(size) - size
        x = np.round(rng.normal(size=n) + rng.normal(size=9)[rng.integers(0, 9, n)], 1)
        lot, day = rng.integers(-1, 12, n), rng.integers(0, 20, n)
        given = {"pool": rng.integers(0, 4, 15), "lot": lot, "day": day, "asked": rng.random(15) < 0.7}
        found = []
        for at_once in (1, 10**9):
            monkeypatch.setattr(independent_number, "AT_ONCE", at_once)
            found.append(carried(x, starts, **given))
        for field in fields(found[0]):
            assert np.array_equal(*(getattr(one, field.name) for one in found), equal_nan=True), field.name
