"""What a shift moves together with: the planted thing is named, what cannot be told apart is named with it, and nothing
is named for nothing.
"""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from analysis.studies.drift.causes import (
    CHANGE,
    GAUGE,
    HUMIDITY,
    LOT,
    SET_BY,
    SUPPLIER,
    TECH_AT,
    MovesWith,
    all_candidates,
)

from analysis.studies.drift.signals import signal_rows, signals
from analysis.studies.drift.watching import AVERAGE
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drift.test_streams import RELIEF
from tests.analysis.studies.drifting import START, at, shop, snapshot
from tests.trials.causes import KINDS, trial

N, STEP = 360, 200
RNG = np.random.default_rng(20261229)
NOISE = RNG.normal(size=N)
SINCE = np.arange(N) >= STEP
FEW = {"false_signals_per_week": 0.01}


def told(made: Snapshot) -> MovesWith:
    """Of the last open signal of all techs."""
    found = (
        made.once(signals)
        .found.with_row_index("i")
        .filter((pl.col("chart") == AVERAGE) & (pl.col("tech") == "") & pl.col("closed_at").is_null())
    )
    return made.once(all_candidates)[int(found["i"][-1])]


def names(found: MovesWith) -> list[tuple[str, str]]:
    return [(candidate.name, candidate.value) for candidate in found.named]


def test_the_gauge_whose_readings_moved_is_named():
    gauge = RNG.choice(["g1", "g2"], N)
    found = told(snapshot(shop(**FEW), {RELIEF: NOISE + 2.5 * (SINCE & (gauge == "g1"))}, gauge=gauge))
    assert names(found) == [(GAUGE, "g1")]
    assert found.named[0].effect == pytest.approx(2.5, abs=0.8)
    assert found.named[0].low < 2.5 < found.named[0].high


def test_a_lot_and_its_only_supplier_cannot_be_told_apart():
    lot = np.where(SINCE & (RNG.random(N) < 0.5), "new", "old")
    found = told(
        snapshot(
            shop(**FEW), {RELIEF: NOISE + 3.0 * (lot == "new")}, lot=lot, supplier=np.where(lot == "new", "B", "A")
        )
    )
    assert sorted(names(found)) == [(LOT, "new"), (SUPPLIER, "B")]


def test_the_tech_at_an_earlier_stage_is_named_with_the_stage():
    early = RNG.choice(["T4", "T5"], N)
    found = told(
        snapshot(
            shop(**FEW),
            {RELIEF: NOISE + 2.5 * (SINCE & (early == "T5"))},
            early=early,
            setter=RNG.choice(["T1", "T2"], N),
        )
    )
    assert names(found) == [(TECH_AT + "frets", "T5")]


def test_who_set_it_is_named_and_their_bench_stage_is_not_named_twice():
    setter = RNG.choice(["T1", "T2"], N)
    found = told(snapshot(shop(**FEW), {RELIEF: NOISE + 2.5 * (SINCE & (setter == "T2"))}, setter=setter))
    assert (SET_BY, "T2") in names(found)
    assert all(name != TECH_AT + "neck" for name, _ in names(found))


def test_humidity_is_named_where_readings_follow_it_and_it_changed():
    rng = np.random.default_rng(20261230)
    rh = np.where(SINCE, 62.0, 47.0) + np.repeat(rng.normal(0, 4, N // 4), 4)
    found = told(snapshot(shop(**FEW), {RELIEF: NOISE + 0.15 * (rh - 47)}, rh=rh))
    assert [name for name, _ in names(found)] == [HUMIDITY]


def test_a_step_while_the_air_changes_too_is_not_laid_to_humidity_that_nothing_follows():
    rng = np.random.default_rng(20261231)
    rh = np.where(SINCE, 62.0, 47.0) + rng.normal(0, 4, N)
    assert names(told(snapshot(shop(**FEW), {RELIEF: NOISE + 2.5 * SINCE}, rh=rh))) == []


def changed(day: date, **more: object) -> pl.DataFrame:
    return pl.DataFrame(
        [{"from_date": day, "to_date": None, "model": "LARK", "stage": "neck", "what": "jig", "note": ""} | more],
        schema_overrides={"to_date": pl.Date},
    )


def test_a_dated_change_on_the_day_is_named():
    found = told(snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * SINCE}, changes=changed(at(STEP).date())))
    assert names(found) == [(CHANGE, f"jig, {at(STEP).date()}")]


@pytest.mark.parametrize(
    "more", [{"stage": "packing"}, {"model": "WREN"}, {"from_date": at(STEP).date() - timedelta(days=12)}]
)
def test_a_dated_change_elsewhere_or_at_another_time_is_not(more):
    assert (
        names(told(snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * SINCE}, changes=changed(at(STEP).date(), **more))))
        == []
    )


