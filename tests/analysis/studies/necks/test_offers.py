"""Plans to agree on: what each lets through, and what it would have said of the lots on file."""

import numpy as np
import pytest
from scipy import stats

from analysis.studies.necks.offers import BAD, GOOD, offers
from tests.analysis.studies.measured import made
from tests.analysis.studies.necks.test_lots import PLAN, SPEC, lot


def test_offers_run_through_their_points_and_are_tried_on_the_lots_on_file():
    rng = np.random.default_rng(3)
    good, bad = rng.normal(0.1, 0.03, 120), rng.normal(0.24, 0.03, 120)
    snapshot = made([*lot(good, "G"), *lot(bad, "B", start=200)], [SPEC], **PLAN)
    told = offers(snapshot, characteristic="neck_bow")
    assert told[0].agreed
    assert (told[0].sample, told[0].accept, told[0].refused, told[0].judged) == (5, 1, 1, 2)
    counted = [offer for offer in told[1:] if offer.k is None]
    measured = [offer for offer in told[1:] if offer.k is not None]
    assert 0 < len(counted) <= len(BAD)
    for offer in counted:
        assert stats.binom.cdf(offer.accept, offer.sample, GOOD) >= 0.95 - 1e-9
        assert stats.binom.cdf(offer.accept, offer.sample, offer.accepted_at[1]) == pytest.approx(0.5)
    assert min(offer.sample for offer in measured) < min(offer.sample for offer in counted)
    assert all(offer.refused <= offer.judged <= 2 for offer in told)
    assert [offer.sample for offer in told[1:]] == sorted(offer.sample for offer in told[1:])
