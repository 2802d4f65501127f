"""Practice of new techs: who is new, minutes on one footing, and nothing said of tomorrow from too few."""

from datetime import date

import numpy as np
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.people.learning_curves import BLOCK, learning_curve, new_techs, practice
from tests.analysis.studies.measured import made, visit

PEOPLE = {
    "tech": [
        {"key": "OLD", "qualified": ["nut", "bridge"]},
        {"key": "NEW", "started": date(2026, 3, 10), "qualified": ["nut"]},
    ]
}


def shop_with(n, *, rng, hard=0.3, back=0.0, **more):
    """OLD all along; NEW from day 9 with minutes 12 i^-.2, times 2 on WREN for everybody, of which NEW gets `hard`."""
    visits = []

    def instrument(s, hour, tech, minutes, model, returned, action):
        visits.append(visit(s, hour, "bridge", tech=tech, minutes=minutes, model=model))
        if returned:
            visits.append(visit(s, hour + 1, "play", "send back", cause="bridge"))
            visits.append(visit(s, hour + 2, "bridge", tech=tech, minutes=4.0, model=model))
        visits.append(visit(s, hour + 24, "final", readings={"action bass": action}, model=model))

    for k in range(60):
        model = ("LARK", "WREN")[k % 2]
        instrument(
            f"O{k:03d}",
            5.0 * k,
            "OLD",
            (1 + k % 2) * 6.0 * float(rng.lognormal(0, 0.1)),
            model,
            False,
            float(rng.normal(2, 0.1)),
        )
    for k in range(n):
        model = "WREN" if rng.random() < hard else "LARK"
        minutes = (2 if model == "WREN" else 1) * 12 * (k + 1) ** -0.2 * float(rng.lognormal(0, 0.1))
        instrument(f"N{k:03d}", 24.0 * 8 + 2 * k, "NEW", minutes, model, rng.random() < back, float(rng.normal(2, 0.1)))
    return made(visits, **(PEOPLE | more))


def test_somebody_is_new_where_they_are_not_qualified_yet():
    told = new_techs(shop_with(5, rng=np.random.default_rng(61)))
    assert told.select("stage", "tech", "instruments").rows() == [
        ("bridge", "NEW", 5)
    ]  # final inspections bear no name here


def test_where_nobody_is_signed_off_who_began_of_late_is_new_and_nobody_else():
    def rows(people):
        return [
            visit(f"{tech}{k}", 24.0 * day, "bridge", tech=tech) for tech, days in people.items() for k, day in days
        ]

    early, late = list(enumerate(range(0, 120, 3))), list(enumerate(range(40, 120, 3)))
    nobody = {"tech": [{"key": key} for key in ("A", "B", "NEW")]}
    told = new_techs(made(rows({"A": early, "B": early[2:], "NEW": late}), **nobody))
    assert told.select("tech", "began").rows() == [("NEW", True)]
    snapshot = made(rows({"A": early, "B": early[2:], "NEW": late}), **nobody)
    assert [learning_curve(snapshot, "bridge", tech).begins_in_logs for tech in ("B", "NEW")] == [False, True]
    signing = {"tech": [{"key": "A", "qualified": ["bridge"]}, {"key": "B"}, {"key": "NEW"}]}
    told = new_techs(made(rows({"A": early, "B": early[2:], "NEW": late}), **signing))
    assert told.select("tech", "began").rows() == [("B", False), ("NEW", True)]
    year = list(enumerate(range(40, 400, 3)))  # somebody who came long ago
    assert new_techs(made(rows({"A": [*early, *year], "NEW": year}), **nobody)).is_empty()


def test_minutes_are_brought_to_one_model_and_the_curve_found_again():
    found = learning_curve(shop_with(120, rng=np.random.default_rng(62)), "bridge", "NEW")
    assert (found.instruments, found.begins_in_logs, len(found.serials)) == (120, True, 120)
    assert found.minutes.says == ""
    at = [float(np.interp(unit, found.minutes.x, found.minutes.curve)) for unit in (30, 120)]
    assert at[1] / at[0] == pytest.approx(4**-0.2, abs=0.08)  # two doublings, each known to .04
    even = found.minutes.value / found.minutes.unit**-0.2
    assert np.log(even).std() == pytest.approx(0.1, abs=0.03)  # no trace of the models left
    assert found.minutes_hands is not None
    assert (found.minutes.low <= found.minutes.curve).all()
    assert (found.minutes.curve <= found.minutes.high).all()
    assert found.minutes.x[-1] == pytest.approx(180)


def test_where_nobody_is_signed_off_minutes_are_held_against_old_hands_on_the_same_mix():
    # everybody takes 6 on LARK and 12 on WREN; OLD sets half of each, NEW one WREN in four: 7.5 on average
    rows = []
    for k in range(240):
        tech = "NEW" if k >= 120 and k % 2 else "OLD"
        hard = k % 8 == 1 if tech == "NEW" else k % 4 < 2
        rows.append(
            visit(f"S{k:03d}", 6.0 * k, "bridge", tech=tech, minutes=12 if hard else 6, model=("LARK", "WREN")[hard])
        )
    found = learning_curve(made(rows, tech=[{"key": "OLD"}, {"key": "NEW"}]), "bridge", "NEW")
    assert not found.signed
    assert found.minutes_hands == pytest.approx((7.5, 7.5))
    assert found.minutes.curve[-1] == pytest.approx(7.5)


