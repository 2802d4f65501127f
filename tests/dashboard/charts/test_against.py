"""Where the two halves, their means and the limits are drawn: one scale for both."""

import pytest

from dashboard.charts import style
from dashboard.charts.against import GAP, MOST, SideView, against

A = SideView("this", [1.0, 2.0], ["x", "y"], 1.5, 1.2, 1.8)
B = SideView("that", [3.0, 4.0, 5.0, 4.0], list("abcd"), 4.0, 3.5, 4.5)


@pytest.mark.parametrize("narrow", [False, True])
def test_each_reading_stands_in_its_half_at_its_value_on_one_scale(narrow):
    figure = against(A, B, lower=1.0, upper=4.5, unit="mm", narrow=narrow)
    left, right = (one for one in figure["data"] if one["mode"] == "markers")
    assert left["y"] == [1.0, 2.0]
    assert left["x"] == [0.25, 0.75]
    assert right["y"] == [3.0, 4.0, 5.0, 4.0]
    assert right["x"][0] == pytest.approx(1 + GAP + 0.125)
    low, high = figure["layout"]["yaxis"]["range"]
    assert low < 1.0
    assert high > 5.0
    means = [one for one in figure["layout"]["shapes"] if one["type"] == "line" and one["line"]["width"] == 3]
    assert [(one["x0"], one["y0"]) for one in means] == [(0.0, 1.5), (1 + GAP, 4.0)]
    board = next(one for one in figure["layout"]["shapes"] if one.get("fillcolor") == style.BOARD)
    assert (board["y0"], board["y1"]) == (1.0, 4.5)


def test_of_very_many_readings_every_so_manieth_is_drawn():
    many = SideView("this", [float(k % 7) for k in range(5 * MOST)], ["s"] * (5 * MOST), 3.0, 2.9, 3.1)
    figure = against(many, B, lower=None, upper=None, unit="mm")
    assert len(figure["data"][1]["x"]) == MOST
