"""One group against another: a planted step is found with its size, equals show none, models are compared one by one,
and the interval holds what it promises where lots differ.
"""

import shutil
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.drift.against import Side, against, compare, else_of
from tests.dashboard.pages import moving_shop

WHAT = {"characteristic": "action", "position": "treble", "stage": "final_inspection"}
STEP = moving_shop.day(moving_shop.STEP).date()
SEED = 20261129


@pytest.fixture
def shop(moving_desk):
    return moving_desk.snapshot()


def test_a_period_against_the_one_before_shows_the_planted_step(shop):
    since, before = Side(model="LARK-25", first=STEP), Side(model="LARK-25", last=STEP - timedelta(days=1))
    found = against(shop, **WHAT, a=since, b=before)
    assert (found.a.n, found.b.n, found.both) == (40, 160, 0)
    assert found.apart.sure
    assert found.apart.low < moving_shop.MOVED_BY < found.apart.high
    assert found.apart.difference == pytest.approx(found.a.mean - found.b.mean)
    turned = against(shop, **WHAT, a=before, b=since)
    assert turned.apart.difference == pytest.approx(-found.apart.difference)


def test_setters_who_do_the_same_show_no_difference_at_the_same_mix_of_models(shop):
    found = against(shop, **WHAT, a=Side(tech="T01"), b=Side(tech="T02"))
    assert set(found.models) == {"LARK-25", "HERON-D", "WREN-S"}
    assert not found.apart.sure
    assert found.apart.low < 0 < found.apart.high


def test_an_empty_second_side_is_everything_else_of_that_model(shop):
    a = Side(model="LARK-25", first=STEP)
    b = else_of(a, Side())
    assert b == Side(model="LARK-25")
    found = against(shop, **WHAT, a=a, b=b)
    assert (found.a.n, found.b.n, found.both) == (40, 160, 40)
    assert else_of(Side(model="LARK-25"), Side()) == Side()
    assert else_of(a, Side(model="WREN-S")) == Side(model="WREN-S")


def test_outside_is_counted_with_its_interval_over_what_limits_hold_for(shop):
    found = against(shop, **WHAT, a=Side(model="LARK-25", first=STEP), b=Side(model="LARK-25"))
    assert found.a.limited == 40
    assert found.a.outside == int(found.a.readings["outside"].sum())
    assert found.a.outside_low <= found.a.outside / 40 <= found.a.outside_high


def test_too_few_on_a_side_is_said_and_what_was_never_read_is_refused(shop):
    found = against(shop, **WHAT, a=Side(lot="NOPE"), b=Side())
    assert (found.a.n, found.a.mean, found.apart) == (0, None, None)
    with pytest.raises(UnusableData, match="nothing was read"):
        against(shop, **{**WHAT, "stage": "packing"}, a=Side(), b=Side())


def with_specs_of(moving_desk, folder, rows):
    shutil.copytree(moving_desk.folder, folder)
    head = moving_shop.SPECS.split("\n")[0]
    (folder / "specs.csv").write_text("\n".join([head, *rows]) + "\n")
    return moving_shop.desk(folder).snapshot()


def test_models_made_to_different_targets_are_each_taken_from_their_own(moving_desk, tmp_path):
    lark, heron = Side(model="LARK-25", last=STEP - timedelta(days=1)), Side(model="HERON-D")
    rows = ["action,treble,LARK-25,2.40,2.00,2.80,mm", "action,treble,HERON-D,2.10,1.70,2.50,mm"]
    found = against(with_specs_of(moving_desk, tmp_path / "both", rows), **WHAT, a=heron, b=lark)
    assert (found.other_targets, found.from_target) == (True, True)
    assert found.apart.low < 0.30 < found.apart.high  # both were set to 2.40
    assert found.a.mean == pytest.approx(0.30, abs=0.03)
    assert found.a.readings["upper"].unique().to_list() == [pytest.approx(0.40)]
    alone = against(with_specs_of(moving_desk, tmp_path / "one", rows[:1]), **WHAT, a=heron, b=lark)
    assert (alone.other_targets, alone.from_target) == (True, False)


def test_one_model_and_one_target_are_compared_as_they_were_read(shop):
    found = against(shop, **WHAT, a=Side(model="LARK-25", first=STEP), b=Side(model="LARK-25"))
    assert (found.other_targets, found.from_target) == (False, False)
    mixed = against(shop, **WHAT, a=Side(model="LARK-25"), b=Side())  # all have the target 2.40
    assert (mixed.other_targets, mixed.from_target) == (False, False)


def frame(values, lots, days, setups):
    start = datetime(2026, 3, 2, 8, tzinfo=UTC)
    n = len(values)
    return pl.DataFrame(
        {
            "setup": setups,
            "supplier": ["S"] * n,
            "lot": [f"L{k}" for k in lots],
            "day": [date(2026, 3, 2) + timedelta(days=int(d)) for d in days],
            "taken_at": [start + timedelta(days=int(d), minutes=k % 500) for k, d in enumerate(days)],
            "value": values,
        }
    )


def test_a_model_on_one_side_only_is_left_out_and_cannot_pretend_a_difference():
    rng = np.random.default_rng(SEED)
    values = np.concatenate([1.0 + 0.1 * rng.standard_normal(60), 5.0 + 0.1 * rng.standard_normal(60)])
    every = frame(values, [0] * 120, [k // 8 for k in range(60)] * 2, ["A"] * 60 + ["B"] * 60)
    mine = np.arange(120) % 2 == 0
    mine[60:] = True
    theirs = ~mine
    apart, compared, left_out = compare(every, mine, theirs, by_model=True)
    assert (compared, left_out) == (("A",), ("B",))
    assert abs(apart.difference) < 0.1


@pytest.mark.promise
@pytest.mark.parametrize("lot_share", [0.0, 0.25])
def test_the_interval_of_two_periods_holds_nine_times_in_ten_and_more(lot_share):
    # two periods of one model, four lots of fifteen each, beside three other models; few lots tell little
    rng = np.random.default_rng(SEED)
    held, runs = 0, 150
    lots = np.repeat(np.arange(8), 15)
    days = np.arange(120) // 6
    mine = np.tile(np.arange(120) < 60, 4) & (np.arange(480) < 120)
    theirs = np.tile(np.arange(120) >= 60, 4) & (np.arange(480) < 120)
    for _ in range(runs):
        values = [
            np.sqrt(lot_share) * rng.standard_normal(8)[lots] + np.sqrt(1 - lot_share) * rng.standard_normal(120)
            for _ in range(4)
        ]
        every = frame(
            np.concatenate(values),
            np.concatenate([lots + 8 * k for k in range(4)]),
            np.tile(days, 4),
            np.repeat(list("ABCD"), 120).tolist(),
        )
        apart, _, _ = compare(every, mine, theirs, by_model=False)
        held += apart.low <= 0 <= apart.high
    assert held / runs >= 0.90
