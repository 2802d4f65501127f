"""What would fit, though it does not stand out: held against that nothing moved in the look that weighed it."""

import numpy as np
import pytest

from analysis.studies.matters.matters import matters
from analysis.studies.matters.records import Candidate, MovesWith
from tests.trials.would_fit import planted


def looked(probability, nothing, *, of_all=None, named=False):
    candidates = [Candidate("lot", "L1", probability=probability, named=named), Candidate("gauge", "G1")]
    return MovesWith(candidates, 9, nothing, nothing_of_all=of_all)


@pytest.mark.parametrize(
    ("found", "fits"),
    [
        (looked(0.43, 0.05), True),
        (looked(0.24, 0.05), False),
        (looked(0.43, 0.44), False),
        (looked(0.43, 0.05, of_all=0.44), False),  # of the readings of its charts it is sure, not of the lot's
        (looked(0.43, 0.60, of_all=0.30), True),
        (looked(0.95, 0.01, named=True), False),  # it is named
        (MovesWith(), False),
    ],
)
def test_it_is_told_where_it_is_likely_and_likelier_than_that_nothing_moved_by_the_same_look(found, fits):
    assert (found.fits is not None) == fits


@pytest.mark.parametrize("seed", range(20320310, 20320316))
def test_probabilities_of_one_look_add_up_to_no_more_than_one(seed):
    every = [one.moves_with for one in planted([seed], 0.6, 80).once(matters) if one.size is not None]
    assert every
    for one in every:
        none = one.nothing if one.nothing_of_all is None else one.nothing_of_all
        assert sum(each.probability for each in one.candidates) + none <= 1 + 1e-9
    assert np.any([one.nothing_of_all is not None for one in every])
