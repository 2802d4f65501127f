"""A slip of the pen is nobody's spread and nobody's mean, and is told."""

import numpy as np
import pytest

from analysis.studies.people.bands import set_readings
from analysis.studies.people.far_off import far, near
from analysis.studies.people.not_theirs import FAR
from analysis.studies.people.set_spread import spreads
from analysis.studies.people.targets import stands
from analysis.studies.story.conformity import as_set
from analysis.studies.story.slips import LEAST
from tests.analysis.studies.measured import made, visit

SPEC = {"characteristic": "action", "position": "bass", "target": 2.0, "lower": 1.5, "upper": 2.5}


def two_at_a_bench(slips, n=60):
    """T1 and T2 set by turns, alike; slips: the reading of some instruments, by number."""
    rng, visits = np.random.default_rng(61), []
    for k in range(n):
        value = slips.get(k, round(float(rng.normal(2.0, 0.1)), 2))
        tech = ("T1", "T2")[k % 2]
        visits += [
            visit(f"S{k:03d}", k / 4, "bridge", tech=tech),
            visit(f"S{k:03d}", k / 4 + 0.1, "final", tech="T9", readings={"action bass": value}),
        ]
    return made(visits, [SPEC])


def test_one_reading_far_from_all_others_makes_nobody_s_spread_wide():
    plain, slipped = (
        {row["tech"]: row for row in spreads(two_at_a_bench(some)).iter_rows(named=True)} for some in ({}, {30: 20.0})
    )
    assert slipped["T1"]["far"] == 1
    assert slipped["T2"]["far"] == plain["T1"]["far"] == 0
    for name in ("ratio", "offset"):
        assert slipped["T1"][name] == pytest.approx(plain["T1"][name], abs=0.1)
    assert slipped["T1"]["n"] == plain["T1"]["n"] - 1


def test_it_counts_in_no_target_and_is_told_with_its_instrument():
    snapshot = two_at_a_bench({30: 20.0})
    (stand,) = stands(snapshot, "T1")
    assert "S030" not in stand.serials
    assert [(one.kind, one.what, one.n) for one in stand.left_out] == [(FAR, "S030", 1)]
    assert stand.sd < 0.2
    (other,) = stands(snapshot, "T2")
    assert other.left_out == []
    assert "S030" not in set_readings(snapshot)["serial"].to_list()


def test_several_in_a_row_are_work_and_in_a_short_series_nothing_is_left_out():
    assert far(two_at_a_bench({30: 20.0, 31: 20.1})).is_empty()
    short = two_at_a_bench({10: 20.0}, n=LEAST)
    assert far(short).is_empty()
    assert near(short).equals(short.once(as_set))
    assert far(made([visit("A", 0, "bridge")])).is_empty()
