"""One shop against all others on the same lots: the gauge that reads apart is told, and nobody who shares its lots."""

import numpy as np
import polars as pl
import pytest
from scipy import stats

from analysis.studies.shops.same_gauge import same_gauge
from analysis.studies.shops.same_lots import measured
from tests.analysis.studies.shops.invented import Planted, several


def lots(planted=None, shops=8, seed=20270215):
    return several(np.random.default_rng(seed), shops, planted or Planted())["lots"]


def named(told):
    return same_gauge(told).filter("apart")["shop"].to_list()


@pytest.mark.parametrize("shops", [3, 8, 24])
def test_a_gauge_that_reads_high_is_told_among_any_number_of_shops(shops):
    rows = same_gauge(lots(Planted(gauge={2: 0.08}), shops))
    (row,) = rows.filter("apart").iter_rows(named=True)
    assert (row["shop"], row["low"] < 0.08 < row["high"]) == ("shop-03", True)
    others = rows.filter(~pl.col("apart"))
    assert len(others) == (shops - 1 if shops > 3 else 0)  # of two that are left neither is the odd one
    assert (others["off"].abs() < 0.04).all()


def test_two_gauges_off_to_either_side_are_both_told():
    assert named(lots(Planted(gauge={1: 0.08, 5: -0.08}))) == ["shop-02", "shop-06"]


def test_shops_that_are_alike_and_lots_that_stand_out_name_nobody():
    assert named(lots()) == []
    assert named(lots(Planted(lot={"M-03": 0.4}, always=("M-03",)))) == []


def test_two_shops_alone_or_with_two_lots_in_common_are_not_held_against_each_other():
    assert same_gauge(lots(Planted(gauge={0: 0.2}), shops=2)).is_empty()
    few = lots(Planted(gauge={0: 0.2}, wherever=1.0), shops=4)
    assert same_gauge(few.filter(pl.col("lot").is_in(["M-01", "M-02"]))).is_empty()
    assert len(same_gauge(few.filter(pl.col("lot").is_in(["M-01", "M-02", "M-03"])))) == 4
    assert same_gauge(few.clear()).is_empty()


def test_what_is_told_is_students_t_of_lots_against_the_others_necks():
    told = measured(lots(shops=3))
    row = same_gauge(told).row(by_predicate=pl.col("shop") == "shop-02", named=True)
    apart, necks = [], 0
    for _, lot in told.group_by("characteristic", "supplier", "lot"):
        mine, rest = lot.filter(shop="shop-02"), lot.filter(pl.col("shop") != "shop-02")
        if len(mine) and len(rest):
            apart.append(mine["mean"][0] - np.average(rest["mean"], weights=rest["n"]))
            necks += mine["n"][0]
    paired = stats.ttest_1samp(apart, 0.0)
    assert (row["off"], row["chance"]) == pytest.approx((np.mean(apart), paired.pvalue))
    assert (row["low"], row["high"]) == pytest.approx(tuple(paired.confidence_interval(0.95)))
    assert (row["lots"], row["n"], row["others"]) == (len(apart), necks, 2)


def test_in_another_unit_and_order_the_answer_is_the_same():
    told = lots(Planted(gauge={2: 0.08}))
    other = told.with_columns(pl.col("mean", "sd") / 25.4).sample(fraction=1.0, shuffle=True, seed=3)
    mine, theirs = same_gauge(told), same_gauge(other)
    assert theirs["chance"].to_list() == pytest.approx(mine["chance"].to_list(), rel=1e-6)
    assert (theirs["off"] * 25.4).to_list() == pytest.approx(mine["off"].to_list(), abs=1e-9)
    assert theirs["apart"].to_list() == mine["apart"].to_list()
