"""The headline of Drift: what moved, and what left its limits without showing a move, as Week says it."""

import pytest

from dashboard.sentences import what_moved

MOVED, ELSEWHERE = ["action on LARK, up 0.2 mm"], ["neck relief on LARK, down 0.1 mm"]
LEFT = "One chart has left its limits, and all readings since then do not show a move: Head gauge on LARK."


@pytest.mark.parametrize(
    ("moved", "elsewhere", "watched", "said"),
    [
        ([], [], [], "All 8 series that can be judged ran true."),
        ([], [], ["Head gauge on LARK"], f"Nothing is shown to have moved at stringing. {LEFT}"),
        (MOVED, [], ["Head gauge on LARK"], "One thing moved at stringing: action on LARK, up 0.2 mm."),
        (
            [],
            ELSEWHERE,
            [],
            "Nothing moved at stringing: all 8 series that can be judged ran true. Out of this view one thing "
            "moved: neck relief on LARK, down 0.1 mm.",
        ),
    ],
)
def test_what_readings_do_not_show_is_not_said_to_have_moved(moved, elsewhere, watched, said):
    assert what_moved.headline(moved, elsewhere, 8, 0, " at stringing", watched=watched) == said


@pytest.mark.parametrize(
    ("moved", "nearer", "said"),
    [
        (["A, up 1 mm", "B, down 1 mm"], 1, "One thing moved: A, up 1 mm. One came nearer to target."),
        (["B, down 1 mm"], 1, "One thing came nearer to target: B, down 1 mm."),
        (["B, up 1 mm", "C, up 1 mm"], 2, "Two things came nearer to target, first B, up 1 mm."),
    ],
)
def test_what_came_nearer_to_its_target_is_told_apart(moved, nearer, said):
    assert what_moved.headline(moved, [], 8, 0, "", nearer=nearer).lower() == said.lower()


def test_what_left_its_limits_without_a_move_stands_under_a_headline_of_moves():
    assert what_moved.beside(MOVED, [], ["Head gauge on LARK"]) == LEFT
    assert what_moved.beside([], ELSEWHERE, ["Head gauge on LARK"]) == LEFT
    assert what_moved.beside([], [], ["Head gauge on LARK"]) == what_moved.beside(MOVED, [], []) == ""


def test_several_that_are_watched_are_counted():
    told = what_moved.headline([], [], 8, 0, "", watched=["Head gauge on LARK", "Action on HERON"])
    assert told.startswith("Nothing is shown to have moved. Two charts have left their limits")
    assert told.endswith("do not show a move: Head gauge on LARK; action on HERON.")


def test_what_came_back_is_not_counted_as_having_run_true():
    assert what_moved.headline([], [], 8, 0, "", back=1) == (
        "Nothing moved: 7 series ran true, and one came back where it was."
    )
    assert what_moved.headline(MOVED, [], 8, 0, "", back=1) == "One thing moved: action on LARK, up 0.2 mm."
