"""Lots of incoming necks: which reading stands for a neck, what is null, and what the plan says."""

from math import sqrt

import numpy as np
import polars as pl
import pytest

from analysis.methods.segments import dense
from analysis.studies.necks.lots import KEY, LOTS, OF_NECK, _largest, lot_rows, more_than_came, necks
from analysis.studies.story.story import story
from ingest.terms import tables
from tests.analysis.studies.measured import made, visit

SPEC = {"characteristic": "neck_bow", "target": 0.0, "lower": -0.1, "upper": 0.25}
PLAN = {"plan": [{"characteristic": "neck_bow", "sample": 5, "accept": 1}]}


def lot(values, name="L1", *, supplier="Oxbow", start=0, **more):
    return [
        visit(
            f"{name}-{k:03d}", start + k, "receiving", readings={"neck_bow": value}, supplier=supplier, lot=name, **more
        )
        for k, value in enumerate(values)
    ]


def row(snapshot, name="L1"):
    return next(row for row in lot_rows(snapshot).iter_rows(named=True) if row["lot"] == name)


def test_the_figures_of_a_lot_by_hand():
    x = [0.10, 0.12, 0.08, 0.30, 0.05]
    found = row(made(lot(x), [SPEC], **PLAN))
    mean = sum(x) / 5
    sd = sqrt(sum((v - mean) ** 2 for v in x) / 4)
    ppk = min(0.25 - mean, mean + 0.1) / (3 * sd)
    half = 1.96 * sqrt(1 / 45 + ppk**2 / 8)
    assert (found["n"], found["mean"], found["sd"], found["ppk"]) == (
        5,
        pytest.approx(mean),
        pytest.approx(sd),
        pytest.approx(ppk),
    )
    assert (found["ppk_low"], found["ppk_high"]) == (
        pytest.approx(ppk - half, abs=1e-4),
        pytest.approx(ppk + half, abs=1e-4),
    )
    # 1 of 5 by Clopper & Pearson: .0051 to .7164
    assert (found["outside"], found["outside_low"], found["outside_high"]) == (
        0.2,
        pytest.approx(0.0051, abs=5e-5),
        pytest.approx(0.7164, abs=5e-5),
    )
    assert lot_rows(made(lot(x), [SPEC], **PLAN)).schema == LOTS


@pytest.mark.parametrize(
    ("values", "verdict"),
    [
        ([0.1] * 5, "accept"),
        ([0.1] * 4 + [0.3], "accept"),
        ([0.1] * 3 + [0.3] * 2, "reject"),
        ([0.1] * 4, "too few"),
        ([0.3] * 2, "reject"),
        ([0.1] * 5 + [0.3] * 5, "accept"),
    ],
)
def test_the_plan_counts_its_sample_of_the_first_necks(values, verdict):
    assert row(made(lot(values), [SPEC], **PLAN))["verdict"] == verdict


def test_a_supplier_s_own_plan_goes_before_everybody_s_and_without_one_nothing_is_said():
    everybody = {"characteristic": "neck_bow", "sample": 2, "accept": 0}
    plans = {"plan": [everybody, everybody | {"sample": 9, "supplier": "Oxbow"}]}
    snapshot = made(lot([0.1] * 3) + lot([0.1] * 3, "T1", supplier="Tansy", start=50), [SPEC], **plans)
    assert (row(snapshot)["verdict"], row(snapshot, "T1")["verdict"]) == ("too few", "accept")
    assert row(made(lot([0.1] * 3), [SPEC]))["verdict"] is None


def test_the_edge_further_from_straight_stands_for_a_neck():
    rows = [
        visit("A", 0, "receiving", readings={"neck_bow bass": 0.05, "neck_bow treble": -0.12}, supplier="O", lot="1"),
        visit("B", 1, "receiving", readings={"neck_bow bass": 0.2, "neck_bow treble": 0.1}, supplier="O", lot="1"),
    ]
    snapshot = made(rows, [SPEC])
    assert sorted(necks(snapshot)["value"].to_list()) == [-0.12, 0.2]
    assert row(snapshot, "1")["outside"] == 0.5


def test_where_the_specs_of_a_lot_differ_its_share_is_null_and_the_count_by_plan_stands():
    specs = [SPEC, SPEC | {"model": "WREN", "upper": 0.05}]
    other = {"readings": {"neck_bow": 0.1}, "supplier": "Oxbow", "lot": "L1", "model": "WREN"}
    snapshot = made(
        [*lot([0.1] * 3), visit("W1", 20, "receiving", **other), visit("W2", 21, "receiving", **other)], specs, **PLAN
    )
    found = row(snapshot)
    assert [found[name] for name in ("ppk", "ppk_low", "outside", "outside_low")] == [None] * 4
    assert (found["n"], found["verdict"]) == (5, "reject")


def test_without_limits_a_lot_has_only_its_mean_and_spread():
    found = row(made(lot([0.1, 0.2, 0.15]), **PLAN))
    assert (found["n"], found["mean"]) == (3, pytest.approx(0.15))
    assert [found[name] for name in ("ppk", "outside", "verdict")] == [None] * 3


def test_one_neck_has_a_mean_and_no_spread():
    found = row(made(lot([0.1]), [SPEC]))
    assert (found["n"], found["mean"], found["sd"], found["ppk"], found["outside"]) == (1, 0.1, None, None, 0.0)


