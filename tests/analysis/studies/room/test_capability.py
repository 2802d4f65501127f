"""Capability rows against a plain recount: what n, mean, the spreads and the indices are, under which spec, and which
words flag a row.
"""

from datetime import date
from itertools import pairwise
from math import erf, sqrt

import numpy as np
import polars as pl
import pytest
from scipy.stats import norm

from analysis.studies.room import capability
from analysis.studies.room.capability import CAPABILITY, capability_rows
from tests.analysis.studies.measured import made, visit

D2 = 2 / sqrt(np.pi)  # mean range of two, in standard deviations
SPEC = {"characteristic": "relief", "target": 0.2, "lower": 0.05, "upper": 0.35}


def necks(values, *, tech="T1", start=0.0, **more):
    """Instruments straightened one after the other, and their relief as found at the play test."""
    rows = []
    for place, value in enumerate(values):
        s = f"S{start:05.0f}{place:04d}"
        rows.append(visit(s, start + place, "neck", tech=tech, **more))
        rows.append(
            visit(
                s, start + place + 0.5, "play", tech="T9", readings={} if value is None else {"relief": value}, **more
            )
        )
    return rows


def row_of(snapshot, **wanted):
    found = capability_rows(snapshot).filter(
        [pl.col(name) == value for name, value in ({"tech": "", "stage": "play"} | wanted).items()]
    )
    assert found.height == 1
    return found.row(0, named=True)


def by_hand(x, *, target, lower, upper):
    """The indices from their definitions, in loops."""
    n, mean = len(x), sum(x) / len(x)
    short = sum(abs(b - a) for a, b in pairwise(x)) / (n - 1) / D2
    long = sqrt(sum((v - mean) ** 2 for v in x) / (n - 1))
    rooms = [
        room
        for room in (None if upper is None else upper - mean, None if lower is None else mean - lower)
        if room is not None
    ]
    both = lower is not None and upper is not None
    ppk = min(rooms) / (3 * long)
    half = 1.96 * sqrt(1 / (9 * n) + ppk**2 / (2 * (n - 1)))
    return {
        "n": n,
        "mean": mean,
        "sd_short": short,
        "sd_long": long,
        "cp": (upper - lower) / (6 * short) if both else None,
        "cpk": min(rooms) / (3 * short),
        "pp": (upper - lower) / (6 * long) if both else None,
        "ppk": ppk,
        "ppk_low": ppk - half,
        "ppk_high": ppk + half,
        "cpm": (upper - lower) / (6 * sqrt(long**2 + (mean - target) ** 2)) if both and target is not None else None,
        "nonconforming": sum((lower is not None and v < lower) or (upper is not None and v > upper) for v in x),
    }


@pytest.mark.parametrize(
    "spec", [SPEC, SPEC | {"upper": None}, SPEC | {"lower": None, "target": None}, SPEC | {"target": None}]
)
def test_every_number_is_that_of_its_definition(spec):
    x = np.random.default_rng(11).normal(0.2, 0.06, 320).round(3).tolist()  # of fewer any hint of tails is minded
    row = row_of(made(necks(x), [spec]))
    wanted = by_hand(x, target=spec["target"], lower=spec["lower"], upper=spec["upper"])
    for name, value in wanted.items():
        assert row[name] == (
            None if value is None else pytest.approx(value, rel=1e-9, abs=2e-5 if name.startswith("ppk_") else 1e-12)
        ), name
    assert (row["target"], row["lower"], row["upper"]) == (spec["target"], spec["lower"], spec["upper"])


def test_the_share_outside_has_its_exact_interval():
    x = [0.2, 0.21] * 9 + [0.5, 0.19]
    row = row_of(made(necks(x), [SPEC]))
    # 1 of 20, 95 % by Clopper & Pearson: .0013 to .2487 (any table of exact binomial limits)
    assert row["nonconforming"] == 1
    assert (row["nonconforming_low"], row["nonconforming_high"]) == (
        pytest.approx(0.0013, abs=5e-5),
        pytest.approx(0.2487, abs=5e-5),
    )


def test_a_reading_on_a_limit_conforms_also_in_inches():
    x = [0.35, 0.05, 1 / 64 * 25.4, 0.2]
    assert row_of(made(necks(x), [SPEC | {"upper": 0.396875}]))["nonconforming"] == 0
    assert row_of(made(necks([0.35000001, 0.2, 0.2]), [SPEC]))["nonconforming"] == 1


