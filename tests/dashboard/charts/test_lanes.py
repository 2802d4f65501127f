"""Lanes of what nobody has worked on yet, and of what was caught at or before the stage that caused it."""

import pytest

from dashboard.charts.lanes import Catch, Lane, LanesView, lanes

FIGURES = ["0.0", "", "0", "2", "0 %"]


def _view(*catches):
    lane = Lane("Crowning", 5, catches, 0.0, FIGURES, key="crowning|")
    stages = [f"Stage {k}" for k in range(1, 10)]
    headings = ["hours|95 %", "4 weeks|before", "EUR", "sent|back", "cause|confirmed"]
    return LanesView(stages, [], [lane], headings, [("All that came back", FIGURES)])


@pytest.mark.parametrize("narrow", [False, True])
def test_a_cause_without_work_on_file_is_a_row_without_an_arrow(narrow):
    figure = lanes(_view(), narrow=narrow)
    assert "Crowning" in {one["text"].replace("<b>", "").replace("</b>", "") for one in figure["layout"]["annotations"]}
    assert not [one for one in figure["layout"]["shapes"] if one["type"] == "path"]


@pytest.mark.parametrize("narrow", [False, True])
def test_two_catches_at_one_place_of_the_picture_are_drawn(narrow):
    figure = lanes(_view(Catch(2, 4.0, "4.0"), Catch(3, 2.0, "2.0")), narrow=narrow)
    assert "4.0" in " ".join(
        one["text"] for one in figure["layout"]["annotations"]
    )  # the larger one, where both have no room
