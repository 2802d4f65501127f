"""What changed between the last reading before the rest and the first final one where another bench lies between."""

import pytest

from analysis.studies.room.across import ACROSS, across_rows
from analysis.studies.room.settling import settling_rows
from tests.analysis.studies.measured import made, visit

CHANGES = [-0.02, -0.03, -0.04]


def worked(serial, hours, change, *, between=("bridge",), outcome="pass", again=None):
    """Straightened and read, at benches that set something else, rested, and read at final."""
    return [
        visit(serial, hours, "neck", tech="T1", readings={"relief": 0.2}),
        *[visit(serial, hours + 1 + k, stage, outcome, tech="T2") for k, stage in enumerate(between)],
        *([again] if again else []),
        visit(serial, hours + 8, "rest"),
        visit(serial, hours + 32, "final", readings={"relief": 0.2 + change}),
    ]


def shop_of(**more):
    return [each for k, change in enumerate(CHANGES) for each in worked(f"S{k}", 40.0 * k, change, **more)]


def test_what_a_bench_between_leaves_out_is_counted_with_its_mean_and_that_bench():
    snapshot = made(shop_of())
    assert settling_rows(snapshot).select("n", "left_out").row(0) == (0, 3)
    row = across_rows(snapshot).row(0, named=True)
    assert list(row) == list(ACROSS)
    half = 4.302653 * 0.01 / 3**0.5  # t, 2 degrees of freedom, 97.5 %: 4.303 in any table
    assert (row["model"], row["characteristic"], row["n"], row["between"]) == ("LARK", "relief", 3, ["bridge"])
    assert [row["mean"], row["low"], row["high"]] == pytest.approx([-0.03, -0.03 - half, -0.03 + half], rel=1e-6)


def test_benches_between_are_told_the_one_met_most_often_first():
    visits = [*shop_of(), *worked("Z", 200.0, -0.03, between=("nut", "bridge"))]
    assert across_rows(made(visits)).row(0, named=True)["between"] == ["bridge", "nut"]


@pytest.mark.parametrize(
    "more",
    [
        {"outcome": "fixed"},  # who fixed may have moved it
        {"between": ("bridge", "neck")},  # set again, and not read
        {"between": ()},  # nothing between: a pair
    ],
)
def test_what_was_fixed_set_again_or_is_a_pair_is_not_counted(more):
    assert across_rows(made(shop_of(**more))).is_empty()


def test_readings_before_string_pull_are_not_counted():
    pitch = {"characteristic": [{"key": "relief", "set_at": "neck", "at_pitch_from": "bridge"}]}
    assert across_rows(made(shop_of(), **pitch)).is_empty()
    assert across_rows(made([visit("A", 0, "neck"), visit("A", 1, "play")])).is_empty()


def test_the_last_passed_reading_counts_as_it_was_left():
    again = visit("S0", 3, "play", readings={"relief": 0.5}, left={"relief": 0.3})
    visits = [*worked("S0", 0.0, 0.0, between=(), again=again), visit("S0", 4, "bridge", tech="T2")]
    row = across_rows(made(visits)).row(0, named=True)
    assert (row["n"], row["mean"], row["low"]) == (1, pytest.approx(-0.1), None)