def test_a_changed_spec_begins_a_row_by_the_date_it_was_set():
    changed = [SPEC, SPEC | {"target": 0.25, "from_date": date(2026, 3, 3)}]
    # the last instrument is set on 2 March and read on the 3rd: the old spec holds
    rows = [
        *necks([0.2, 0.21, 0.22]),
        visit("Z1", 3, "neck", tech="T1"),
        visit("Z1", 30, "play", readings={"relief": 0.5}),
    ]
    rows += necks([0.3, 0.31], start=48)
    told = capability_rows(made(rows, changed)).filter((pl.col("tech") == "") & (pl.col("stage") == "play"))
    assert told.select("target", "n", "nonconforming").rows() == [(0.2, 4, 1), (0.25, 2, 0)]
    assert told["first_at"].is_sorted()


def test_each_tech_has_a_row_and_readings_without_a_setter_count_for_all_only():
    rows = [
        *necks([0.2, 0.22, 0.21], tech="T1"),
        *necks([0.3, 0.32], tech="T2", start=20),
        visit("N", 40, "play", readings={"relief": 0.1}),
    ]
    told = capability_rows(made(rows, [SPEC])).filter(pl.col("stage") == "play")
    assert dict(told.select("tech", "n").rows()) == {"": 6, "T1": 3, "T2": 2}


def test_only_first_pass_found_readings_of_round_one_count():
    rows = [
        visit("A", 0, "neck", tech="T1"),
        visit("A", 1, "play", "send back", readings={"relief": 0.5}, left={"relief": 0.2}),
        visit("A", 2, "play", readings={"relief": 0.2}),
        visit("A", 3, "packing"),
        visit("A", 50, "play", "return", readings={"relief": 0.6}),
        visit("B", 4, "play", readings={}),
        visit("B", 5, "play", readings={"relief": 0.21}),
    ]
    row = row_of(made(rows, [SPEC]))  # B's first pass had no value: no reading, and its second pass is none either
    assert (row["n"], row["mean"], row["nonconforming"]) == (1, 0.5, 1)
    assert [row[name] for name in ("sd_short", "sd_long", "cp", "ppk", "ppk_low")] == [None] * 5


@pytest.mark.parametrize("at_once", [capability.CELLS_SEEN, 1])
def test_any_counts_instruments_outside_at_one_position_or_more(monkeypatch, at_once):
    monkeypatch.setattr(capability, "CELLS_SEEN", at_once)  # 1: one model and stage after the other
    spec = {"characteristic": "action", "target": 2.0, "lower": 1.8, "upper": 2.2}
    pairs = [(2.0, 2.0), (2.5, 2.0), (2.5, 2.6), (2.0, 1.0), (2.1, 1.9)]
    rows = [
        visit(f"S{k}", k, "play", readings={"action bass": a, "action treble": b}) for k, (a, b) in enumerate(pairs)
    ]
    rows += [visit("S0", 9, "final", readings={"action bass": 2.5, "action treble": 2.5})]
    every = capability_rows(made(rows, [spec]))
    told = {row["position"]: row for row in every.filter(pl.col("stage") == "play").iter_rows(named=True)}
    assert every.filter(stage="final", position="any").select("n", "nonconforming").rows() == [(1, 1)]
    assert [told[name]["nonconforming"] for name in ("bass", "treble", "any")] == [2, 2, 3]
    assert told["any"]["n"] == 5
    rest = set(CAPABILITY) - {
        "characteristic",
        "position",
        "model",
        "stage",
        "tech",
        "n",
        "nonconforming",
        "first_at",
        "last_at",
        "flags",
    }
    assert all(told["any"][name] is None for name in rest)


def test_without_a_spec_there_is_no_row_and_with_a_target_alone_no_count():
    assert capability_rows(made(necks([0.2, 0.21, 0.22]))).is_empty()
    row = row_of(
        made(necks([0.2, 0.21, 0.22]), [{"characteristic": "relief", "target": 0.2, "lower": None, "upper": None}])
    )
    assert (row["n"], row["nonconforming"], row["ppk"], row["expected_ppm"]) == (3, None, None, None)


def test_models_of_one_setup_share_a_row():
    models = [
        {"key": "LARK", "family": "tenor ukulele", "setup": "tenor"},
        {"key": "FINCH", "family": "tenor ukulele", "setup": "tenor"},
    ]
    rows = necks([0.2, 0.21]) + necks([0.22], start=10, model="FINCH")
    row = row_of(made(rows, [SPEC], model=models))
    assert (row["model"], row["n"]) == ("tenor", 3)


