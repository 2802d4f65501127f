"""The pattern of one instrument, and the weekly shares: charts whose points are judged one by one."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import f as fisher

from analysis.studies.drift.pattern_list import pattern_list
from analysis.studies.drift.shares import shares
from analysis.studies.drift.signals import signals
from analysis.studies.drift.watching import SHARE
from analysis.studies.rework.stage_weeks import weekly_shares
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.benches import bench
from tests.analysis.studies.drifting import at, shop, snapshot

N = 240
RNG = np.random.default_rng(20270103)
BASS = RNG.normal(2.5, 0.1, N)
TREBLE = BASS - 0.5 + RNG.normal(0, 0.03, N)  # both edges move together
RELIEF = RNG.normal(0.2, 0.03, N)


def made(
    bass: np.ndarray = BASS, treble: np.ndarray = TREBLE, relief: np.ndarray = RELIEF, **judging: object
) -> Snapshot:
    judging = judging or {"false_signals_per_week": 0.05}
    return snapshot(shop(**judging), {("action", "bass"): bass, ("action", "treble"): treble, ("relief", ""): relief})


def odd_pair() -> tuple[np.ndarray, np.ndarray]:
    """Instrument 150: each edge within its usual range, the pair against the grain."""
    bass, treble = BASS.copy(), TREBLE.copy()
    bass[150], treble[150] = 2.65, 1.85
    return bass, treble


def test_an_instrument_whose_every_number_passes_and_whose_pattern_is_wrong_is_listed_and_opens_nothing():
    snap = made(*odd_pair())
    judged = snap.once(signals)
    marks = pattern_list(snap)
    assert [(mark.serial, mark.taken_at, mark.model, mark.stage) for mark in marks] == [
        ("S000150", at(150), "LARK", "final")
    ]
    assert marks[0].t2 == pytest.approx(judged.patterns[0].t2[150])
    assert set(marks[0].drivers["characteristic"]) == {"action"}
    assert judged.others.is_empty()
    assert judged.found.filter(pl.col("opened_at") == at(150)).is_empty()


def test_t2_and_its_limit_are_those_of_the_first_hundred_complete_instruments():
    # Tracy, Young & Mason (1992): phase II, p (n + 1)(n - 1) / (n (n - p)) F(p, n - p)
    pattern = made().once(signals).patterns[0]
    x = np.stack([{"bass": BASS, "treble": TREBLE, "": RELIEF}[position] for _, position in pattern.variables], axis=1)
    off = x - x[:100].mean(axis=0)
    assert pattern.t2 == pytest.approx(np.einsum("ni,ij,nj->n", off, np.linalg.inv(np.cov(x[:100].T)), off))
    assert pattern.limit(0.001) == pytest.approx(3 * 101 * 99 / (100 * 97) * fisher.isf(0.001, 3, 97))


def test_what_drives_it_is_the_pair_of_edges_and_not_the_relief():
    pattern = made(*odd_pair()).once(signals).patterns[0]
    told = pattern.drivers(150)
    assert set(told["characteristic"][:2]) == {"action"}
    assert told.filter(pl.col("characteristic") == "relief")["odd_given_others"].to_list() == [False]
    assert told["odd_given_others"][:2].to_list() == [True, True]
    assert told["odd_alone"].to_list() == [False] * 3


def test_an_instrument_that_lacks_a_reading_is_no_point():
    bass = BASS.copy()
    bass[[10, 150]] = np.nan
    assert len(made(bass).once(signals).patterns[0].t2) == N - 2


def test_nothing_is_judged_before_a_hundred_are_complete():
    assert made(BASS[:100], TREBLE[:100], RELIEF[:100]).once(signals).patterns == []
    bass, treble = odd_pair()
    bass[50], treble[50] = 2.65, 1.85
    assert "S000050" not in [mark.serial for mark in pattern_list(made(bass, treble))]


def test_one_characteristic_alone_is_no_pattern_and_a_coarse_one_stays_out():
    alone = snapshot(shop(), {("action", "bass"): BASS, ("action", "treble"): TREBLE})
    assert alone.once(signals).patterns == []
    columns = {("action", "bass"): np.round(BASS / 0.2) * 0.2, ("action", "treble"): TREBLE, ("relief", ""): RELIEF}
    coarse = snapshot(shop(gauges={"rule": 0.2}), columns)
    assert coarse.once(signals).patterns == []  # the rule measures all three: each is read too coarsely


def test_a_characteristic_that_follows_from_the_others_makes_no_chart_rather_than_an_error():
    assert made(treble=BASS - 0.5).once(signals).patterns == []


@pytest.mark.promise
def test_steady_instruments_are_called_odd_as_often_as_the_budget_allows():
    rng = np.random.default_rng(20270104)
    fired = points = 0
    for _ in range(
        40
    ):  # limits that allow for the estimated mean and covariance: the rate holds as a mean over baselines
        x = rng.normal(size=(3, 1100))
        pattern = (
            snapshot(shop(), {("action", "bass"): x[0], ("action", "treble"): x[1], ("relief", ""): x[2]})
            .once(signals)
            .patterns[0]
        )
        fired += int((pattern.t2[100:] > pattern.limit(0.005)).sum())
        points += 1000
    assert fired / points == pytest.approx(0.005, rel=0.2)


def shares_bench(bad_week: int) -> Snapshot:
    """Thirteen weeks of eight instruments; in one week all come back to the nut."""
    lines = []
    for week in range(13):
        for k in range(8):
            serial, day = f"W{week:02}I{k}", 2 + 7 * week  # days of the year are counted on below
            back = week == bad_week
            lines += [f"{serial} {day} 9:{k:02} nut pass"]
            lines += (
                [f"{serial} {day} 10:{k:02} play send_back cause=nut", f"{serial} {day} 11:{k:02} nut pass"]
                if back
                else []
            )
            lines += [f"{serial} {day} 12:{k:02} play pass", f"{serial} {day} 13:{k:02} final pass"]
    return bench_over_weeks(lines)


def bench_over_weeks(lines: list[str]) -> Snapshot:
    """benches.bench knows the days of March only: lay the lines there and move each to its day."""
    days = [int(line.split()[1]) for line in lines]
    march = [" ".join([line.split()[0], "2", *line.split()[2:]]) for line in lines]
    made = bench("\n".join(march))
    visits = (
        made.table("visits").sort("line").with_columns(pl.col("finished_at") + pl.duration(days=pl.Series(days) - 2))
    )
    readings = pl.DataFrame(
        {
            "log_id": ["log"],
            "line": [len(lines)],
            "serial": [visits["serial"][-1]],
            "stage": ["final"],
            "taken_at": [visits["finished_at"][-1]],
            "characteristic": ["relief"],
            "moment": ["found"],
            "value": [0.2],
        }
    )
    return Snapshot.of(made.shop, visits=visits, readings=readings)


def test_a_week_in_which_far_more_came_back_opens_a_share_signal_dated_by_the_week():
    snap = shares_bench(bad_week=10)
    judged = snap.once(signals)
    rows = judged.others.filter(pl.col("chart") == SHARE)
    week = weekly_shares(snap).filter(pl.col("state") == "above")["week"][0]
    assert rows.select("stage", "value", "came_back", "serial", "rule").rows() == [("nut", 1.0, 8, "", "beyond")]
    assert rows["opened_at"].dt.date().to_list() == [week]


def test_a_first_week_has_nothing_to_be_judged_by():
    found = shares(shares_bench(bad_week=0))
    assert not found.judged[found.starts].any()
    assert (
        shares_bench(bad_week=0)
        .once(signals)
        .others.filter((pl.col("chart") == SHARE) & (pl.col("size") > 0))
        .is_empty()
    )
