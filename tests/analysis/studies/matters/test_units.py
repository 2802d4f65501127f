"""Which way a signal went is what its chart says, whatever the readings just before were."""

import pytest

from analysis.studies.matters.units import side_of


@pytest.mark.parametrize(
    ("side", "size", "told"), [(-1, 0.1, -1), (1, -0.1, 1), (1, 0.2, 1), (None, -0.2, -1), (0, 0.3, 1), (0, None, 1)]
)
def test_the_side_is_the_charts_and_not_the_sign_of_its_size(side, size, told):
    assert side_of({"side": side, "size": size}) == told
