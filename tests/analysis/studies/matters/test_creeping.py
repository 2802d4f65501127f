"""What creeps is told where it stands by now and how it moves on; what stepped is not."""

from datetime import timedelta
from statistics import NormalDist

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.signals import signals
from analysis.studies.matters.creeping import LATELY
from analysis.studies.matters.in_sight import in_sight
from analysis.studies.matters.matters import ended_matters, open_matters
from analysis.studies.matters.rows import matter_rows
from ingest.terms import tables
from tests.analysis.studies.drifting import START, shop, snapshot
from tests.analysis.studies.matters.test_in_sight import STEP
from tests.analysis.studies.matters.test_over import bench
from tests.analysis.studies.matters.test_slowly import away, worn

SEED, SIGMA = 20281211, 0.05  # mm
DAYS = np.arange(100)


def crept(a_week, *, begins=50, rests=100):
    """In sigma, of each day."""
    return a_week * np.maximum(np.minimum(DAYS, rests) - begins, 0) / 5


def shown(made):
    return [one for one in made.once(open_matters) if one.shown]


@pytest.mark.parametrize("way", [-1, 1])
def test_what_creeps_is_one_matter_that_is_told_where_it_stands_and_how_it_moves_on(way):
    made = bench(np.random.default_rng([SEED, 1]), way * crept(0.18))
    [told] = shown(made)
    assert told.creeping.goes_on
    assert told.size == pytest.approx(way * 0.18 * 9.8 * SIGMA, rel=0.12)
    assert told.size_low < way * 0.18 * 9.8 * SIGMA < told.size_high
    assert told.creeping.a_week_low < way * 0.18 * SIGMA < told.creeping.a_week_high
    row = matter_rows(made).filter(pl.col("matter") == told.key).row(0, named=True)
    assert (row["size"], row["a_week"], row["rests_on"]) == (told.size, told.creeping.a_week, None)
    each = dict(told.creeping.models)
    assert set(each) == set(told.models)
    assert all(one == pytest.approx(told.size, abs=5 * SIGMA / np.sqrt(LATELY * 6)) for one in each.values())


@pytest.mark.parametrize("size", [-1.2, 1.0])
def test_what_stepped_does_not_creep(size):
    made = bench(np.random.default_rng([SEED, 2]), size * (DAYS >= 65))
    [told] = shown(made)
    assert told.creeping is None
    assert told.size == pytest.approx(size * SIGMA, rel=0.15)
    row = matter_rows(made).filter(pl.col("matter") == told.key).row(0, named=True)
    assert (row["a_week"], row["a_week_low"], row["rests_on"]) == (None, None, None)


def test_what_dried_and_came_to_rest_moves_no_further():
    [told] = shown(bench(np.random.default_rng([SEED, 3]), -crept(0.35, begins=55, rests=80)))
    assert not told.creeping.goes_on
    assert told.creeping.a_week == 0.0
    assert told.size == pytest.approx(-0.35 * 5 * SIGMA, rel=0.12)


def test_what_came_back_little_by_little_and_rests_where_it_lay_is_told_to_have_ended():
    path = 1.8 * np.clip((85 - DAYS) / 25, 0, 1) * (DAYS >= 55)  # a newcomer who learned
    made = bench(np.random.default_rng([SEED, 5]), path)
    told = [one for one in made.once(ended_matters) if one.shown and one.size > 0.5 * SIGMA]
    assert told
    assert all(one.back_since is not None for one in told)
    assert not [one for one in shown(made) if one.size > 0.2 * SIGMA]


def test_what_it_costs_if_left_follows_from_where_it_stands(tmp_path):
    desk = worn(tmp_path / "shop", away)
    (told,) = desk.ask(open_matters)
    each = dict(told.creeping.models)
    rows = desk.ask(in_sight).streams.filter(pl.col("matter") == told.key)
    assert len(rows)
    for row in rows.iter_rows(named=True):
        assert row["stands"] == pytest.approx(each[row["model"]])
        assert row["stands"] > row["shift"] > 0  # the mean since it began
        curve = NormalDist(row["centre"] + row["stands"], row["sigma"])
        out = curve.cdf(row["lower"] - STEP / 2) + 1 - curve.cdf(row["upper"] + STEP / 2)
        usual = NormalDist(row["centre"], row["sigma"])
        before = usual.cdf(row["lower"] - STEP / 2) + 1 - usual.cdf(row["upper"] + STEP / 2)
        snapshot = desk.snapshot()
        held = snapshot.once(signals).streams.readings
        lately = (held.stream == row["stream"]) & (held.taken_at > snapshot.as_of - timedelta(weeks=4)).to_numpy()
        assert row["more_outside"] == pytest.approx((out - before) * int(lately.sum()) / 4, rel=1e-6)


def test_a_target_lowered_while_all_creep_leaves_each_model_where_the_creep_brought_it():
    rng = np.random.default_rng([SEED, 6])
    n = 100 * 30
    day = np.repeat(DAYS, 30)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(30) / 4, 100)
    model = rng.choice(["M0", "M1", "M2", "M3"], n)
    lowered = (model == "M2") & (day >= 85)
    values = 0.9 - SIGMA * (rng.normal(size=n) + crept(0.18)[day] + 4.0 * lowered)
    aims = [{"from_date": (START + timedelta(days=119)).date(), "model": one, "what": "lower"} for one in ("M2",)]
    changes = tables.shaped(
        pl.DataFrame(aims).with_columns(planned=True, characteristic=pl.lit("relief")), tables.CHANGES
    )
    made = snapshot(shop(("M0", "M1", "M2", "M3")), {("relief", ""): values}, hours=hours, model=model,
                    setter=rng.choice(["T1", "T2", "T3"], n), changes=changes)  # fmt: skip
    told = [one for one in shown(made) if one.creeping is not None]
    assert len(told) == 1
    assert set(dict(told[0].creeping.models)) == {"M0", "M1", "M2", "M3"}
    assert told[0].sizes is None  # no model stands further than another
    now = -0.18 * 9.8 * SIGMA
    assert all(one == pytest.approx(now, abs=0.2 * abs(now)) for _, one in told[0].creeping.models)
