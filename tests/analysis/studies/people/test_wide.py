"""Whose spread is shown to be wide: whoever was wide and has become narrow is not."""

import numpy as np

from analysis.studies.people.targets import stands
from analysis.studies.people.wide import wide
from tests.analysis.studies.measured import made, visit
from tests.analysis.studies.people.test_set_spread import shop_with


def narrowing(rng, by_now):
    """A, B and N, two a day each for 120 days; N is twice as wide for 60 days, and `by_now` times after."""
    visits = []
    for k in range(6 * 120):
        tech, day = "ABN"[k % 3], k // 6
        times = (2.0 if day < 60 else by_now) if tech == "N" else 1.0
        s, value = f"S{k:04d}", 0.2 + 0.03 * times * float(rng.standard_normal())
        visits += [
            visit(s, 24.0 * day + k % 6, "neck", tech=tech),
            visit(s, 24.0 * day + k % 6 + 0.5, "final", tech="T9", readings={"relief": value}),
        ]
    return made(visits, [{"characteristic": "relief", "target": 0.2, "lower": 0.0, "upper": 0.5}])


def test_who_is_twice_as_wide_is_found_and_nobody_else():
    snapshot = shop_with(np.random.default_rng(51))
    found = snapshot.once(wide)
    assert list(found) == [("T3", "bridge", "action")]
    times, low, high = found["T3", "bridge", "action"]
    assert 1.25 < low < times < high
    assert low < 2.0 < high


def test_who_has_become_narrow_is_not_wide_and_a_stand_says_so():
    still, now = (narrowing(np.random.default_rng(54), by_now) for by_now in (2.0, 1.0))
    assert [key[0] for key in still.once(wide)] == ["N"]
    assert now.once(wide) == {}
    assert stands(still, "N")[0].wide == still.once(wide)["N", "neck", "relief"]
    assert stands(still, "A")[0].wide is None
