"""What goes with bow: the cost put in is found, adjusted for model and hand, and the next tenth stops paying where it
should.
"""

import numpy as np
import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.necks.bow import (
    against,
    cost_of_lots,
    costs,
    goes_with,
    instruments,
    limits,
    limits_of,
    neck_bow,
    straight,
)
from tests.analysis.studies.measured import made, visit
from tests.analysis.studies.supplied import supplied


def test_the_cost_put_in_is_found_and_the_raw_slope_is_far_off():
    rows = supplied(np.random.default_rng(81))
    found = against(rows, "minutes")
    assert found.slope_low < 2.0 < found.slope_high
    assert found.slope_high - found.slope_low < 2.5
    raw = np.polyfit(rows["bow"].to_numpy(), rows["minutes"].to_numpy(), 1)[0] / 10
    assert raw > 2 * found.slope
    assert (found.n, found.lots) == (1200, 40)


def test_with_one_model_and_hand_the_slope_is_least_squares():
    rows = supplied(np.random.default_rng(82)).with_columns(model=pl.lit("M"), straightener=pl.lit("A"))
    found = against(rows, "minutes")
    assert found.slope == pytest.approx(np.polyfit(rows["bow"].to_numpy(), rows["minutes"].to_numpy(), 1)[0] / 10)
    assert np.average(found.step_mean, weights=found.step_n) == pytest.approx(rows["minutes"].mean())
    assert found.step_n.sum() == rows.height
    along = np.interp(rows["bow"].to_numpy(), found.line_x, found.line)
    assert along.mean() == pytest.approx(rows["minutes"].mean(), abs=0.02)


def test_what_a_lot_cost_is_told_beyond_straight_necks():
    rows = supplied(np.random.default_rng(88), lots=40, a_tenth=0.0)
    bent = rows.with_columns(minutes=pl.col("minutes") + 40 * (pl.col("bow") - 0.1).clip(lower_bound=0.0))
    told = costs(bent, "minutes")
    reference = straight(rows["bow"].to_numpy())
    assert (reference < 0.1).all()
    assert sum(cost.necks for cost in told.values()) == rows.height
    held = []
    for (supplier, _), cost in told.items():  # here a lot's key has no supplier
        own = rows.filter(pl.col("lot_key") == supplier)["bow"].to_numpy()
        held.append(cost.low <= 40 * np.maximum(own - 0.1, 0).sum() <= cost.high)
    assert np.mean(held) >= 0.9
    assert {cost.necks for cost in costs(rows.reverse(), "minutes").values()} == {30}


def test_a_bend_is_seen_in_the_steps_and_said():
    rows = supplied(np.random.default_rng(83), a_tenth=0.0)
    bent = rows.with_columns(minutes=pl.col("minutes") + 400 * (pl.col("bow") - 0.1).clip(lower_bound=0.0) ** 1.5)
    assert against(rows, "minutes").bends > 0.01
    assert against(bent, "minutes").bends < 0.01
    assert against(bent, "minutes").step_mean[-1] > against(bent, "minutes").step_mean[0] + 3


def test_money_and_minutes_scale_and_order_does_not_matter():
    rows = supplied(np.random.default_rng(84))
    one, turned = (
        against(rows, "minutes"),
        against(rows.sample(fraction=1.0, shuffle=True, seed=1).with_columns(pl.col("minutes") * 60), "minutes"),
    )
    assert (turned.slope, turned.slope_low, turned.slope_high) == pytest.approx(
        (60 * one.slope, 60 * one.slope_low, 60 * one.slope_high)
    )


def test_the_next_tenth_stops_paying_where_a_return_costs_more():
    rows = supplied(np.random.default_rng(85), a_tenth=10.0, lots=80)
    found = limits_of(rows, 6.0)
    assert [row.limit for row in found][:2] == [0.2, 0.3]
    assert found[0].low < 10.0 < found[0].high + 1.5  # about a tenth more than a straight neck
    assert limits_of(rows, 0.0)[0].pays
    assert not any(row.pays for row in limits_of(rows, 60.0))
    assert all(row.low < row.minutes < row.high for row in found)


