import itertools
from dataclasses import replace
from datetime import timedelta

import pytest

from dashboard.charts import style
from dashboard.charts.stream.chart import Change, Limits, Odd, stream
from tests.dashboard.charts.examples import ANEW, CROWDED, MOVED, START, stream_view


def fills(figure, colour):
    return [
        trace
        for trace in figure["data"]
        if trace.get("fill") == "toself" and trace["fillcolor"].startswith(colour) and "fillpattern" not in trace
    ]


def hatches(figure):
    return [trace for trace in figure["data"] if "fillpattern" in trace]


def texts(figure):
    return [text["text"] for text in figure["layout"]["annotations"]]


def named(figure, name):
    return next((trace for trace in figure["data"] if trace.get("name") == name), None)


def test_light_shows_where_the_average_left_the_edge_and_hatch_where_it_did_once():
    figure = stream(stream_view())
    (light,) = fills(figure, style.LIGHT_FILL)
    assert min(light["x"]) >= MOVED.isoformat()
    assert len(hatches(figure)) == 1


def test_a_steady_stream_has_no_colour():
    calm = replace(stream_view(), signals=[], began=None, changes=[], anew=[], runs=[], odd=[])
    used = str(stream(calm))
    assert not any(
        colour in used for colour in (style.LIGHT_FILL, style.MOVED, style.MOVEDTEXT, style.FOCUS, style.BACK)
    )


def test_light_lies_on_the_side_the_signal_went_to():
    (up,) = fills(stream(stream_view()), style.LIGHT_FILL)
    (down,) = fills(stream(stream_view(direction="down")), style.LIGHT_FILL)
    assert min(up["y"]) == pytest.approx(2.39)
    assert max(down["y"]) == pytest.approx(2.39)


def test_in_width_mode_there_is_no_gap_and_no_average_and_light_fills_the_runs_that_fired():
    figure = stream(stream_view(judged=False))
    assert not fills(figure, style.CARD)
    assert not [t for t in figure["data"] if t.get("mode") == "lines" and t["line"].get("width") == 2.4]
    (light,) = fills(figure, style.LIGHT_FILL)
    assert "2026-11-09" <= min(light["x"]) <= max(light["x"]) < "2026-11-13"


def test_the_board_has_a_gap_each_monday_and_its_limits_as_edges():
    shapes = stream(stream_view())["layout"]["shapes"]
    frets = [s for s in shapes if s["type"] == "line" and s["line"]["color"] == style.CARD]
    assert all("T00:00:00" in s["x0"] for s in frets)
    assert len(frets) == 12  # 24 August to 9 November: the board begins during the Monday before
    assert sorted(s["y0"] for s in shapes if s["type"] == "line" and s["line"]["color"] == style.BOARDEDGE) == [
        2.10,
        2.40,
        2.70,
    ]


def test_with_one_limit_the_board_runs_to_the_end_of_the_chart_and_has_no_edge_there():
    figure = stream(stream_view(spec=(None, 2.70)))
    board = next(s for s in figure["layout"]["shapes"] if s["type"] == "rect" and s["fillcolor"] == style.BOARD)
    assert board["y0"] == figure["layout"]["yaxis"]["range"][0]
    edges = [
        s["y0"]
        for s in figure["layout"]["shapes"]
        if s["type"] == "line" and s["line"]["color"] == style.BOARDEDGE and s["line"]["dash"] == "solid"
    ]
    assert edges == [2.70]


def test_limits_are_drawn_at_the_dates_they_held_with_a_break_between():
    dashed = next(t for t in stream(stream_view())["data"] if t.get("line", {}).get("dash") == "7px,4px")
    assert sorted({y for y in dashed["y"] if y is not None}) == [2.12, 2.13, 2.64, 2.66]
    first, second = dashed["x"][1], dashed["x"][6]
    assert first < ANEW.isoformat() < second


def test_a_thin_stream_has_an_edge_and_no_limits():
    view = stream_view()
    figure = stream(
        replace(
            view,
            limits=[Limits(view.taken_at[0], view.taken_at[-1], 2.39, None, None)],
            average=None,
            gap_low=None,
            gap_high=None,
        )
    )
    assert not [t for t in figure["data"] if t.get("line", {}).get("dash") == "7px,4px"]
    assert "2.39  centre line" in texts(figure)


def test_figures_at_the_right_stand_sixteen_px_apart():
    right = [t for t in stream(stream_view())["layout"]["annotations"] if t.get("xshift") == 11 and t["x"] == 1]
    heights = sorted(t["yshift"] for t in right)
    assert len(heights) >= 4
    assert all(b - a >= style.APART - 1e-6 for a, b in itertools.pairwise(heights))


def test_words_without_room_stand_under_the_chart_and_none_is_lost():
    for narrow in (False, True):
        figure = stream(CROWDED, narrow=narrow)
        said = " ".join(texts(figure))
        for change in CROWDED.changes:
            assert change.words in said
        for odd in CROWDED.odd:
            assert odd.words in said


def test_an_instrument_far_away_stands_at_the_border_and_leaves_the_scale_alone():
    view = stream_view()
    far = replace(
        view, values=[*view.values[:-1], 31.0], odd=[Odd(view.taken_at[-1], 31.0, "odd instrument HO-1, 31.00 mm")]
    )
    low, high = stream(far)["layout"]["yaxis"]["range"]
    assert high < 3.5
    assert low < named(stream(far), "odd")["y"][0] <= high


def test_people_are_told_apart_by_shape():
    view = stream_view()
    kinds = ["T14" if k % 3 == 0 else "T02" if k % 3 == 1 else "T09" for k in range(len(view.values))]
    figure = stream(replace(view, kinds=kinds, kind_names=["T14", "T02"]))
    assert named(figure, "T14")["marker"]["symbol"] != named(figure, "T02")["marker"]["symbol"]
    assert named(figure, "T14")["marker"]["color"] == style.FOCUS
    assert (
        sum(
            len(t["x"])
            for t in figure["data"]
            if t.get("mode") == "markers" and t.get("customdata") and t["name"] != "odd"
        )
        == len(view.values) - 1
    )


def test_every_reading_is_drawn_once_with_serial_and_value():
    view = replace(stream_view(), odd=[])
    told = [row for t in stream(view)["data"] if t.get("customdata") for row in t["customdata"]]
    assert sorted(row[0] for row in told) == sorted(view.serials)
    assert told[0][1] == f"{view.values[0]:.2f}\u00a0mm"


def test_a_corrected_reading_wears_a_ring_and_stays_drawn():
    figure = stream(replace(stream_view(), corrected=[30, 31]))
    ring = named(figure, "corrected")
    assert ring["marker"]["symbol"] == "circle-open"
    assert list(ring["y"]) == [stream_view().values[k] for k in (30, 31)]
    assert named(stream(stream_view()), "corrected") is None


def test_a_change_outside_the_weeks_shown_is_not_drawn():
    view = stream_view()
    before = replace(view, changes=[*view.changes, Change(START - timedelta(days=40), "new jig")])
    assert "new jig" not in " ".join(texts(stream(before)))
