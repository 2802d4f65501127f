"""Where bars, limits and curve of a histogram are drawn."""

import pytest

from dashboard.charts import style
from dashboard.charts.histogram import FOOT, HEIGHT, SIDE, HistogramView, histogram

VIEW = HistogramView(
    [0.0, 0.1, 0.2, 0.3], [4, 8, 2], [0, 0, 1], ["a", "b", "c"], [0.0, 0.15, 0.3], [2, 8, 2], 0.15, 0.02, 0.25, 2, "mm"
)


def bars_of(figure):
    return [one for one in figure["layout"]["shapes"] if one["type"] == "rect" and one["layer"] == "above"]


@pytest.mark.parametrize("narrow", [False, True])
def test_a_bar_is_as_tall_as_its_readings_and_stands_over_its_part_of_the_axis(narrow):
    drawn = histogram(VIEW, narrow=narrow)
    first, second = bars_of(drawn)[:2]
    tall = [one["y1"] - one["y0"] for one in (first, second)]
    assert tall[1] == pytest.approx(2 * tall[0])
    assert first["y1"] == HEIGHT - FOOT
    assert second["x0"] == pytest.approx(first["x1"] + 2)  # a hairline between two bars


def test_what_lies_outside_is_drawn_on_top_of_its_bar_in_the_colour_of_what_moved():
    inside, outside = bars_of(histogram(VIEW))[2:]
    assert outside["fillcolor"] == style.MOVED
    assert outside["y1"] == inside["y0"]
    assert outside["y1"] - outside["y0"] == pytest.approx(inside["y1"] - inside["y0"])  # one of two


def test_the_board_ends_at_the_limits_and_at_the_chart_s_side_where_there_is_none():
    board = next(one for one in histogram(VIEW)["layout"]["shapes"] if one.get("fillcolor") == style.BOARD)
    bars = bars_of(histogram(VIEW))
    a_tenth = bars[0]["x1"] - bars[0]["x0"] + 2
    assert board["x0"] == pytest.approx(bars[0]["x0"] - 1 + 0.2 * a_tenth)
    open_below = HistogramView(**{**VIEW.__dict__, "lower": None})
    board = next(one for one in histogram(open_below)["layout"]["shapes"] if one.get("fillcolor") == style.BOARD)
    assert board["x0"] == SIDE


def test_without_a_curve_none_is_drawn_and_without_readings_the_chart_says_so():
    plain = HistogramView(**{**VIEW.__dict__, "x": [], "y": []})
    assert [one.get("mode") for one in histogram(plain)["data"]] == ["markers"]
    nothing = histogram(HistogramView([0, 1], [0], [0], [""], [], [], None, None, None, 2, "mm"))
    assert "No reading to draw." in str(nothing)
