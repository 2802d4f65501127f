"""A signal soon after the one before on its chart is told against the chart's centre, and not against a few readings
between the two.
"""

import numpy as np
import pytest

from analysis.studies.drift.signals import signals
from tests.analysis.studies.drifting import shop, snapshot


@pytest.mark.parametrize("seed", range(6))
def test_its_size_has_the_side_of_its_chart(seed):
    rng = np.random.default_rng([20281207, seed])
    z = rng.normal(size=480)
    z[200:280] += 1.2  # comes back for a few readings that lie far on the other side, then stays below
    z[280:292] -= 1.7
    z[292:] -= 0.5
    found = snapshot(shop(), {("relief", ""): 0.3 + 0.05 * z}).once(signals).found
    last = found.filter(found["side"] == -1).sort("opened_at").row(-1, named=True)
    assert last["openings"] >= 1
    assert last["size"] < 0
    assert last["began_at"] <= last["opened_at"]