def test_under_forty_instruments_nothing_is_said_of_tomorrow():
    found = learning_curve(shop_with(39, rng=np.random.default_rng(63)), "bridge", "NEW")
    assert found.minutes.says.startswith("cannot be said yet")
    assert found.minutes.low.size == 0
    assert found.minutes.x.max() <= 39
    assert learning_curve(shop_with(40, rng=np.random.default_rng(63)), "bridge", "NEW").minutes.says == ""


def test_planned_minutes_teach_nothing():
    visits = [visit(f"N{k:02d}", k, "bridge", tech="NEW") for k in range(50)]
    found = learning_curve(made(visits, **PEOPLE), "bridge", "NEW")
    assert (found.instruments, len(found.minutes.value), found.minutes.curve.size) == (50, 0, 0)
    assert "four instruments" in found.minutes.says


def test_send_backs_are_those_charged_and_none_leaves_only_how_high_it_may_lie():
    rng = np.random.default_rng(64)
    found = learning_curve(shop_with(80, rng=rng, back=0.3), "bridge", "NEW")
    assert 0.15 < found.came_back.value.mean() < 0.45
    assert found.came_back_hands == 0.0
    assert 0 < found.came_back.curve[-1] < 0.6
    none = learning_curve(shop_with(80, rng=rng), "bridge", "NEW").came_back
    assert (none.curve == 0).all()
    assert 0 < none.high[-1] < 0.1


def test_spread_goes_by_blocks_of_instruments_in_the_others_standard_deviations():
    found = learning_curve(shop_with(100, rng=np.random.default_rng(65)), "bridge", "NEW").spreads["action"]
    assert found.unit.tolist() == [BLOCK // 2 + BLOCK * k for k in range(5)]
    assert found.value.mean() == pytest.approx(1.0, abs=0.25)
    assert found.low.size == 0
    assert "not carried forward" in found.says


def test_a_tech_who_began_before_the_logs_is_said_to():
    people = {"tech": [{"key": "NEW", "started": date(2026, 1, 5)}]}
    assert not learning_curve(shop_with(10, rng=np.random.default_rng(66), **people), "bridge", "NEW").begins_in_logs


def test_nobody_s_practice_is_an_answer_in_words():
    with pytest.raises(UnusableData, match="no visit at"):
        learning_curve(shop_with(3, rng=np.random.default_rng(67)), "bridge", "T99")
    assert "four instruments" in practice(np.arange(1, 3), np.array([5.0, 4.0])).says


def test_who_began_off_the_others_and_came_to_them_is_told_with_both():
    rng, visits = np.random.default_rng(68), []
    for k in range(200):  # by turns; NEW 0.3 high at first, and with the others from the hundredth on
        tech = ("OLD", "NEW")[k % 2]
        off = 0.3 * max(0.0, 1 - k / 100) if tech == "NEW" else 0.0
        value = float(rng.normal(2 + off, 0.05))
        visits += [
            visit(f"S{k:03d}", 2.0 * k, "bridge", tech=tech),
            visit(f"S{k:03d}", 2.0 * k + 1, "final", readings={"action bass": value}),
        ]
    snapshot = made(visits, **PEOPLE)
    first, last = learning_curve(snapshot, "bridge", "NEW").offsets["action"]
    assert (first.of, last.of) == (BLOCK, BLOCK)
    assert first.low < 0.3 * (1 - BLOCK / 100) < first.high
    assert first.low > 0.1
    assert last.low < 0 < last.high
    few = learning_curve(made(visits[: 4 * (2 * BLOCK - 1)], **PEOPLE), "bridge", "NEW")
    assert few.offsets == {}


def test_when_somebody_new_came_to_the_others_is_told_by_weeks_and_not_of_who_never_does():
    # by turns, thirty of each a week from Monday 2 March on; NEW 0.3 high and 3 minutes slower for five weeks, FAR ever
    rng, visits = np.random.default_rng(69), []
    people = ("OLD", "HAND", "NEW", "FAR")
    for week in range(14):
        for k in range(120):
            tech, at = people[k % 4], 168.0 * week + 0.8 * k
            off = {"NEW": float(week < 5), "FAR": 1.0}.get(tech, 0.0)
            minutes = (8 + 3 * off) * float(rng.lognormal(0, 0.1))
            s, value = f"S{week:02d}{k:03d}", float(rng.normal(2 + 0.3 * off, 0.1))
            visits.append(visit(s, at, "bridge", tech=tech, minutes=minutes))
            visits.append(visit(s, at + 1, "final", readings={"action bass": value}))
    staff = {"tech": [{"key": "OLD", "qualified": ["bridge"]}, {"key": "HAND", "qualified": ["bridge"]}]}
    snapshot = made(visits, tech=[*staff["tech"], {"key": "NEW"}, {"key": "FAR"}])
    told = learning_curve(snapshot, "bridge", "NEW").reached
    assert set(told) == {"action", "minutes"}
    for since in told.values():
        assert since.low <= date(2026, 4, 6) <= since.high
        assert since.low <= since.at <= since.high
        assert abs((since.at - date(2026, 4, 6)).days) <= 7
    assert learning_curve(snapshot, "bridge", "FAR").reached == {}
