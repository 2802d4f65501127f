"""When a matter began is told with the days on which it may have begun, before its likeliest one too."""

from datetime import timedelta

import numpy as np

from analysis.studies.matters.matters import open_matters
from tests.analysis.studies.drifting import START, shop, snapshot

DAYS, BEGAN = 90, 70  # working days


def hour(day):
    return (day // 5 * 7 + day % 5) * 24.0


def told(seed):
    """Of a tech who moved by 1.2 sigma: the first day on which a reading of theirs did, and what is told of it."""
    rng, n = np.random.default_rng([20310110, seed]), DAYS * 12
    day = np.repeat(np.arange(DAYS), 12)
    who = np.array(["T0", "T1", "T2"])[rng.integers(0, 3, n)]
    moved = (who == "T1") & (day >= BEGAN)
    hours = hour(day) + np.tile(np.arange(12) / 2, DAYS)
    shown = snapshot(shop(), {("relief", ""): 0.2 + 0.1 * (rng.normal(size=n) + 1.2 * moved)}, hours=hours, setter=who)
    return START + timedelta(hours=float(hours[moved].min())), shown.once(open_matters)


def test_the_true_day_lies_between_the_first_and_the_last_told():
    found = [(true, one) for true, every in map(told, range(16)) for one in every if one.moves_with.named]
    assert len(found) >= 12
    covered = [one.began_low.date() <= true.date() <= one.began_high.date() for true, one in found]
    assert sum(covered) >= len(found) - 2  # nine in ten and more; cut at the likeliest day it is six in ten
    assert all(one.began_low <= one.began_at <= one.began_high for _, one in found)
