"""Pairs before and after the rest: which readings make a pair, who is left out, and the mean with its interval."""

from math import sqrt

import polars as pl
import pytest

from analysis.studies.room.settling import SETTLING, pairs, settling_rows
from analysis.studies.story.story import story
from tests.analysis.studies.measured import made, visit

PITCH = {
    "characteristic": [
        {"key": "relief", "set_at": "neck", "at_pitch_from": "bridge"},
        {"key": "action", "set_at": "bridge", "positions": ["bass", "treble"]},
    ]
}


def rested(serial, before, after, hours=0.0, *, stage="play", outcome="pass", left=None, between=()):
    return [
        visit(serial, hours, stage, outcome, readings={"action bass": before}, left=left),
        *between,
        visit(serial, hours + 5, "rest"),
        visit(serial, hours + 30, "final", readings={"action bass": after}),
    ]


def row(visits, **more):
    found = settling_rows(made(visits, **(more or PITCH)))
    assert found.height == 1
    return found.row(0, named=True)


def test_mean_spread_and_interval_by_hand():
    changes = [-0.10, -0.14, -0.18, -0.10]
    visits = [
        v for k, change in enumerate(changes) for v in rested(f"S{k}", 2.0 + k / 10, 2.0 + k / 10 + change, 2.0 * k)
    ]
    found = row(visits)
    mean = sum(changes) / 4
    sd = sqrt(sum((c - mean) ** 2 for c in changes) / 3)
    half = 3.182446 * sd / 2  # t, 3 degrees of freedom, 97.5 %: 3.182 in any table
    assert (found["n"], found["left_out"]) == (4, 0)
    assert [found[name] for name in ("mean", "sd", "low", "high")] == pytest.approx(
        [mean, sd, mean - half, mean + half], rel=1e-6
    )
    assert (found["model"], found["characteristic"], found["position"]) == ("LARK", "action", "bass")
    assert list(found) == list(SETTLING)


def test_what_was_left_after_a_touch_up_is_what_went_to_rest():
    assert row(rested("A", 2.5, 2.0, left={"action bass": 2.1}))["mean"] == pytest.approx(-0.1)


@pytest.mark.parametrize(
    "visits",
    [
        rested("A", 2.0, 1.9, outcome="fixed"),  # not passed
        rested("A", 2.0, 1.9, between=[visit("A", 2, "bridge", tech="T1")]),  # a visit between
        [
            visit("A", 1, "play", readings={}),
            visit("A", 9, "final", readings={"action bass": 1.9}),
        ],  # not measured before
        [visit("A", 9, "final", readings={"action bass": 1.9})],  # nothing before
    ],
)
def test_without_a_passed_measured_visit_right_before_the_rest_an_instrument_is_left_out(visits):
    found = row(visits)
    assert (found["n"], found["left_out"], found["mean"], found["low"]) == (0, 1, None, None)


def test_readings_before_string_pull_make_no_pair():
    visits = [
        visit("A", 0, "neck", tech="T1", readings={"relief": 0.1}),
        visit("A", 30, "final", readings={"relief": 0.2}),
    ]
    assert row(visits)["left_out"] == 1
    played = [visit("A", 0, "play", readings={"relief": 0.1}), visit("A", 30, "final", readings={"relief": 0.2})]
    assert row(played)["mean"] == pytest.approx(0.1)


def test_the_first_final_inspection_counts_not_the_second_and_not_another_round():
    visits = [
        *rested("A", 2.0, 1.9),
        visit("A", 31, "bridge"),
        visit("A", 32, "play", readings={"action bass": 2.2}),
        visit("A", 60, "final", readings={"action bass": 2.0}),
        visit("A", 61, "packing"),
        visit("A", 500, "play", "return"),
        visit("A", 501, "final", readings={"action bass": 1.0}),
    ]
    found = row(visits)
    assert (found["n"], found["left_out"], found["mean"]) == (1, 0, pytest.approx(-0.1))


def test_an_instrument_without_a_reading_at_final_is_no_pair_and_not_left_out():
    assert settling_rows(
        made([visit("A", 0, "play", readings={"action bass": 2.0}), visit("A", 30, "final")], **PITCH)
    ).is_empty()


def test_one_pair_has_no_interval():
    found = row(rested("A", 2.0, 1.9))
    assert (found["n"], found["sd"], found["low"], found["high"]) == (1, None, None, None)


def test_pairs_are_what_one_instrument_after_another_says(demo):
    told = demo.once(story)
    some = told.instruments["serial"].unique().sort().gather_every(25)
    visits = told.visits.filter(pl.col("serial").is_in(some.implode()) & (pl.col("round") == 1))
    seen = {}  # of each instrument the last visit awake, until its first final one is met
    before = {}  # that final visit -> the one before it
    for row in visits.select("serial", "visit", "role", "outcome", "bench_order").iter_rows(named=True):
        if row["role"] != "rest" and seen.get(row["serial"], {}).get("role") != "final":
            if row["role"] == "final":
                before[row["visit"]] = seen.get(row["serial"])
            seen[row["serial"]] = row
    readings = told.readings.filter(pl.col("serial").is_in(some.implode()) & pl.col("value").is_not_null())
    said = {}
    asked = ["serial", "visit", "characteristic", "position", "moment", "only_left", "value"]
    rows = readings.select(asked).rows(named=True)
    for moment in ("found", "left"):
        for row in rows:
            if row["moment"] == moment:
                said[row["visit"], row["characteristic"], row["position"]] = row["value"]
    at_pitch = {one.key: one.at_pitch_from for one in demo.shop.characteristics}
    plain = []
    for row in rows:
        if row["visit"] in before and (row["moment"] == "found" or row["only_left"]):
            earlier, value = before[row["visit"]], None
            if earlier is not None and earlier["outcome"] == "pass":
                begins = demo.shop.bench_order.get(at_pitch[row["characteristic"]], -1)
                if earlier["bench_order"] >= begins:
                    value = said.get((earlier["visit"], row["characteristic"], row["position"]))
            plain.append((row["serial"], row["characteristic"], row["position"], row["value"], value))
    found = pairs(demo).filter(pl.col("serial").is_in(some.implode()))
    assert found.select("serial", "characteristic", "position", "after", "before").rows() == plain
    assert sum(value is not None for *_, value in plain) > 100


def test_a_reading_of_the_bench_from_which_on_it_is_at_pitch_makes_a_pair():
    visits = [
        visit("S1", 0.0, "bridge", "pass", readings={"relief": 0.2}),
        visit("S1", 5.0, "rest"),
        visit("S1", 30.0, "final", readings={"relief": 0.25}),
    ]
    assert row(visits)["n"] == 1
