"""What a week's review tells of necks that were read again after the rest."""

from datetime import date, timedelta

import numpy as np
import pytest

from analysis.review import review
from analysis.studies.necks.of_week import RESTED, rested
from analysis.studies.necks.sent_back import by_supplier
from tests.analysis.studies import resting_necks
from tests.analysis.studies.measured import visit
from tests.analysis.studies.resting_necks import BACK, LOTS, SINCE

FIRST = date(2026, 3, 2)


@pytest.mark.parametrize(("week", "told"), [(SINCE - 1, []), (SINCE, ["Ash"]), (LOTS - 1, ["Ash"]), (LOTS + 1, [])])
def test_lots_are_told_in_weeks_in_which_they_were_read(week, told):
    shop = resting_necks.shop(np.random.default_rng(1))
    assert rested(shop, FIRST + timedelta(weeks=week))["supplier"].to_list() == told


def test_the_review_holds_what_was_sent_back():
    shop = resting_necks.shop(np.random.default_rng(1))
    row = review(shop, week=FIRST + timedelta(weeks=LOTS - 1)).rested.row(0, named=True)
    assert (row["first_lot"], row["lots"], row["of_lots"]) == (f"Ash-{SINCE}", LOTS - SINCE, LOTS)
    assert row["change_low"] < BACK < row["change_high"]
    shares = by_supplier(shop)["Ash"].shares
    assert (row["found"], row["n"], row["more"]) == (shares.found, shares.n, shares.more)


def test_necks_that_come_back_and_are_not_sent_back_oftener_are_left_to_necks():
    shop = resting_necks.shop(np.random.default_rng(1), share=(0.04, 0.04))
    assert rested(shop, FIRST + timedelta(weeks=LOTS - 1)).is_empty()


def test_a_shop_that_reads_no_neck_again_says_nothing():
    shop = resting_necks.stood([visit("A1", 0, "receiving", readings={"neck_bow": 0.1}, supplier="Ash", lot="A-1")])
    assert rested(shop, FIRST).equals(rested(resting_necks.stood([visit("A1", 0, "final")]), FIRST))
    assert rested(shop, FIRST).columns == list(RESTED)
