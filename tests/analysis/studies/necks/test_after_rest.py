"""What necks do after straightening: pairs by hand, the supplier whose lots come back, and what is nobody's."""

import numpy as np
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.necks.after_rest import AFTER_REST, by_supplier, lot_rows, pairs
from tests.analysis.studies import resting_necks
from tests.analysis.studies.measured import visit
from tests.analysis.studies.resting_necks import BACK, LEFT, LOTS, NECKS, SINCE


def neck(serial, *stages):
    """Visits of one neck, a day apart; stages : (stage, found, left, outcome)."""
    told = []
    for day, (stage, found, left, outcome) in enumerate(stages):
        of = {"supplier": "Ash", "lot": "A-1"} if not day else {}
        read = [{} if value is None else {"neck_bow": value} for value in (found, left)]
        told.append(visit(serial, 24.0 * day, stage, outcome, readings=read[0], left=read[1], **of))
    return told


CAME = ("receiving", 0.12, None, "pass")
DONE = ("neck_straightening", 0.12, 0.05, "pass")


@pytest.mark.parametrize(
    ("stages", "change"),
    [
        ((CAME, DONE, ("rest", 0.09, None, "pass")), 0.04),
        ((CAME, DONE, ("rest", None, None, "pass"), ("stringing", 0.08, None, "pass")), 0.03),  # at the next bench
        ((CAME, ("neck_straightening", 0.05, None, "pass"), ("rest", 0.09, None, "pass")), 0.04),  # one number
        ((CAME, DONE, ("stringing", None, None, "pass"), ("rest", 0.09, None, "pass")), None),  # a bench between
        ((CAME, DONE, ("stringing", 0.09, None, "pass")), None),  # no rest
        ((CAME, ("neck_straightening", 0.12, 0.05, "hold"), ("rest", 0.09, None, "pass")), None),
        ((CAME, ("rest", 0.09, None, "pass")), None),  # not straightened
        ((CAME, DONE, ("final", None, None, "send back"), DONE, ("rest", 0.09, None, "pass")), None),  # mended again
    ],
)
def test_only_a_rest_lies_between_straightening_and_the_second_reading(stages, change):
    shop = resting_necks.stood(neck("A1", *stages))
    if change is None:
        with pytest.raises(UnusableData, match="again after the rest"):
            pairs(shop)
    else:
        row = pairs(shop).row(0, named=True)
        assert row["change"] == pytest.approx(change)
        assert (row["supplier"], row["lot"], row["left"]) == ("Ash", "A-1", pytest.approx(0.05))


def test_the_supplier_whose_necks_come_back_is_told_with_its_lots_and_no_other():
    ash, bell, cedar = by_supplier(resting_necks.shop(np.random.default_rng(1)))
    assert (ash.supplier, ash.names) == ("Ash", [f"Ash-{week}" for week in range(SINCE, LOTS)])
    assert ash.lasts
    assert (ash.lots, ash.necks, ash.necks_apart) == (LOTS, LOTS * NECKS, (LOTS - SINCE) * NECKS)
    assert ash.apart.level.low < BACK < ash.apart.level.high
    assert ash.apart.level.high - ash.apart.level.low < 0.02
    assert ash.apart.others.low < 0 < ash.apart.others.high
    assert ash.apart.others_lots == 2 * (LOTS - SINCE)
    assert ash.before.low < 0 < ash.before.high
    assert ash.hours == pytest.approx(24.0)
    assert bell.apart is None
    assert cedar.apart is None
    assert bell.change.low < 0 < bell.change.high


def test_where_none_comes_back_nobody_is_named():
    assert all(one.apart is None for one in by_supplier(resting_necks.shop(np.random.default_rng(2), back=0.0)))


def test_what_damper_rests_do_is_nobodys_and_taken_off_where_bow_follows_the_air():
    rng = np.random.default_rng(3)
    ash, bell, _ = by_supplier(resting_necks.shop(rng, air=0.004))
    assert ash.names == [f"Ash-{week}" for week in range(SINCE, LOTS)]
    assert bell.apart is None
    assert bell.change.low < 0 < bell.change.high  # as read, 0.02 mm more: ten % RH in half of the weeks
    assert ash.apart.off.low < BACK < ash.apart.off.high


def test_less_than_half_a_step_of_the_gauge_names_nobody():
    shop = resting_necks.shop(np.random.default_rng(4))
    told = by_supplier(shop)[0].apart.off.mean
    coarse = {"key": "leaves", "measures": ["neck_bow"], "resolution": f"{2.2 * told:.3f} mm"}
    held = resting_necks.made(
        resting_necks.visits(np.random.default_rng(4)),
        stage=resting_necks.STAGES,
        characteristic=[{"key": "neck_bow"}],
        gauge=[coarse],
    )
    assert by_supplier(held)[0].apart is None


def test_figures_have_a_row_a_lot_and_none_where_nothing_is_read_twice():
    shop = resting_necks.shop(np.random.default_rng(5))
    rows = lot_rows(shop)
    assert rows.columns == list(AFTER_REST)
    assert rows.height == 3 * LOTS
    late = rows.filter("apart")
    assert late["lot"].to_list() == [f"Ash-{week}" for week in range(SINCE, LOTS)]
    assert (late["change_low"] < BACK).all()
    assert (late["change_high"] > BACK - 0.01).all()
    assert rows["left"].mean() == pytest.approx(LEFT, abs=0.005)
    assert (rows["after"] - rows["left"] - rows["change"]).abs().max() < 1e-12
    assert lot_rows(resting_necks.stood(neck("A1", CAME, DONE))).is_empty()
