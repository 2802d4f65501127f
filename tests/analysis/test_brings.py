"""What a move brings: more that comes back, told with it where the two are one cause, and only there."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from analysis import brings as module
from analysis import review
from analysis.brings import Brought, brings
from analysis.studies.matters.matters import open_matters
from analysis.studies.people.touched import Touched
from tests.analysis.studies.measured import made, visit
from tests.dashboard.sentences.test_shared import matter

DAYS, DAILY, SINCE = 70, 24, 45
WEEK = 24.0 * 7


def shop(seed, *, moved="AB", more="AB", since=SINCE, at="bridge", testers="L"):
    """Two set action at the bridge, half each; from SINCE on the work of `moved` lies 1.5 sigma higher; from `since` on
    a fifth of the work of `more` comes back to a stage instead of one in twenty-five.
    """
    rng, rows = np.random.default_rng(seed), []
    for day in range(DAYS):
        for k in range(DAILY):
            serial, hours = f"S{DAILY * day + k:05d}", WEEK * (day // 5) + 24.0 * (day % 5) + k / 8
            who, tester = "AB"[k % 2], testers[int(rng.integers(len(testers)))]
            value = 2.0 + 0.1 * (rng.normal() + 1.5 * (who in moved and day >= SINCE))
            rows.append(visit(serial, hours, "nut", tech="C"))
            rows.append(visit(serial, hours + 0.2, "bridge", tech=who, readings={"action bass": value}))
            often = 0.2 if day >= since and (who in more or tester in more) else 0.04
            if rng.random() < often:
                rows.append(visit(serial, hours + 1, "play", "send back", tech=tester, cause=at))
                rows.append(visit(serial, hours + 2, at, tech="C" if at == "nut" else who))
            rows.append(visit(serial, hours + 3, "play", tech=tester))
            rows.append(visit(serial, hours + 4, "final", tech="T8"))
    return made(rows)


def told(snapshot):
    """What is told of a move and of what comes back: both are there, whether they are one line or two."""
    every = snapshot.once(open_matters)
    (move,) = [one for one in every if one.characteristics and (one.size or 0.0) > 0.08]
    (more,) = [one for one in every if not one.characteristics and (one.size or 0.0) > 0]
    found = brings(snapshot, every)
    assert all(key == move.key and one.matter == more for key, one in found.items())
    return [one.touched for one in found.values()]


@pytest.mark.parametrize("seed", [20320101, 20320102])
def test_more_that_comes_back_since_all_moved_is_of_the_move(seed):
    (one,) = told(shop(seed))
    assert (one.tried, one.others_tried) == ((DAYS - SINCE) * DAILY, 0)
    assert one.back / one.tried > 0.15


@pytest.mark.parametrize("seed", [20320103, 20320104])
def test_of_a_move_of_one_person_it_is_of_their_work(seed):
    (one,) = told(shop(seed, moved="A", more="A"))
    assert one.tried == one.others_tried == (DAYS - SINCE) * DAILY // 2
    assert one.back / one.tried > 0.15 > 0.08 > one.others_back / one.others_tried


@pytest.mark.parametrize("seed", [20320105, 20320106])
def test_it_is_not_where_everybodys_work_comes_back_more_or_that_of_another(seed):
    assert told(shop(seed, moved="A", more="AB")) == []
    assert told(shop(seed, moved="A", more="B")) == []


@pytest.mark.parametrize("seed", [20320107, 20320108])
def test_it_is_not_where_the_starts_or_the_stages_lie_apart(seed):
    assert told(shop(seed, since=20)) == []
    assert told(shop(seed, at="nut")) == []


@pytest.mark.parametrize("seed", [20320109, 20320110])
def test_it_is_not_where_one_tester_grew_stricter(seed):
    assert told(shop(seed, testers="LN", more="N")) == []


SNAPSHOT = shop(20320111)


def pair():
    every = SNAPSHOT.once(open_matters)
    return next(one for one in every if one.characteristics), next(one for one in every if not one.characteristics)


@pytest.mark.parametrize(
    "given",
    [
        {"to_target": True},
        {"share_of_tolerance": 0.01},
        {"one_reading": True},
        {"began_low": datetime(2026, 3, 2, tzinfo=UTC), "began_high": datetime(2026, 3, 20, tzinfo=UTC)},
        {"began_low": None},
    ],
)
def test_a_move_that_is_slight_unsure_wanted_or_of_other_days_brings_nothing(given):
    move, more = pair()
    assert list(brings(SNAPSHOT, [more, move])) == [move.key]
    assert brings(SNAPSHOT, [more, replace(move, **given)]) == {}


def test_what_somebody_decided_about_or_two_moves_would_do_for_stands_by_itself():
    move, more = pair()
    assert brings(SNAPSHOT, [move, replace(more, state="action")]) == {}
    assert brings(SNAPSHOT, [move, replace(more, size=-0.1)]) == {}
    assert brings(SNAPSHOT, [move, more, replace(move, key="other")]) == {}


@pytest.mark.parametrize(
    ("counts", "theirs"),
    [
        ((83, 491, 0, 0, 68, 1238, 83, 2101), True),  # a newcomer's work, and that of three others
        ((60, 1238, 83, 2101, 83, 491, 4, 100), False),  # theirs is no more than before
        ((50, 500, 20, 500, 50, 500, 20, 500), False),  # as many times more of others
        ((40, 200, 8, 200, 90, 2000, 40, 2000), False),  # far more times, but a third of all that came back more
        ((20, 120, 15, 480, 0, 0, 0, 0), True),
        ((20, 120, 2, 200, 0, 10, 0, 10), True),  # too few others to hold it against
        ((8, 20, 4, 400, 4, 400, 4, 400), False),  # too few
    ],
)
def test_what_came_back_more_is_theirs(counts, theirs):
    assert Touched(*counts).theirs == theirs


def test_week_tells_the_two_in_one_line_where_the_first_of_them_stood(monkeypatch):
    more = review.MatterSeen(replace(matter().matter, key="more", characteristics=[]), True, [], None)
    move, other = matter(key="move", new=False), matter(key="other")
    one = Brought(more.matter, Touched(8, 80, 2, 80, 0, 0, 0, 0))
    monkeypatch.setattr(review, "brings", lambda _snapshot, told: {"move": one} if len(told) == 3 else {})
    for seen in ([more, other, move], [move, other, more]):
        assert review._with_what_they_bring(None, seen) == [replace(move, brought=one), other]
    assert review._with_what_they_bring(None, [other, more, move])[1:] == [replace(move, brought=one)]
    assert review._with_what_they_bring(None, [move, more]) == [move, more]


def test_where_the_bench_itself_reads_nothing_a_later_stage_says_so_unless_it_lay_as_usual_before(monkeypatch):
    move, _ = pair()
    later = replace(move, stages=["final"], main=move.main | {"stage": "final"})
    assert not module._there(SNAPSHOT, later, "bridge")
    monkeypatch.setattr(module, "_read", lambda *_: False)
    assert module._there(SNAPSHOT, later, "bridge")
    assert not module._there(SNAPSHOT, replace(later, usual_at="play"), "bridge")
    assert not module._there(SNAPSHOT, later, "nut")
