"""Air that dries little by little: the day on which its matter began stays where it was, and lies in its interval."""

from datetime import datetime, timedelta

import numpy as np

from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import HUMIDITY, Matter
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import START
from tests.analysis.studies.matters.test_over import bench
from tests.trials.caused_shops import hour_of

DAYS, BEGINS, RESTS = 120, 60, 90
FRIDAYS = range(BEGINS + 15, DAYS + 1, 5)


def moment(day: int) -> datetime:
    return START + timedelta(hours=hour_of(day))


def dries(seed: int) -> Snapshot:
    """Two sigma in six weeks, with the air; the first reading off is that of the day after BEGINS."""
    rng = np.random.default_rng([20301203, seed])
    drier = np.clip((np.minimum(np.arange(DAYS), RESTS) - BEGINS) / (RESTS - BEGINS), 0, None)
    rh = 50 - 16 * drier + rng.normal(0, 1.5, DAYS)
    return bench(rng, -2.0 * drier, rh=rh, days=DAYS, models=3)


def told(made: Snapshot, days: int) -> list[Matter]:
    seen = Snapshot(made.shop, made.specs, made.readers, moment(days - 1) + timedelta(hours=10))
    return [one for one in seen.once(open_matters) if any(each.factor == HUMIDITY for each in one.moves_with.named)]


def test_the_day_on_which_it_began_to_dry_stays_and_no_rest_is_told_while_it_goes_on():
    held, looked, first = 0, 0, moment(BEGINS + 1).date()
    for seed in range(4):
        made = dries(seed)
        for days in FRIDAYS:
            for one in told(made, days):
                looked += 1
                held += one.began_low.date() <= first <= one.began_high.date()
                assert abs(one.began_at.date() - first) <= timedelta(days=7)
                assert one.creeping is not None
                rests = one.creeping.rests_on
                assert rests is None or abs(rests - moment(RESTS).date()) <= timedelta(days=7)
                assert rests is None or days > RESTS
    assert looked >= 4 * (len(FRIDAYS) - 2)
    assert held >= 0.9 * looked
