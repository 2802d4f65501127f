"""A cause that moves several shops is one matter; matters that fall together by chance are none, nor is a person."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from analysis.studies.shops.same_matter import DAY, NEAR, _sums, same_matter
from analysis.studies.shops.same_model import ALPHA

BEGAN, SEED = datetime(2026, 3, 2, tzinfo=UTC), 20261131


def matter(shop, day, *, characteristic="action", cause="", value="", sure=None, size=0.1):
    began = BEGAN + timedelta(days=float(day))
    return {
        "shop": shop,
        "matter": f"{shop} {day} {characteristic} {cause}",
        "characteristic": characteristic,
        "models": "LARK-25",
        "cause": cause,
        "cause_value": value,
        "probability": sure,
        "size": size,
        "size_low": size - 0.02,
        "size_high": size + 0.02,
        "began_low": began,
        "began_at": began,
        "began_high": began,
        "state": "open",
    }


def alike(rng, shops=12, each=8, days=180):
    """Matters on any day, each shop's own."""
    return [
        matter(f"s{k:02d}", round(rng.uniform(0, days), 3), characteristic=word, size=rng.choice([-0.1, 0.1]))
        for k in range(shops)
        for word in ("action", "relief")
        for _ in range(rng.poisson(each / 2))
    ]


def found(rows):
    levels = pl.DataFrame([{"shop": f"s{k:02d}", "characteristic": "action"} for k in range(12)])
    return same_matter(pl.DataFrame(rows), levels)


def test_matters_on_any_day_are_told_to_be_one_no_oftener_than_promised():
    rng = np.random.default_rng(SEED)
    told = [found(alike(rng))["one"].any() for _ in range(20)]
    assert sum(told) <= 2  # promised: 1 in 120; 3 or more of 20 has a chance of .06 %


def test_a_day_on_which_most_shops_moved_is_one_matter_with_each_shops_own_day():
    rng = np.random.default_rng(SEED)
    rows = alike(rng, each=2) + [matter(f"s{k:02d}", 90 + k) for k in range(9)]
    one = found(rows).filter("one")
    assert one["number"].unique().to_list() == [1]
    assert one["kind"].unique().to_list() == [DAY]
    assert set(one["shop"]) >= {f"s{k:02d}" for k in range(9)}
    assert one["read_in"].unique().to_list() == [12]
    assert one.filter(shop="s03")["began_at"].item() == BEGAN + timedelta(days=93)
    assert one["among_all"][0] < ALPHA


def test_shops_that_name_one_lot_are_one_matter_whenever_it_came_to_each():
    lot = [
        matter(f"s{k:02d}", 20 * k, cause="lot", value="MP-15", sure=0.97, characteristic="neck_bow") for k in range(4)
    ]
    rng = np.random.default_rng(SEED)
    one = found(alike(rng, each=2) + lot).filter("one")
    assert set(one.select("kind", "what").iter_rows()) == {("lot", "MP-15")}
    assert one["shop"].to_list() == ["s00", "s01", "s02", "s03"]
    down = [row | {"size": -row["size"]} if k == 3 else row for k, row in enumerate(lot)]
    assert found(down)["shop"].to_list() == ["s00", "s01", "s02"]  # it moved the other way in the fourth
    assert not found([row | {"probability": 0.4} for row in lot])["one"].any()


def test_a_change_is_one_by_its_words_and_not_by_its_day():
    rows = [
        matter("s00", 10, cause="change", value="New saddle blanks, 2026-03-12", sure=0.995),
        matter("s01", 80, cause="change", value="new  saddle blanks, 2026-05-21", sure=0.995),
        matter("s02", 150, cause="change", value="new nut file, 2026-08-01", sure=0.995),
        matter("s03", 160, cause="lot; change", value="A-1; New saddle blanks, 2026-08-01", sure=0.995),
    ]
    told = found(rows).filter(kind="change")
    assert told["shop"].to_list() == ["s00", "s01", "s03"]
    assert set(told["what"]) == {"New saddle blanks"}


def test_who_set_the_readings_is_no_cause_in_common():
    rows = [matter(f"s{k:02d}", 40 * k, cause="set by", value="person-1", sure=0.999) for k in range(4)]
    assert found(rows).is_empty()


def test_one_shop_and_no_shop_have_nothing_in_common():
    assert found([matter("s00", day) for day in range(9)]).is_empty()
    assert same_matter(pl.DataFrame(schema={"shop": pl.String}), pl.DataFrame(schema={"shop": pl.String})).is_empty()


def test_the_sum_of_unlike_chances_is_the_binomial_where_they_are_alike():
    from scipy import stats

    assert np.allclose(_sums(np.full(7, 0.3)), stats.binom.pmf(np.arange(8), 7, 0.3))
    assert np.allclose(_sums(np.array([0.5, 1.0])), [0, 0.5, 0.5])


def test_two_weeks_is_near_and_a_day_more_is_not():
    near = NEAR.days
    rng = np.random.default_rng(SEED)
    rows = alike(rng, each=1)
    both = [matter("s00", 400, characteristic="nut"), matter("s01", 400 + near, characteristic="nut")]
    apart = [both[0], matter("s01", 401 + near, characteristic="nut")]
    assert found(rows + both).filter(characteristic="nut")["shop"].to_list() == ["s00", "s01"]
    assert found(rows + apart).filter(characteristic="nut").is_empty()


def test_what_a_named_cause_tells_is_not_told_again_by_its_days():
    rng = np.random.default_rng(SEED)
    jig = [
        matter(f"s{k:02d}", 60 + 3 * k / 11 + day, cause="change", value="jig, 2 Mar", sure=0.9, size=0.1)
        for k in range(12)
        for day in (0, 9)  # two matters of one shop name it
    ]
    told = found(alike(rng, each=2) + jig).filter("one")
    assert set(told.select("kind", "what").iter_rows()) == {("change", "jig")}
    unnamed = [matter(f"s{k:02d}", 61 + k / 10) for k in range(10)]  # fell on the same days and name nothing
    both = found(alike(rng, each=2) + jig + unnamed).filter("one")
    assert set(both["kind"].to_list()) == {"change", DAY}
    assert both.filter(kind=DAY)["number"].n_unique() == 1
