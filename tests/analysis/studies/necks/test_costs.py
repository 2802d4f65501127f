"""What bow takes at the bench, by supplier and by lot that stands apart."""

import numpy as np
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.necks.costs import costs
from tests.analysis.studies import damp_necks
from tests.analysis.studies.damp_necks import A_MM, ASH, BAD, BAD_LOTS, DAMP, NECKS


def test_minutes_and_hours_are_told_by_supplier_by_lot_and_of_the_damp():
    told = costs(damp_necks.shop(np.random.default_rng(1)))
    assert told.measure == "straightening"  # the stage is enough: this shop measures no relief
    ash = told.suppliers["Ash"]
    assert ash.low < A_MM * ASH < ash.high
    assert ash.necks == 14 * NECKS
    assert ash.hours[0] == pytest.approx(ash.necks * ash.minutes / 60)
    assert {lot for _, lot in told.lots} == set(BAD_LOTS)
    for one in told.lots.values():
        assert one.low < A_MM * BAD < one.high
        assert one.necks == NECKS
    assert told.apart["Bell"].necks == 3 * NECKS
    assert told.apart["Bell"].high - told.apart["Bell"].low < 1.5
    assert told.air is not None
    assert told.air.low < A_MM * DAMP < told.air.high
    assert set(told.suppliers) == {"Ash", "Bell", "Cedar"}


def test_without_minutes_of_a_visit_nothing_is_costed():
    with pytest.raises(UnusableData, match="no minutes are on file"):
        costs(damp_necks.shop(np.random.default_rng(2), minutes=False))


@pytest.mark.promise
def test_hours_of_a_supplier_and_of_bad_lots_are_held_by_their_intervals():
    rng, held = np.random.default_rng(20261203), []
    for _ in range(60):
        told = costs(damp_necks.shop(rng))
        known = [told.suppliers["Ash"].low <= A_MM * ASH <= told.suppliers["Ash"].high]
        held.append([*known, told.apart["Bell"].low <= A_MM * BAD <= told.apart["Bell"].high])
    assert np.mean(held, axis=0).min() >= 0.87  # 60 shops: .95 less 2.8 standard errors