def flags(x, **more):
    quiet = {
        "judging": {"false_signals_per_week": 0.001}
    }  # with one stream alone the usual budget would be spent on it
    return row_of(made(necks(x), [SPEC], **quiet, **more))["flags"].split(";")


def test_flags_say_thin_coarse_and_not_normal():
    rng = np.random.default_rng(12)
    assert flags(rng.normal(0.2, 0.02, 24).tolist()) == ["thin"]
    assert flags([0.2] * 30) == ["thin"]
    assert flags(rng.normal(0.2, 0.02, 80).tolist()) == [""]
    coarse = [{"key": "leaves", "measures": ["relief"], "resolution": "0.1 mm"}]
    read = (rng.normal(0.2, 0.03, 80) / 0.1).round() * 0.1
    assert flags(read.tolist(), gauge=coarse) == ["coarse"]
    assert "not normal" in flags((0.1 + rng.exponential(0.05, 80)).tolist())
    slip = [*rng.normal(0.2, 0.02, 40), 2.0, *rng.normal(0.2, 0.02, 40)]
    assert "may be mistyped" in flags(slip)
    assert "may be mistyped" not in flags([*slip[:15], 2.0])  # among few nothing is taken for one


def test_a_skew_stream_is_counted_with_a_skew_curve_and_a_normal_one_with_the_normal():
    rng = np.random.default_rng(13)
    skew, even = (
        row_of(made(necks(x.tolist()), [SPEC | {"lower": None, "upper": upper}]))
        for x, upper in (
            (0.05 + rng.lognormal(-2.5, 0.6, 400), 0.3),
            (rng.permutation(0.2 + 0.05 * norm.ppf((np.arange(200) + 0.5) / 200)), 0.32),
        )
    )
    assert skew["distribution"] in ("lognormal", "gamma", "weibull", "Weibull")
    assert skew["expected_ppm_low"] < skew["expected_ppm"] < skew["expected_ppm_high"]
    assert even["distribution"] == "normal"
    z = (0.32 - even["mean"]) / even["sd_long"]
    assert even["expected_ppm"] == pytest.approx(1e6 * 0.5 * (1 - erf(z / sqrt(2))), rel=1e-9)


def test_a_signal_within_the_dates_says_not_steady():
    rng = np.random.default_rng(14)
    x = np.append(rng.normal(0.2, 0.02, 100), rng.normal(0.3, 0.02, 60))
    assert "not steady" in flags(x.tolist())


def test_a_tail_that_the_readings_do_not_bear_out_is_null():
    rng = np.random.default_rng(15)
    few = row_of(made(necks(rng.normal(0.2, 0.04, 50).tolist()), [SPEC]))  # 3.7 sigma away on 50 readings
    heavy = row_of(made(necks((0.2 + 0.03 * rng.standard_t(3, 300)).tolist()), [SPEC]))
    for row in (few, heavy):
        assert (row["expected_ppm"], row["expected_ppm_low"], row["expected_ppm_high"]) == (None, None, None)
        assert row["ppk_low"] < row["ppk"] < row["ppk_high"]


def test_bounds_rest_on_independent_readings():
    rng = np.random.default_rng(16)
    x = rng.normal(0.2, 0.04, 300)
    even = row_of(made(necks(x.tolist()), [SPEC]))
    assert even["n_effective"] == 300
    walk = x.copy()
    for at in range(1, 300):
        walk[at] = 0.2 + 0.7 * (walk[at - 1] - 0.2) + 0.7 * (x[at] - 0.2)
    row = row_of(made(necks(walk.tolist()), [SPEC]))
    assert 20 < row["n_effective"] < 200
    assert "dependent" in row["flags"]
    n, ppk = row["n_effective"], row["ppk"]
    half = 1.96 * sqrt(1 / (9 * n) + ppk**2 / (2 * (n - 1)))
    assert (row["ppk_low"], row["ppk_high"]) == (pytest.approx(ppk - half), pytest.approx(ppk + half))


def test_under_six_readings_have_an_index_without_bounds():
    row = row_of(made(necks([0.2, 0.22, 0.19, 0.21]), [SPEC]))
    assert row["ppk"] > 0
    assert (row["ppk_low"], row["ppk_high"], row["n_effective"]) == (None, None, 4)


def test_on_the_limit_stands_beside_outside():
    leaves = [{"key": "leaves", "measures": ["relief"], "resolution": "0.05 mm"}]
    row = row_of(made(necks([0.2, 0.35, 0.40, 0.05, 0.15]), [SPEC], gauge=leaves))
    assert (row["n"], row["nonconforming"], row["on_limit"]) == (5, 1, 2)
