from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods import run_rules as subject
from analysis.methods.problems import UnusableData
from analysis.methods.run_rules import ALL, MEMBERS, run_rules
from analysis.methods.segments import blocks

# Half sigmas put readings on every line; a run of them is much likelier to complete a pattern than normal readings are.
halves = st.lists(st.integers(-8, 8).map(lambda k: k / 2), min_size=1, max_size=60)
runs = st.lists(st.tuples(st.integers(-8, 8), st.integers(1, 16)), min_size=1, max_size=6).map(
    lambda parts: [k / 2 for k, times in parts for _ in range(times)]
)
readings = st.one_of(halves, runs)


def by_hand(z, rule):
    """The eight rules as worded, one reading at a time: the slow twin of the fast code."""
    fired = []
    for i in range(len(z)):
        window = z[max(0, i - MEMBERS[rule] + 1) : i + 1]
        full = len(window) == MEMBERS[rule]
        steps = [b - a for a, b in pairwise(window)]
        fires = {
            "beyond": abs(z[i]) > 3,
            "one side": full and (all(v > 0 for v in window) or all(v < 0 for v in window)),
            "climb": full and (all(d > 0 for d in steps) or all(d < 0 for d in steps)),
            "sawtooth": full and all(a * b < 0 for a, b in pairwise(steps)),
            "two of three": any(side * z[i] > 2 and sum(side * v > 2 for v in window) >= 2 for side in (1, -1)),
            "four of five": any(side * z[i] > 1 and sum(side * v > 1 for v in window) >= 4 for side in (1, -1)),
            "hugging": full and all(abs(v) <= 1 for v in window),
            "avoiding": full and all(abs(v) > 1 for v in window),
        }
        fired.append(fires[rule])
    return fired


def fired_all(values, starts=(0,), *, centre=0.0, sigma=1.0, **options):
    return run_rules(np.array(values, dtype=float), np.array(starts), centre=centre, sigma=sigma, **options).fired


@given(readings)
def test_every_rule_fires_where_a_reading_of_its_wording_says(z):
    fired = fired_all(z)
    assert {rule: fired[rule].tolist() for rule in ALL} == {rule: by_hand(z, rule) for rule in ALL}


@given(st.lists(readings, min_size=1, max_size=5))
def test_a_pattern_never_reaches_over_the_start_of_a_segment(streams):
    together = fired_all([value for z in streams for value in z], np.cumsum([0] + [len(z) for z in streams[:-1]]))
    for rule in ALL:
        assert together[rule].tolist() == [flag for z in streams for flag in fired_all(z)[rule].tolist()]


@pytest.mark.parametrize("rule", ALL)
def test_each_rule_fires_on_its_own_pattern_and_not_one_reading_sooner(rule):
    pattern = {
        "beyond": [3.1],
        "one side": [0.5, 1.5] * 4 + [0.5],
        "climb": [-1.5, -0.8, -0.1, 0.5, 1.2, 1.9],
        "sawtooth": [0.9, -0.9] * 7,
        "two of three": [2.5, 0.0, 2.5],
        "four of five": [1.5, 1.5, -0.2, 1.5, 1.5],
        "hugging": [0.5, -0.5, -1.0] * 5,
        "avoiding": [1.5, -1.5, -1.5, 1.5] * 2,
    }[rule]
    assert np.flatnonzero(fired_all(pattern)[rule]).tolist() == [len(pattern) - 1]


@given(readings)
def test_the_first_member_of_a_pattern_is_the_first_reading_of_the_window_that_belongs_to_it(z):
    found = run_rules(np.array(z), centre=0.0, sigma=1.0)
    for rule in ALL:
        at = np.flatnonzero(found.fired[rule])
        for i, first in zip(at.tolist(), found.from_at(rule, at).tolist(), strict=True):
            zone = {"two of three": 2, "four of five": 1}.get(rule)
            window = range(max(0, i - MEMBERS[rule] + 1), i + 1)
            side = np.sign(z[i])
            assert first == (window[0] if zone is None else min(k for k in window if side * z[k] > zone))


@given(readings, st.sampled_from([25.4, 1 / 25.4, 0.001]), st.floats(-100, 100))
def test_a_change_of_unit_or_origin_moves_no_flag(z, scale, shift):
    moved = fired_all(np.array(z) * scale + shift, centre=shift, sigma=scale)
    assert all((moved[rule] == flags).all() for rule, flags in fired_all(z).items())


