"""Charts that pool over models: what a point is, who has a chart, and that one cause in many models is seen soon."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.offsets import CHARACTERISTIC, GAUGE, SETTER
from analysis.studies.drift.pooled import pooled, pools
from analysis.studies.drift.signals import signals
from analysis.studies.drift.states import stream_rows
from analysis.studies.drift.streams import streams
from analysis.studies.drift.watching import AVERAGE, POOLED
from analysis.studies.matters.rows import signal_rows
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drift.test_streams import RELIEF
from tests.analysis.studies.drifting import at, shop, snapshot

MODELS, N, STEP = 10, 2000, 1600
NAMES = tuple(f"M{k}" for k in range(MODELS))
MODEL = np.array(NAMES)[np.arange(N) % MODELS]
SETTERS = np.array([f"T{k}" for k in np.random.default_rng(20270201).integers(0, 4, N)])
RULERS = np.array([f"G{k}" for k in np.random.default_rng(20270202).integers(0, 3, N)])


def readings(seed: int) -> np.ndarray:
    """Ten models with centres and sigmas of their own."""
    rng = np.random.default_rng(seed)
    return rng.normal(size=N) * (1 + np.arange(N) % MODELS) + 100.0 * (np.arange(N) % MODELS)


def made(x: np.ndarray, *, gauge: np.ndarray | str = "", **judging: object) -> Snapshot:
    rule = shop(NAMES, **({"false_signals_per_week": 0.05} | judging))
    return snapshot(rule, {RELIEF: x}, model=MODEL, setter=SETTERS, gauge=gauge)


def moved(who: np.ndarray, by: float, *, seed: int) -> np.ndarray:
    """All models up by so many of their sigmas from STEP on, where `who`."""
    x = readings(seed)
    return x + np.where(who & (np.arange(N) >= STEP), by * (1 + np.arange(N) % MODELS), 0.0)


def test_a_point_is_how_far_an_instrument_lies_off_its_own_baseline_in_its_own_sigma():
    x = readings(20270203)
    held = made(x).once(streams)
    charts = pooled(
        pools(held, coarse=np.zeros(len(held.starts), bool), baseline_readings=100), weight=0.1, arl=8e3
    ).charts
    row = charts.rows["over"].to_list().index(CHARACTERISTIC)
    where = slice(int(charts.starts[row]), int(np.append(charts.starts[1:], len(charts.reading))[row]))
    taken = held.readings["taken_at"].gather(charts.reading[where])
    assert taken.is_sorted()
    stream = np.searchsorted(held.starts, charts.reading[where], side="right") - 1
    z = (held.values[charts.reading[where]] - held.own.centre[stream]) / held.own.sigma[stream]
    assert charts.plotted[where] == pytest.approx(z)
    # nothing of a baseline is judged: a hundred of each of ten models
    assert len(z) == N - 100 * MODELS


def test_the_mean_over_positions_is_one_point():
    rng = np.random.default_rng(20270204)
    columns = {("action", "bass"): rng.normal(size=N), ("action", "treble"): rng.normal(size=N)}
    judged = snapshot(shop(NAMES, false_signals_per_week=0.001), columns, model=MODEL).once(signals)
    charts = judged.pooled.charts
    assert charts.rows.select("over", "characteristic", "position", "model", "stage").rows() == [
        (CHARACTERISTIC, "action", "", "", "")
    ]
    assert len(charts.reading) == N - 100 * MODELS
    assert charts.sigma[0] == pytest.approx(np.sqrt(0.5), rel=0.08)  # of a mean of two


def test_each_setter_at_each_stage_each_gauge_and_each_characteristic_has_a_chart():
    rows = made(readings(20270205), gauge=RULERS).once(signals).pooled.charts.rows
    assert rows.filter(pl.col("over") == SETTER).select("tech", "stage").rows() == [
        (f"T{k}", "final") for k in range(4)
    ]
    assert rows.filter(pl.col("over") == GAUGE)["gauge"].to_list() == ["G0", "G1", "G2"]
    assert rows.filter(pl.col("over") == CHARACTERISTIC)["characteristic"].to_list() == ["relief"]


def test_what_pools_nothing_has_no_chart():
    x = np.random.default_rng(20270206).normal(size=400)
    assert snapshot(shop(), {RELIEF: x}, setter=SETTERS[:400]).once(signals).pooled is None
    alone = snapshot(shop(NAMES), {RELIEF: readings(20270207)}, model=MODEL, setter="T1", gauge="G1").once(signals)
    assert alone.pooled.charts.rows["over"].to_list() == [CHARACTERISTIC]


def test_one_tech_three_quarters_of_a_sigma_off_on_ten_models_is_seen_by_the_pooled_chart_first():
    who = SETTERS == "T2"
    judged = made(moved(who, 0.75, seed=20270208)).once(signals)
    row = judged.others.filter(pl.col("over") == SETTER).row(0, named=True)
    assert (row["chart"], row["tech"], row["stage"], row["characteristic"]) == (POOLED, "T2", "final", "relief")
    assert row["opened_at"] >= at(STEP)
    assert row["closed_at"] is None
    assert row["side"] == 1
    later = judged.streams.readings.of_all("stream", "set_by", "taken_at").filter(
        pl.col("stream") < MODELS, pl.col("set_by") == "T2"
    )
    seen = len(later.filter(pl.col("taken_at").is_between(at(STEP), row["opened_at"])))
    assert seen <= 60  # of this tech's instruments; a chart of one model would want some thirty of each of ten
    assert row["size"] == pytest.approx(0.75, abs=0.35)
    assert row["began_low"] <= at(STEP + 4)
    assert row["began_high"] >= at(STEP - 4)
    told = made(moved(who, 0.75, seed=20270208)).once(signal_rows).filter(pl.col("over") == SETTER)
    assert told.select("chart", "over", "tech", "stage").rows() == [("pooled", SETTER, "T2", "final")]


def test_a_gauge_that_moves_is_named_by_its_chart():
    judged = made(moved(RULERS == "G1", 1.0, seed=20270209), gauge=RULERS).once(signals)
    row = judged.others.filter(pl.col("over") == GAUGE).row(0, named=True)
    assert (row["gauge"], row["characteristic"], row["closed_at"]) == ("G1", "relief", None)


def test_a_new_setter_is_held_against_their_own_first_readings():
    setter = SETTERS.copy()
    setter[1000:] = np.where(np.random.default_rng(20270210).random(1000) < 0.5, "T9", setter[1000:])
    x = readings(20270211) + np.where(setter == "T9", 3.0 * (1 + np.arange(N) % MODELS), 0.0)
    judged = snapshot(shop(NAMES, false_signals_per_week=0.01), {RELIEF: x}, model=MODEL, setter=setter).once(signals)
    of_t9 = judged.pooled.charts.rows.with_row_index("row").filter(pl.col("tech") == "T9")
    assert of_t9.is_empty()  # of no baseline yet: what their points spread by is not known
    assert judged.others.filter(pl.col("tech") == "T9").is_empty()


def test_one_model_that_moved_is_told_by_its_own_chart_and_not_batch_by_batch_by_that_of_all():
    x = readings(20270212)
    x[(MODEL == "M3") & (np.arange(N) >= STEP - 400)] += 2.0 * 4
    judged = made(x, false_signals_per_week=0.005).once(signals)
    own = judged.found.filter((pl.col("chart") == AVERAGE) & (pl.col("tech") == ""))
    assert own.filter(pl.col("closed_at").is_null())["model"].to_list() == ["M3"]
    assert judged.others.filter((pl.col("over") == CHARACTERISTIC) & (pl.col("openings") > 1)).is_empty()


def test_pooled_charts_stand_within_the_same_budget():
    alone = made(readings(20270213)).once(signals)
    counted = np.bincount(
        np.repeat(np.arange(len(alone.charts.starts)), np.diff(alone.charts.starts, append=len(alone.charts.reading)))
    )
    over = counted[(alone.charts.rows["over"] != "").to_numpy()].sum()
    assert over == 2 * (N - 100 * MODELS)  # every later instrument stands on the chart of who set it and on that of all
    assert alone.budget.rates[-1] == pytest.approx(0.05 / alone.budget.volumes[-1])
    assert made(readings(20270213), width=3.0, false_signals_per_week=None).once(signals).pooled is None


def test_a_pooled_signal_leaves_the_state_of_a_stream_alone():
    judged = made(moved(SETTERS == "T2", 0.75, seed=20270208))
    open_streams = judged.once(signals).open["stream"].n_unique()
    assert (judged.once(stream_rows)["state"] == "moved").sum() == open_streams


def test_the_order_of_rows_and_the_unit_never_matter():
    x = moved(SETTERS == "T2", 0.75, seed=20270208)
    names = ["over", "tech", "opened_at", "closed_at", "began_at"]
    plain = made(x).once(signals).others.select(names)
    rule = shop(NAMES, false_signals_per_week=0.05)
    mixed = snapshot(rule, {RELIEF: x}, model=MODEL, setter=SETTERS, shuffled=np.random.default_rng(3))
    assert mixed.once(signals).others.select(names).equals(plain)
    assert made(x / 25.4).once(signals).others.select(names).equals(plain)
