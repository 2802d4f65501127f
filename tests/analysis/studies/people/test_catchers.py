"""Did more come back because one of those who catch it sends more back than before?"""

from datetime import timedelta

import numpy as np
import pytest

from analysis.studies.people.catchers import caught_by_one
from analysis.studies.people.techs import exposure
from tests.analysis.studies.measured import made, visit

WEEKS, SINCE, DAILY = 12, 7, 30


def shop(seed, *, strict=0.2, other=0.04, before=0.04, weeks=WEEKS, testers="NL"):
    """Two at the bridge set thirty a day between them; from a week on N, and so may the others, sends more back."""
    rng, rows = np.random.default_rng(seed), []
    for day in range(5 * weeks):
        for k in range(DAILY):
            serial, at = f"S{DAILY * day + k:05d}", 24.0 * (7 * (day // 5) + day % 5) + k / 8
            tester = testers[int(rng.integers(len(testers)))]
            since = day >= 5 * SINCE
            share = (strict if tester == "N" else other) if since else before
            rows.append(visit(serial, at, "bridge", tech="AB"[k % 2]))
            if rng.random() < share:
                rows.append(visit(serial, at + 1, "play", "send back", tech=tester, cause="bridge"))
                rows.append(visit(serial, at + 2, "bridge", tech="AB"[k % 2]))
            rows.append(visit(serial, at + 3, "play", tech=tester))
            rows.append(visit(serial, at + 6, "final", tech="T8"))
    return made(rows)


def first_week(snapshot):
    return min(snapshot.once(exposure)["week"])


@pytest.mark.parametrize("testers", ["NL", "NLM"])
def test_one_who_grows_stricter_is_told_with_the_week(testers):
    snapshot = shop(20311211, testers=testers)
    found = caught_by_one(snapshot, "bridge")
    assert (found.stage, found.of) == ("play", len(testers))
    assert abs(found.since - first_week(snapshot) - timedelta(weeks=SINCE)) <= timedelta(weeks=1)
    assert found.tried + found.tried_before + found.others_tried + found.others_tried_before == DAILY * 5 * WEEKS
    assert found.back / found.tried > 0.14 > 0.08 > found.others_back / found.others_tried
    assert caught_by_one(snapshot, "play") is None


@pytest.mark.parametrize("seed", range(20311220, 20311224))
def test_where_nothing_or_everything_rose_nobody_is_told(seed):
    assert caught_by_one(shop(seed, strict=0.04), "bridge") is None
    assert caught_by_one(shop(seed, other=0.2), "bridge") is None


def test_one_who_was_always_stricter_moved_nothing():
    assert caught_by_one(shop(20311212, testers="N", strict=0.2), "bridge") is None
    assert caught_by_one(shop(20311213, strict=0.04, before=0.04), "bridge") is None


def test_up_to_a_week_nothing_later_is_counted():
    snapshot = shop(20311214)
    last = first_week(snapshot) + timedelta(weeks=SINCE + 2)
    found = caught_by_one(snapshot, "bridge", until=last)
    assert found.tried + found.tried_before + found.others_tried + found.others_tried_before == DAILY * 5 * (SINCE + 3)
    assert caught_by_one(snapshot, "bridge", until=first_week(snapshot)) is None