def test_one_bowed_lot_alone_pays_for_no_limit():
    rows = supplied(np.random.default_rng(86), a_tenth=0.0).filter(pl.col("bow") < 0.2)
    lot = supplied(np.random.default_rng(87), lots=1, necks=40).with_columns(
        bow=pl.lit(0.35), minutes=pl.lit(150.0), lot_key=pl.lit("bad")
    )
    last = limits_of(pl.concat([rows, lot]), 1.0)[-1]
    assert (last.lots, last.necks, last.pays) == (1, 40, False)


def test_too_few_necks_or_equally_straight_ones_are_an_answer_in_words():
    rows = supplied(np.random.default_rng(88))
    with pytest.raises(UnusableData, match="5 lots"):
        against(rows.filter(pl.col("lot_key").is_in(["L0", "L1"])), "minutes")
    with pytest.raises(UnusableData, match="equally straight"):
        against(rows.with_columns(bow=pl.lit(0.1)), "minutes")
    with pytest.raises(UnusableData, match="straight ones"):
        limits_of(rows.filter(pl.col("bow") > 0.1), 6.0)


def shop_of(rng, *, timed=True):
    visits = []
    for k in range(120):
        s, bow = f"S{k:03d}", float(rng.uniform(-0.1, 0.3))
        edges = {"neck_bow bass": bow, "neck_bow treble": bow / 2}
        visits.append(visit(s, k, "receiving", supplier="O", lot=f"L{k % 12}", minutes=3.0, readings=edges))
        visits.append(visit(s, k + 1, "neck", tech=("A", "B")[k % 2], minutes=5.0 + 30 * abs(bow)))
        if k % 10 == 0:
            visits += [
                visit(s, k + 2, "play", "send back", minutes=4.0, sent_back_to="neck"),
                visit(s, k + 3, "neck", tech="A", minutes=1.0),
            ]
        visits.append(visit(s, k + 30, "final", "reject" if k % 40 == 0 else "pass", minutes=5.0))
    visits.append(visit("LATE", 200, "receiving", supplier="O", lot="L0", readings={"neck_bow bass": 0.9}))
    if not timed:
        visits = [one | {"minutes": None} for one in visits]
    return made(visits)


def test_planned_minutes_say_nothing_of_what_bow_costs():
    untimed = shop_of(np.random.default_rng(89), timed=False)
    for ask in (goes_with, cost_of_lots, limits):
        with pytest.raises(UnusableData, match="no minutes are on file: none was typed or clocked"):
            ask(untimed)
    with pytest.raises(UnusableData, match="no minutes are on file at neck straightening"):
        goes_with(untimed, "straightening")
    assert goes_with(untimed, "send_backs").n == 120


def test_an_instrument_s_row_holds_its_minutes_send_backs_and_end():
    snapshot = shop_of(np.random.default_rng(89))
    rows = instruments(snapshot)
    assert neck_bow(snapshot) == "neck_bow"
    assert rows.height == 120  # the one that has not reached final inspection is not judged
    first = rows.filter(pl.col("serial") == "S000").row(0, named=True)
    assert (first["send_backs"], first["rejected"], first["straightener"]) == (1.0, 1.0, "A")
    assert first["minutes"] == pytest.approx(3 + 5 + 30 * first["bow"] + 4 + 1 + 5)
    assert first["straightening"] == pytest.approx(6 + 30 * first["bow"])
    assert rows["bow"].min() >= 0
    slope = goes_with(snapshot, "straightening")
    assert slope.slope_low < 3.0 < slope.slope_high
    assert limits(snapshot, return_minutes=0.0)[-1].pays


def test_a_measure_nobody_knows_is_refused():
    with pytest.raises(UnusableData, match="wanted one of"):
        goes_with(shop_of(np.random.default_rng(90)), "joy")
