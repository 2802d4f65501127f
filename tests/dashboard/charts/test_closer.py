"""The chart to move about in holds each reading at its time and value, in both schemes, and in any stretch of time."""

import pytest

from dashboard.charts.stream.closer import closer
from dashboard.charts.style import DARK, LIGHT
from tests.dashboard.charts.examples import stream_view


@pytest.fixture(scope="module")
def drawn():
    return closer(stream_view())


def _trace(figure, name):
    return [one for one in figure["data"] if one["name"].startswith(name)]


def test_every_reading_stands_at_its_time_and_value_with_its_serial(drawn):
    view = stream_view()
    (points,) = _trace(drawn, "reading")
    assert list(points["x"]) == list(view.taken_at)
    assert list(points["y"]) == list(view.values)
    assert [serial for serial, _ in points["customdata"]] == list(view.serials)


def test_readings_outside_stand_where_they_were_read(drawn):
    view = stream_view()
    marked = _trace(drawn, "outside")
    assert [t for one in marked for t in one["x"]] == [view.taken_at[k] for k in view.outside]
    assert [v for one in marked for v in one["y"]] == [view.values[k] for k in view.outside]


def test_the_board_reaches_from_limit_to_limit_and_one_limit_is_a_line():
    (board,) = [one for one in closer(stream_view())["layout"]["shapes"] if one["type"] == "rect"]
    assert (board["y0"], board["y1"]) == (2.10, 2.70)
    shapes = closer(stream_view(spec=(None, 2.70)))["layout"]["shapes"]
    assert [one["y0"] for one in shapes if "layer" in one] == [2.70]
    assert not [one for one in shapes if one["type"] == "rect"]


def test_a_stretch_of_time_can_be_dragged_over(drawn):
    assert drawn["layout"]["dragmode"] == "zoom"
    assert not any(drawn["layout"][name].get("fixedrange") for name in ("xaxis", "yaxis"))


def test_it_follows_the_scheme():
    light, dark = (str(closer(stream_view(), dark=dark)) for dark in (False, True))
    only = {name for name in LIGHT if LIGHT[name] != DARK[name]}
    assert not any(DARK[name] in light for name in only)
    assert not any(LIGHT[name] in dark for name in only)


def test_a_stream_that_is_not_judged_yet_has_no_average():
    assert not _trace(closer(stream_view(judged=False)), "running average")
