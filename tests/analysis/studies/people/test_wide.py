"""Whose spread is shown to be wide: whoever was wide and has become narrow is not."""

import numpy as np
import polars as pl

from analysis.studies.people.bands import BY_HAND, LIMITS
from analysis.studies.people.targets import NOT_SHOWN, SHOWN, stands
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


def working(rng, times, half, **more):
    """A, B and N, two a day each for 120 days; N is so many times as wide. Limits at 0.2 mm and half of the width."""
    visits = []
    for k in range(6 * 120):
        tech = "ABN"[k % 3]
        value = 0.2 + 0.03 * (times if tech == "N" else 1.0) * float(rng.standard_normal())
        s, hours = f"S{k:04d}", 24.0 * (k // 6) + k % 6
        visits += [
            visit(s, hours, "neck", tech=tech),
            visit(s, hours + 0.5, "final", tech="T9", readings={"relief": value}),
        ]
    spec = {"characteristic": "relief", "target": 0.2, "lower": 0.2 - half, "upper": 0.2 + half}
    return made(visits, [spec], **more)


def test_who_is_twice_as_wide_and_has_more_outside_holds_no_band_of_the_limits_yet():
    wider = working(np.random.default_rng(55), 1.9, 0.12)
    one, other = stands(wider, "N")[0], stands(wider, "A")[0]
    assert (one.band["source"], one.verdict) == (LIMITS, NOT_SHOWN)
    out, n, theirs, of = one.too_wide
    assert (out, n, of) == (sum(one.out), 240, 480)
    assert out / n > 0.02 > theirs / of
    assert (other.verdict, other.too_wide) == (SHOWN, None)


def test_who_is_wide_and_has_nothing_outside_holds_it_and_so_does_whoever_a_person_set_a_band_for():
    inside = stands(working(np.random.default_rng(56), 1.9, 0.3), "N")[0]
    assert inside.wide is not None
    assert (inside.verdict, inside.too_wide) == (SHOWN, None)
    hand = {"sequence": 1, "characteristic": "relief", "position": "", "model": "LARK", "stage": "neck", "who": "R. M."}
    told = pl.DataFrame([hand | {"tech": "", "lower": 0.08, "upper": 0.32}], infer_schema_length=None)
    by_hand = stands(working(np.random.default_rng(55), 1.9, 0.12, frames={"targets_by_hand": told}), "N")[0]
    assert (by_hand.band["source"], by_hand.verdict) == (BY_HAND, SHOWN)
