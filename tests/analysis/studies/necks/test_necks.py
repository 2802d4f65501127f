"""Necks for the supplier talk: intervals, edges, plan in words, parts without a serial, and where the spread lies."""

import numpy as np
import polars as pl
import pytest
from scipy import stats

from analysis.methods.problems import UnusableData
from analysis.studies.necks import lots
from analysis.studies.necks.necks import by_lot, parts, plan_words, variance
from tests.analysis.studies.measured import made, visit

SPEC = {"characteristic": "neck_bow", "lower": -0.1, "upper": 0.25}
PLAN = {"plan": [{"characteristic": "neck_bow", "sample": 50, "accept": 2}]}
CHARACTERISTICS = {
    "characteristic": [{"key": "relief", "set_at": "neck"}, {"key": "neck_bow", "positions": ["bass", "treble"]}]
}


def lot(name, bass, treble, *, supplier="Oxbow", start=0, rh=None):
    same = {"supplier": supplier, "lot": name, "rh": rh}
    edges = [{"neck_bow bass": float(a), "neck_bow treble": float(b)} for a, b in zip(bass, treble, strict=True)]
    return [
        visit(f"{name}-{k:03d}", start + k / 10, "receiving", readings=pair, **same) for k, pair in enumerate(edges)
    ]


def test_a_lot_s_row_holds_intervals_edges_and_how_the_necks_had_lain():
    rng = np.random.default_rng(91)
    bass = rng.normal(0.15, 0.03, 40)
    known = pl.DataFrame(
        [
            {
                "supplier": "Oxbow",
                "lot": "L1",
                "model": "LARK",
                "quantity": 40,
                "rod_state": "slack",
                "hours_acclimatised": 72.0,
            }
        ]
    )
    snapshot = made(lot("L1", bass, bass - 0.02, rh=46.0), [SPEC], frames={"lots": known}, **PLAN, **CHARACTERISTICS)
    row = by_lot(snapshot).row(0, named=True)
    half = float(stats.t.isf(0.025, 39)) * bass.std(ddof=1) / np.sqrt(40)
    assert (row["mean_low"], row["mean_high"]) == (pytest.approx(bass.mean() - half), pytest.approx(bass.mean() + half))
    assert row["sd_low"] < bass.std(ddof=1) < row["sd_high"]
    assert (row["edges"], row["edges_sd"]) == (pytest.approx(0.02), pytest.approx(0.0, abs=1e-9))
    assert (row["rh"], row["hours_acclimatised"], row["rod_state"], row["quantity"], row["few"]) == (
        46.0,
        72.0,
        "slack",
        40,
        False,
    )
    assert (row["verdict"], row["measured_verdict"]) == (
        "accept",
        "accept",
    )  # the plan's sample is at most the 40 that came
    assert row["models"] == "LARK"
    assert row["gauge_share"] is None


def test_by_measurement_a_lot_far_inside_passes_and_one_on_the_limit_does_not():
    rng = np.random.default_rng(92)
    good, bad = rng.normal(0.1, 0.03, 40), rng.normal(0.22, 0.03, 40)
    snapshot = made([*lot("G", good, good), *lot("B", bad, bad, start=100)], [SPEC], **PLAN, **CHARACTERISTICS)
    told = {row["lot"]: row for row in by_lot(snapshot).iter_rows(named=True)}
    assert (told["G"]["measured_verdict"], told["B"]["measured_verdict"]) == ("accept", "reject")
    assert told["B"]["expected_outside"] > 0.05 > told["G"]["expected_outside"]


def test_a_plan_in_numbers_for_words():
    words = plan_words(made([visit("A", 0, "play")], **PLAN), made([visit("A", 0, "play")], **PLAN).shop.plans[0])
    for chance, share in words.accepted_at.items():
        assert stats.binom.cdf(2, 50, share) == pytest.approx(chance)
    assert words.accepted_at[0.5] == pytest.approx(0.053, abs=5e-4)
    assert words.measured_sample is not None
    assert words.measured_sample < 50


def test_parts_linked_later_are_counted_apart_from_those_judged_by_lot_alone():
    loose = [
        visit("", k, "receiving", supplier="O", lot="1", neck=f"n{k}", readings={"neck_bow bass": 0.1})
        for k in range(4)
    ]
    found = parts(made([*loose, visit("S1", 50, "neck", neck="n2")], **CHARACTERISTICS))
    assert (found.measured, found.linked, found.unlinked) == (4, 1, 3)


def test_the_spread_is_split_between_suppliers_lots_and_necks():
    rng = np.random.default_rng(93)
    visits = []
    for supplier, level in (("O", 0.0), ("T", 0.1), ("M", 0.2)):
        for k in range(12):
            x = level + rng.normal(scale=0.05) + rng.normal(scale=0.02, size=15)
            visits += lot(f"{supplier}{k}", x + 0.3, x + 0.29, supplier=supplier, start=10 * k)
    found = variance(made(visits, **CHARACTERISTICS), "neck_bow")
    assert found.fixed
    assert (found.groups, found.batches, found.n) == (3, 36, 540)
    assert np.sqrt(found.within) == pytest.approx(0.02, rel=0.15)
    assert np.sqrt(found.batch) == pytest.approx(0.05, rel=0.4)
    assert np.sqrt(found.group) == pytest.approx(0.1, rel=0.4)
    with pytest.raises(UnusableData, match="no neck"):
        variance(made(visits, **CHARACTERISTICS), "relief")


def test_the_spread_of_one_model_or_setup_is_split_from_its_own_necks_alone():
    shop = {"model": [{"key": "LARK", "family": "guitar", "setup": "DREAD"}, {"key": "WREN", "family": "guitar"}]}
    rng = np.random.default_rng(95)
    visits = []
    for k in range(6):
        quiet, wild = rng.normal(0.2, 0.01, 8), rng.normal(0.2, 0.2, 8)
        visits += lot(f"L{k}", quiet, quiet, start=10 * k)
        visits += [one | {"model": "WREN"} for one in lot(f"W{k}", wild, wild, start=200 + 10 * k)]
    snapshot = made(visits, **CHARACTERISTICS, **shop)
    whole = variance(snapshot, "neck_bow")
    assert whole.n == 96
    for name in ("LARK", "DREAD"):
        own = variance(snapshot, "neck_bow", model=name)
        assert (own.n, own.batches) == (48, 6)
        assert np.sqrt(own.within) == pytest.approx(0.01, rel=0.3)
    assert variance(snapshot, "neck_bow", model="WREN").n == 48
    with pytest.raises(UnusableData, match="no neck"):
        variance(snapshot, "neck_bow", model="HERON")


def test_no_neck_at_all_is_an_empty_table():
    assert by_lot(made([visit("A", 0, "play")], **PLAN)).is_empty()


def test_every_row_of_lots_is_there_and_unchanged():
    rng = np.random.default_rng(94)
    snapshot = made(
        [*lot("L1", rng.normal(0.1, 0.05, 30), rng.normal(0.1, 0.05, 30)), *lot("L2", [0.1], [0.2], start=90)],
        [SPEC],
        **CHARACTERISTICS,
    )
    assert by_lot(snapshot).select(lots.LOTS.keys()).equals(lots.lot_rows(snapshot))
