"""A shop of one pair of hands: what is read was set by them, and what comes back is theirs to look at."""

import numpy as np
import polars as pl

from analysis.studies.people.alone import came_back, lone
from analysis.studies.people.far_off import near
from analysis.studies.people.targets import SHOWN, stands
from tests.analysis.studies.measured import made, visit

SPEC = {"characteristic": "neck_bow", "target": 0.2, "lower": 0.0, "upper": 0.4}  # set at no bench


def book(*, also="", tech=("Marta",)):
    """One row an instrument at the final inspection; every tenth goes back to the bridge, where nobody writes, every
    fifteenth with no cause.
    """
    rng, rows = np.random.default_rng(61), []
    for k in range(120):
        s, hours = f"S{k:03d}", 24.0 * (k // 4) + k % 4
        readings = {"neck_bow": 0.2 + 0.03 * float(rng.standard_normal())}
        more = {"outcome": "send back", "cause": "bridge" if k % 10 == 0 else "unknown"} if k % 10 in (0, 5) else {}
        by = also if also and k % 7 == 0 else "Marta"
        if more:
            rows += [visit(s, hours, "final", more["outcome"], tech=by, cause=more["cause"], readings=readings)]
            rows += [visit(s, hours + 0.5, "final", tech=by)]
        else:
            rows += [visit(s, hours, "final", tech=by, readings=readings)]
    return made(rows, [SPEC], tech=[{"key": key} for key in tech])


def test_what_is_read_in_a_shop_of_one_was_set_by_the_only_person_and_has_a_target():
    snapshot = book()
    assert lone(snapshot) == "Marta"
    assert near(snapshot).select(pl.col("set_by", "set_stage").cast(pl.String)).unique().rows() == [("Marta", "final")]
    [stand] = stands(snapshot, "Marta")
    assert (len(stand.values), stand.verdict, stand.band["stage"]) == (120, SHOWN, "final")
    assert stand.sd_low < 0.03 < stand.sd_high


def test_all_that_comes_back_is_told_whatever_it_is_charged_to():
    back = came_back(book())
    assert (back.judged, back.came_back) == (120, 24)
    assert back.by_cause == [("bridge", 12), ("unknown", 12)]


def test_where_two_work_nobody_is_alone():
    for snapshot in (book(also="Joe"), book(also="Joe", tech=("Marta", "Joe")), book(tech=("Marta", "Joe"))):
        assert lone(snapshot) == ""
        assert stands(snapshot, "Marta") == []