def test_parts_without_a_serial_count_by_their_lot_and_once_when_linked_later():
    parts = [
        visit("", k, "receiving", readings={"neck_bow": 0.1 + k / 100}, supplier="Oxbow", lot="L1", neck=f"n{k}")
        for k in range(3)
    ]
    loose = [visit("", 5 + k, "receiving", readings={"neck_bow": 0.2}, supplier="Oxbow", lot="L1") for k in range(2)]
    linked = visit("S1", 30, "neck", neck="n1")
    assert row(made([*parts, *loose], [SPEC]))["n"] == 5
    snapshot = made([*parts, *loose, linked], [SPEC])
    assert row(snapshot)["n"] == 5
    assert necks(snapshot).filter(necks(snapshot)["serial"] == "S1")["value"].to_list() == [0.11]


def test_a_second_look_at_a_neck_is_no_second_neck():
    rows = [
        visit("A", 0, "receiving", readings={"neck_bow": 0.3}, supplier="O", lot="1"),
        visit("A", 5, "receiving", readings={"neck_bow": 0.1}),
    ]
    found = row(made(rows, [SPEC]), "1")
    assert (found["n"], found["mean"]) == (1, 0.3)


def came(name, quantity, **more):
    return {"lots": pl.DataFrame([{"supplier": "Oxbow", "lot": name, "quantity": quantity, **more}])}


def test_a_lot_measured_whole_has_no_interval_and_a_sample_of_it_a_finite_one():
    x = [0.10, 0.12, 0.08, 0.30, 0.05]
    every = row(made(lot(x), [SPEC], frames=came("L1", 5)))
    assert (every["outside"], every["outside_low"], every["outside_high"]) == (0.2, 0.2, 0.2)
    part = row(made(lot(x), [SPEC], frames=came("L1", 10)))
    # 1 of 5 from 10: with 6 bad ones P(at most 1) is .0238 (6 / 252), with 5 .1032; one bad gives it half the time
    assert (part["outside_low"], part["outside_high"]) == (0.1, 0.5)
    few = made(lot(x), [SPEC], frames=came("L1", 4))
    assert row(few)["outside_high"] == pytest.approx(0.7164, abs=5e-5)  # how many came is then not known
    assert more_than_came(few).rows() == [("Oxbow", "L1", "neck_bow", 5, 4)]


def test_a_plan_s_sample_is_at_most_the_lot():
    assert row(made(lot([0.1] * 4), [SPEC], **PLAN))["verdict"] == "too few"
    assert row(made(lot([0.1] * 4), [SPEC], frames=came("L1", 4), **PLAN))["verdict"] == "accept"


def test_a_neck_on_the_limit_is_told_beside_and_does_not_count_against_the_plan():
    leaves = [{"key": "leaves", "measures": ["neck_bow"], "resolution": "0.001 in"}]
    x = [0.254, 0.254, -0.1016, 0.2794, 0.1]
    found = row(made(lot(x), [SPEC], gauge=leaves, **PLAN))
    assert (found["outside"], found["on_limit"], found["verdict"]) == (0.2, 3, "accept")
    assert row(made(lot(x), [SPEC], **PLAN))["verdict"] == "reject"


def test_a_plan_by_measurement_judges_mean_and_spread():
    plan = {"plan": [{"characteristic": "neck_bow", "sample": 5, "k": 1.5}]}
    one_sided = SPEC | {"lower": None}
    good, bad = [0.10, 0.12, 0.08, 0.11, 0.09], [0.20, 0.25, 0.18, 0.24, 0.19]
    assert row(made(lot(good), [one_sided], **plan))["verdict"] == "accept"
    assert row(made(lot(bad), [one_sided], **plan))["verdict"] == "reject"  # (0.25 - 0.212) / 0.031 = 1.2
    assert row(made(lot(good[:4]), [one_sided], **plan))["verdict"] == "too few"
    assert row(made(lot([0.1] * 5), [one_sided], **plan))["verdict"] == "accept"


def test_necks_are_those_of_a_table_sorted_twice(demo):
    found = demo.once(story).readings.filter(
        (pl.col("role") == "receiving") & (pl.col("round") == 1) & pl.col("first_pass") & (pl.col("moment") == "found"),
        pl.col("value").is_not_null(),
        (pl.col("supplier") != "") | (pl.col("lot") != ""),
    )
    plain = tables.plain(found).sort("characteristic", "part", -pl.col("value").abs(), "position", maintain_order=True)
    plain = plain.unique(["characteristic", "part"], keep="first", maintain_order=True)
    plain = plain.sort(*KEY, "taken_at", "serial", "line", maintain_order=True)
    assert len(plain) > 1000
    assert len(found) > len(plain)
    assert demo.once(necks).select(OF_NECK).equals(plain.select(OF_NECK))


def test_of_a_neck_the_largest_reading_stands_of_several_alike_the_first_by_position():
    rng = np.random.default_rng(20261202)
    neck, value = rng.integers(0, 300, 2000), rng.integers(-3, 4, 2000) / 10
    value[rng.random(2000) < 0.02] = np.nan
    position = rng.integers(0, 3, 2000)
    rows = pl.DataFrame({"neck": neck, "size": -np.abs(value), "position": position}).with_row_index("at")
    plain = rows.sort("neck", "size", "position", maintain_order=True).unique("neck", keep="first", maintain_order=True)
    assert _largest(dense(neck), value, position).tolist() == plain["at"].to_list()
