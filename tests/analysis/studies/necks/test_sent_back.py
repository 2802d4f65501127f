"""What came back to straightening of lots that come back after the rest."""

import numpy as np
import pytest

from analysis.studies.necks.sent_back import by_supplier
from tests.analysis.studies import resting_necks
from tests.analysis.studies.resting_necks import LOTS, NECKS, SINCE


def test_send_backs_of_these_lots_stand_beside_those_of_the_others_of_the_same_weeks():
    visits = resting_necks.visits(np.random.default_rng(1))
    found = by_supplier(resting_necks.stood(visits))
    assert list(found) == ["Ash"]
    shares = found["Ash"].shares
    back = [one["serial"] for one in visits if one["outcome"] == "send back"]
    late = [one for one in back if int(one.split("-")[1]) >= SINCE]
    assert shares.found == sum(one.startswith("Ash") for one in late)
    assert shares.other_found == sum(not one.startswith("Ash") for one in late)
    assert (shares.n, shares.other_n) == ((LOTS - SINCE) * NECKS, 2 * (LOTS - SINCE) * NECKS)
    assert 0 < shares.low < shares.more < shares.high
    assert shares.low < 0.21 < shares.high
    assert found["Ash"].minutes == pytest.approx(20.0 + 5.0)  # straightened again, and the final visit again


def test_where_no_lot_comes_back_there_is_nothing_to_hold():
    assert by_supplier(resting_necks.shop(np.random.default_rng(2), back=0.0)) == {}