def test_a_gauge_changed_for_all_the_same_day_is_named_with_the_change():
    found = told(
        snapshot(
            shop(**FEW),
            {RELIEF: NOISE + 3.0 * SINCE},
            gauge=np.where(SINCE, "new", "old"),
            changes=changed(at(STEP).date()),
        )
    )
    assert sorted(name for name, _ in names(found)) == [CHANGE, GAUGE]


def test_where_everything_moved_nothing_stands_out():
    k = np.arange(N)
    levels = np.stack([k % 3, k // 3 % 3, k // 9 % 3])
    plain = NOISE.copy()
    for side in (SINCE, ~SINCE):  # take out what each level has by chance
        design = np.concatenate([(levels[:, side] == level).astype(float) for level in range(3)]).T
        plain[side] -= design @ np.linalg.lstsq(design, plain[side], rcond=None)[0]
    setter, gauge, lot = (
        np.array([f"{name}{level}" for level in which]) for name, which in zip("tgl", levels, strict=True)
    )
    found = told(snapshot(shop(**FEW), {RELIEF: plain + 2.5 * SINCE}, setter=setter, gauge=gauge, lot=lot))
    assert found.named == []
    assert found.looked_at >= 9
    assert all(candidate.p > 0.05 for candidate in found.candidates)


def test_adjusted_for_the_number_looked_at_more_levels_ask_for_more():
    gauge = np.where(np.arange(N) % 2 == 0, "g1", "g2")
    x = NOISE + 2.5 * (SINCE & (gauge == "g1"))
    few = told(snapshot(shop(**FEW), {RELIEF: x}, gauge=gauge))
    many = told(snapshot(shop(**FEW), {RELIEF: x}, gauge=gauge, lot=np.array([f"L{k % 12}" for k in range(N)])))
    p = [next(c.p for c in found.candidates if c.name == GAUGE) for found in (few, many)]
    assert many.looked_at == few.looked_at + 12
    assert p[1] == pytest.approx(p[0] * many.looked_at / few.looked_at)


def test_the_figures_join_what_cannot_be_told_apart():
    lot = np.where(SINCE & (np.arange(N) % 2 == 0), "new", "old")
    made = snapshot(
        shop(**FEW), {RELIEF: NOISE + 3.0 * (lot == "new")}, lot=lot, supplier=np.where(lot == "new", "B", "A")
    )
    row = (
        made.once(signal_rows).filter((pl.col("chart") == AVERAGE) & pl.col("closed_at").is_null()).row(-1, named=True)
    )
    assert sorted(zip(row["moves_with"].split("; "), row["moves_with_value"].split("; "), strict=True)) == [
        (LOT, "new"),
        (SUPPLIER, "B"),
    ]


def test_on_a_techs_own_chart_the_tech_is_no_candidate():
    setter = np.where(np.arange(N) % 2 == 0, "T1", "T2")
    made = snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * (SINCE & (setter == "T1"))}, setter=setter)
    own = made.once(signals).found.with_row_index("i").filter(pl.col("tech") == "T1")
    assert len(own) > 0
    for i in own["i"]:
        assert SET_BY not in [candidate.name for candidate in made.once(all_candidates)[i].candidates]


def test_humidity_comes_from_the_climate_log_where_no_visit_tells_it():
    rng = np.random.default_rng(20270101)
    days = int((at(N - 1) - START).days) + 3
    hourly = [START + timedelta(hours=h - 60) for h in range(24 * days)]
    step_hour = (at(STEP) - START).total_seconds() / 3600 + 60
    rh = (
        np.where(np.arange(len(hourly)) >= step_hour, 62.0, 47.0)
        + np.repeat(rng.normal(0, 4, len(hourly) // 6 + 1), 6)[: len(hourly)]
    )
    climate = pl.DataFrame({"at": hourly, "rh": rh})
    seen = np.array([rh[int((at(k) - START).total_seconds() // 3600) + 60] for k in range(N)])
    found = told(snapshot(shop(**FEW), {RELIEF: NOISE + 0.15 * (seen - 47)}, climate=climate))
    assert HUMIDITY in [name for name, _ in names(found)]


@pytest.mark.promise
@pytest.mark.parametrize("kind", KINDS)
def test_the_planted_one_is_named_and_nothing_for_nothing(kind):
    found = trial(np.random.default_rng([20270102, KINDS.index(kind)]), kind, 100)
    if kind == "none":
        assert 1 - found.any / found.signalled >= 0.93
    else:
        assert found.signalled >= 10
        assert found.right / found.signalled >= 0.88 - 2 * np.sqrt(0.88 * 0.12 / found.signalled)
