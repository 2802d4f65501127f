"""Whose necks come more bowed: what was put in is found, one supplier at a time and two by two."""

import numpy as np
import pytest

from analysis.studies.necks.apart import standing
from analysis.studies.necks.suppliers import pair_rows, supplier_rows
from tests.analysis.studies import damp_necks
from tests.analysis.studies.damp_necks import ASH, BOW
from tests.analysis.studies.measured import made, visit


def row(rows, supplier):
    return rows.filter(supplier=supplier).row(0, named=True)


def test_a_supplier_whose_every_lot_is_worse_is_told_and_bad_lots_or_the_damp_name_no_other():
    snapshot = damp_necks.shop(np.random.default_rng(1))
    rows = supplier_rows(snapshot)
    ash, bell, cedar = (row(rows, one) for one in ("Ash", "Bell", "Cedar"))
    assert (ash["lots"], ash["lots_apart"], bell["lots"], bell["lots_apart"]) == (14, 0, 11, 3)
    assert ash["differs"]
    assert ash["off_low"] < ASH < ash["off_high"]
    assert bell["mean_low"] < BOW + 0.01 < bell["mean_high"]  # half of the necks are WREN's
    assert cedar["mean_low"] < BOW + 0.01 < cedar["mean_high"]  # though it came mostly in damp weeks
    plain = snapshot.table("readings").height
    assert plain == ash["n"] + bell["n"] + bell["n_apart"] + cedar["n"]


def test_pairs_say_who_differs_from_whom_the_more_bowed_first():
    pairs = pair_rows(damp_necks.shop(np.random.default_rng(2)))
    told = {(one["supplier"], one["other"]): one["differs"] for one in pairs.iter_rows(named=True)}
    assert told[("Ash", "Bell")]
    assert told[("Ash", "Cedar")]
    assert len(told) == 3
    assert sum(told.values()) == 2
    assert (pairs["off"] >= 0).all()


def test_inches_and_another_order_say_the_same():
    visits = damp_necks.visits(np.random.default_rng(3))
    more = {"stage": damp_necks.STAGES, "characteristic": [{"key": "neck_bow"}]}
    one = supplier_rows(made(visits, [damp_necks.LIMITS], **more))
    for visit_ in visits:
        visit_["readings"] = {key: 2 * value for key, value in visit_["readings"].items()}
    twice = supplier_rows(made(visits[::-1], [], **more))
    for name in ("mean", "off", "off_low", "off_high", "mean_low", "mean_high"):
        assert twice[name].to_numpy() == pytest.approx(2 * one[name].to_numpy(), rel=1e-6)


def test_suppliers_of_models_that_nobody_shares_are_not_held_against_each_other():
    rng, told = np.random.default_rng(4), []
    for week in range(6):
        for supplier, model in (("Ash", "LARK"), ("Bell", "WREN")):
            for k in range(10):
                bow = {"neck_bow": float(rng.normal(0.1, 0.03))}
                of = {"supplier": supplier, "lot": f"{supplier}{week}", "model": model}
                told.append(visit(f"{supplier}{week}-{k}", 100 * week + k, "receiving", readings=bow, **of))
    snapshot = made(told, [], characteristic=[{"key": "neck_bow"}])
    rows = supplier_rows(snapshot)
    assert rows["off"].null_count() == rows["differs"].null_count() == 2
    assert rows["mean"].to_list() == pytest.approx([0.1, 0.1], abs=0.01)
    assert pair_rows(snapshot).is_empty()


@pytest.mark.promise
def test_where_no_supplier_and_no_lot_differs_none_is_said_to_in_spite_of_the_damp():
    rng, differs, far = np.random.default_rng(20261204), [], []
    for _ in range(60):
        snapshot = damp_necks.shop(rng, ash=0.0, bad=0.0)
        differs.append(supplier_rows(snapshot)["differs"].any())
        far.append(standing(snapshot)["apart"].any())
    assert np.mean(differs) <= 0.13  # 60 shops at one in twenty and 2.8 standard errors
    assert np.mean(far) <= 0.07  # two suppliers of lots enough, one in a hundred each


def test_one_supplier_or_too_few_lots_have_a_mean_and_no_more():
    few = [one for one in damp_necks.visits(np.random.default_rng(5)) if "-0-" in one["serial"]]
    snapshot = made(few, [], stage=damp_necks.STAGES, characteristic=[{"key": "neck_bow"}])
    rows = supplier_rows(snapshot)
    assert rows.select("lots", "other_lots").rows() == [(1, 1), (1, 1)]
    assert rows["mean_low"].null_count() == rows["off"].null_count() == 2
    assert supplier_rows(made([visit("A", 0, "play")])).is_empty()
    for one in few:
        one.pop("lot", None)
    assert supplier_rows(made(few, [], stage=damp_necks.STAGES, characteristic=[{"key": "neck_bow"}])).is_empty()
    assert rows["mean"].is_not_null().all()
