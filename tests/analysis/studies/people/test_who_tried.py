"""Who tried an instrument where most of what comes back is caught is part of the mix; who judged it in the end need not
be the one.
"""

import numpy as np
import pytest

from analysis.studies.people.first_work import first_work
from analysis.studies.people.techs import exposure, people
from analysis.studies.people.who_tried import who_tried
from dashboard.sentences.bench import came_back
from tests.analysis.studies.measured import made, visit


def shop(rng, *, strict=0.3, mild=0.05, days=60, only_back=False):
    """A and B set eight a day between them, alike; N tries four fifths of A's and one of B's, and sends more back.
    only_back : play test writes down nothing but what it sends back.
    """
    rows = []
    for k in range(8 * days):
        serial, at, tech = f"S{k:04d}", 24.0 * (k // 8) + k % 8, "AB"[k % 2]
        tester = "N" if (rng.random() < 0.8) == (tech == "A") else "L"
        rows.append(visit(serial, at, "bridge", tech=tech))
        back = rng.random() < (strict if tester == "N" else mild)
        if back:
            rows.append(visit(serial, at + 1, "play", "send back", tech=tester, cause="bridge"))
            rows.append(visit(serial, at + 2, "bridge", tech=tech))
        if back or not only_back:
            rows.append(visit(serial, at + 3, "play", tech=tester))
        rows.append(visit(serial, at + 24, "final", tech="T8"))
    return made(rows)


@pytest.mark.parametrize("seed", [20311201, 20311202, 20311203])
@pytest.mark.parametrize("study", [people, first_work])
def test_whoever_has_the_stricter_tester_is_not_told_of_more(seed, study):
    rows = {row["tech"]: row for row in study(shop(np.random.default_rng(seed))).iter_rows(named=True)}
    assert rows["A"]["came_back"] > 2 * rows["B"]["came_back"]
    for tech in "AB":
        assert not rows[tech]["more"]
        assert rows[tech]["ratio_low"] < 1 < rows[tech]["ratio_high"]


def test_the_tester_is_who_first_tried_it():
    made_ = shop(np.random.default_rng(20311204))
    told = made_.once(exposure)
    assert set(told.filter(stage="bridge")["inspector"]) == {"L", "N"}
    assert set(told.filter(stage="play")["inspector"]) == {"T8"}  # nothing comes back to it: who judged in the end


def test_where_only_what_came_back_is_written_down_the_tester_tells_nothing():
    made_ = shop(np.random.default_rng(20311205), only_back=True)
    assert set(who_tried(made_)["tester"]) == {"T8"}
    assert set(made_.once(exposure)["inspector"]) == {"T8"}


def test_that_nothing_is_sent_back_to_a_tester_says_nothing_of_what_they_catch():
    rows = first_work(shop(np.random.default_rng(20311206))).filter(stage="play", tech="L")
    assert came_back(rows.row(0, named=True)).endswith("says nothing of what is caught here.")
