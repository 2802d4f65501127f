"""How much a stream moved, with its uncertainty; and what lay outside before and since."""

from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from analysis.methods.intervals import binomial_exact
from analysis.studies.drift.shift import outside, shift
from analysis.studies.drift.signals import signals
from ingest.shopfiles.specs import Specs
from ingest.terms import tables
from tests.analysis.studies.drifting import at, shop, snapshot

RELIEF = {"characteristic": "relief", "model": "LARK", "stage": "final"}
STEP = 160


@pytest.fixture(scope="module")
def made():
    values = 0.20 + 0.02 * np.random.default_rng(20260302).standard_normal(240)
    values[STEP:] += 0.06
    return snapshot(shop(false_signals_per_week=0.005), {("relief", ""): values}), values


def test_the_size_is_the_mean_since_minus_the_mean_before_with_an_interval_by_sigma(made):
    shot, values = made
    judged = shot.once(signals)
    row = judged.open.sort("opened_at").row(-1, named=True)
    found = shift(shot, **RELIEF, opened_at=row["opened_at"])
    first, began = (
        row["first_reading"],
        row["first_reading"] + found.n_before,
    )  # an earlier signal may have closed in between
    assert abs(began - STEP) <= 3
    assert found.size == pytest.approx(values[began:].mean() - values[first:began].mean())
    sigma = float(judged.streams.own.sigma[row["stream"]])
    assert (found.high - found.low) / 2 == pytest.approx(1.96 * sigma * np.sqrt(1 / found.n_before + 1 / (240 - began)))
    assert found.low < 0.06 < found.high
    assert found.share is None  # nothing is asked
    assert found.before.n == found.since.n == 0


def test_a_signal_that_is_not_there_has_no_shift(made):
    assert shift(made[0], **RELIEF, opened_at=at(3)) is None
    assert shift(made[0], **{**RELIEF, "model": "WREN"}, opened_at=at(3)) is None


def test_readings_without_a_limit_are_not_counted_as_inside():
    taken = pl.Series([datetime(2026, 1, day, tzinfo=UTC) for day in (1, 2, 3, 4)], dtype=tables.TIME)
    found = outside(pl.DataFrame({"taken_at": taken, "outside": [None, True, False, False]}))
    low, high = binomial_exact(1, 3)
    assert (found.outside, found.n, found.low, found.high) == (
        1,
        3,
        pytest.approx(float(low)),
        pytest.approx(float(high)),
    )
    assert found.first_at.date() == date(2026, 1, 2)


def test_outside_is_counted_before_and_since_and_the_shift_is_a_share_of_the_tolerance(made):
    spec = tables.shaped(pl.DataFrame({"characteristic": ["relief"], "lower": [0.10], "upper": [0.28]}), tables.SPECS)
    shot, values = made
    limited = type(shot)(shot.shop, Specs(spec), shot.readers, shot.as_of)
    row = limited.once(signals).open.sort("opened_at").row(-1, named=True)
    found = shift(limited, **RELIEF, opened_at=row["opened_at"])
    first, began = row["first_reading"], row["first_reading"] + found.n_before
    beyond = (values < 0.10) | (values > 0.28)
    assert (found.before.outside, found.before.n) == (beyond[first:began].sum(), began - first)
    assert (found.since.outside, found.since.n) == (beyond[began:].sum(), 240 - began)
    assert found.share == pytest.approx(found.size / 0.18)
