"""While a cause goes on it is not back, whichever of its charts are."""

from datetime import timedelta

import numpy as np
import pytest

from analysis.studies.matters.matters import ended_matters, matters, open_matters
from analysis.studies.matters.records import SET_BY, Matter
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import START, shop, snapshot
from tests.trials.caused_shops import hour_of

MODELS, HANDS = ("LARK", "WREN", "FINCH", "ROBIN"), ("T1", "T2", "T3", "T4")
DAYS, A_DAY, BEGAN = 85, 48, 50
WEEKS = range(BEGAN + 10, DAYS + 1, 5)


def newcomer(seed: int) -> Snapshot:
    """T1 sets action one sigma higher from day 50 on, on every model and both edges; her charts are many, and noisy."""
    rng = np.random.default_rng([20301201, seed])
    day = np.repeat(np.arange(DAYS), A_DAY)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(A_DAY) / 6, DAYS)
    setter = rng.choice(HANDS, len(day))
    moved = 1.0 * ((day >= BEGAN) & (setter == "T1"))
    values = {("action", edge): 2.4 + 0.1 * (rng.normal(size=len(day)) + moved) for edge in ("bass", "treble")}
    return snapshot(shop(MODELS), values, model=rng.choice(MODELS, len(day)), hours=hours, setter=setter)


def of_her(found: list[Matter]) -> list[Matter]:
    return [one for one in found if any(each.factor == SET_BY for each in one.moves_with.named)]


@pytest.mark.parametrize("seed", range(3))
def test_a_person_who_still_sets_it_high_is_one_matter_that_is_open(seed):
    made = newcomer(seed)
    for days in WEEKS:
        seen = Snapshot(made.shop, made.specs, made.readers, START + timedelta(hours=hour_of(days - 1) + 10))
        told = of_her(seen.once(open_matters))
        assert len(told) == 1
        assert of_her(seen.once(ended_matters)) == []
        (among_all,) = of_her(seen.once(matters))
        assert among_all.key == told[0].key
        assert told[0].size_low < 0.1 < told[0].size_high
        assert abs((told[0].began_at - START).days - 70) <= 3
