"""Rework at the same mix: a shop that works on what comes back anyway is not told apart, one that causes more is."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.shops.same_rework import LEAST, same_rework

SEED, SHARES = 20261132, {"LARK-25": 0.02, "HERON-D": 0.05, "DRAY-5": 0.12}


def mixed(rng, *, shops=10, times=None, odd=None, widening=1.0, spread=0.0):
    """MIX of shops of unlike mixes; times: shop -> what comes back of its fretting, in times; odd: a shop's own mix."""
    rows = []
    for k in range(shops):
        mix = rng.dirichlet([2, 2, 2]) if odd is None or k != odd[0] else odd[1]
        for stage in ("fretting", "stringing"):
            more = (times or {}).get(k, 1.0) if stage == "fretting" else 1.0
            for share, (model, p) in zip(mix, SHARES.items(), strict=True):
                n = int(2000 * share)
                rows.append((f"s{k:02d}", stage, model, n, int(rng.binomial(n, min(p * more, 1))), 26, widening))
    return pl.DataFrame(
        rows, schema=["shop", "stage", "model", "instruments", "came_back", "weeks", "widening"], orient="row"
    )


def test_shops_of_unlike_mixes_are_told_apart_no_oftener_than_promised():
    rng = np.random.default_rng(SEED)
    told = [same_rework(mixed(rng))["apart"].any() for _ in range(50)]
    assert sum(told) <= 3  # promised: 1 in 120; 4 or more of 50 has a chance of .1 %


def test_a_shop_that_works_on_what_comes_back_anyway_is_as_expected():
    rng = np.random.default_rng(SEED)
    told = same_rework(mixed(rng, odd=(3, np.array([0.0, 0.1, 0.9]))))
    row = told.filter(shop="s03", stage="fretting").row(0, named=True)
    assert row["share"] > 1.6 * told.filter(stage="fretting")["share"].median()
    assert row["ratio_low"] < 1 < row["ratio_high"]
    assert not row["apart"]


def test_a_shop_of_which_more_comes_back_is_told_with_how_much():
    rng = np.random.default_rng(SEED)
    told = same_rework(mixed(rng, times={4: 2.0}))
    assert told.filter("apart").select("stage", "shop").rows() == [("fretting", "s04")]
    row = told.filter("apart").row(0, named=True)
    assert row["ratio_low"] < 2.0 / (1 + 0.1) < row["ratio_high"]  # it is a tenth of what all have
    assert row["low"] < row["value"] < row["ratio"]
    assert row["at_mix"] * row["instruments"] == pytest.approx(row["expected"])


def test_a_shop_whose_weeks_lie_apart_is_known_less_well():
    rng = np.random.default_rng(SEED)
    sure = mixed(rng, times={4: 2.0})
    unsure = sure.with_columns(widening=pl.lit(9.0))
    wide, narrow = same_rework(unsure), same_rework(sure)
    reach = (pl.col("ratio_high") / pl.col("ratio_low")).log()
    assert np.allclose(wide.select(reach).to_series(), 3 * narrow.select(reach).to_series())
    assert narrow["apart"].any()
    assert not wide["apart"].any()


def test_what_one_shop_alone_does_and_few_that_come_back_say_nothing():
    rng = np.random.default_rng(SEED)
    rows = mixed(rng, shops=3)
    alone = pl.DataFrame([("s01", "fretting", "OWN", 400, 400, 26, 1.0)], schema=rows.schema, orient="row")
    with_it = same_rework(pl.concat([rows, alone]))
    assert with_it.drop("left_out").equals(same_rework(rows).drop("left_out"))
    assert with_it.filter(shop="s01", stage="fretting")["left_out"].item() == 400
    few = rows.with_columns(pl.col("instruments", "came_back") // 40)
    assert same_rework(few).is_empty() or same_rework(few)["expected"].min() >= LEAST
    assert same_rework(pl.DataFrame(schema={"shop": pl.String})).is_empty()