@given(readings)
def test_mirrored_readings_fire_the_same_rules(z):
    mirrored = fired_all(-np.array(z))
    assert all((mirrored[rule] == flags).all() for rule, flags in fired_all(z).items())


@pytest.mark.parametrize("on_line", [0.1 + 0.2, 0.3, 0.1 * 3, 1 - 0.7])
def test_three_correct_sums_of_one_line_agree(on_line):
    # centre 0, sigma 0.1: all four sums are 0.3, the upper limit, give or take the last bit
    assert not fired_all([on_line], sigma=0.1)["beyond"].any()
    assert not fired_all([on_line] * 9, centre=0.3, sigma=0.1)["one side"].any()
    assert fired_all([on_line] * 15, centre=0.2, sigma=0.1)["hugging"].tolist() == [False] * 14 + [True]


def test_equal_neighbours_break_a_climb_even_where_their_last_bits_differ():
    steps = [0.1, 0.2, 0.3, 0.1 + 0.2, 0.4, 0.5]
    assert not fired_all(steps, centre=0.3, sigma=0.2)["climb"].any()


def test_a_run_of_one_value_fires_no_rule_when_its_sigma_is_nothing():
    fired = fired_all([0.25] * 40, centre=0.25, sigma=0.0)
    assert not any(flags.any() for flags in fired.values())


def test_width_moves_beyond_alone():
    z = np.tile([0.2, 2.5, -1.5, 3.5], 10)
    narrow, wide = fired_all(z, width=2.4), fired_all(z, width=4.0)
    assert narrow["beyond"].sum() == 20
    assert wide["beyond"].sum() == 0
    assert all((narrow[rule] == wide[rule]).all() for rule in ALL if rule != "beyond")


def test_each_segment_is_judged_by_its_own_centre_sigma_and_width():
    fired = fired_all(
        [10.0, 14.0, 0.5, 0.9],
        [0, 2],
        centre=np.array([10.0, 0.5]),
        sigma=np.array([1.0, 0.1]),
        width=np.array([4.5, 3.0]),
    )
    assert fired["beyond"].tolist() == [False, False, False, True]


def test_only_the_rules_asked_for_are_worked_out():
    assert list(fired_all([1.0, 2.0], rules=["climb"])) == ["climb"]


@pytest.mark.parametrize(
    ("values", "options", "message"),
    [
        ([], {}, "no reading"),
        ([1.0, np.nan], {}, "1 of 2 readings are missing"),
        ([np.nan, np.nan], {}, "2 of 2 readings are missing"),
        ([1.0], {"rules": ["runs of luck"]}, "no such rule: runs of luck"),
        ([1.0], {"sigma": -1.0}, "sigma of at least 0"),
        ([1.0], {"width": 0.0}, "width above 0"),
        ([1.0], {"centre": np.nan}, "every centre must be a number"),
    ],
)
def test_what_cannot_be_judged_is_refused_in_words(values, options, message):
    with pytest.raises(UnusableData, match=message):
        fired_all(values, **options)


def test_a_first_member_is_asked_only_where_the_rule_fired():
    with pytest.raises(UnusableData, match="did not fire"):
        run_rules([0.0, 1.0], centre=0.0, sigma=1.0).from_at("beyond", [1])


@given(readings)
def test_patterns_that_have_no_direction_in_time_are_the_same_ones_backwards(z):
    forward, backward = fired_all(z), fired_all(z[::-1])
    for rule in ("beyond", "one side", "climb", "sawtooth", "hugging", "avoiding"):
        first_members = np.flatnonzero(forward[rule]) - (MEMBERS[rule] - 1)
        assert sorted(len(z) - 1 - first_members) == np.flatnonzero(backward[rule]).tolist()


def test_a_hundred_thousand_readings_in_many_segments_give_what_small_pieces_give(monkeypatch):
    rng = np.random.default_rng(91)
    z = np.round(rng.normal(0, 1.5, 100_000) * 2) / 2  # wide enough for every rule to fire
    starts = np.r_[
        0, np.sort(rng.choice(np.arange(1, 30_000), 2_000, replace=False))
    ]  # many short segments, then one of 70,000
    wholesale = fired_all(z, starts)
    monkeypatch.setattr(subject, "blocks", lambda starts, n: blocks(starts, n, 50))
    piecemeal = fired_all(z, starts)
    assert all((wholesale[rule] == piecemeal[rule]).all() and wholesale[rule].any() for rule in ALL)
