"""Where things are drawn: a known figure stands at its place on the axis, an interval at its two ends, a wedge at its
reading. Places are held against two others of the same drawing (limits, 0), so that a wrong factor, a swapped end or a
forgotten shift fails.
"""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from urllib.parse import unquote

import pytest

from dashboard.charts import style
from dashboard.charts.band import BandView, band
from dashboard.charts.capability_map import MapCell, MapView, capability_map
from dashboard.charts.cost import CostView, cost
from dashboard.charts.evidence import EvidenceView, evidence
from dashboard.charts.funnel import FunnelView, funnel
from dashboard.charts.lanes import Catch, Lane, LanesView, lanes
from dashboard.charts.learning import LearningView, learning
from dashboard.charts.lots import LotRow, LotsView, lots
from dashboard.charts.moved import MatterRow, Moved, MovedView, end_of, moved
from dashboard.charts.room_left import Need, NeedRow, room_left
from dashboard.charts.run import RunView, run
from dashboard.charts.settling import SettlingRow, settling
from dashboard.charts.shares import BarRow, ShareRow, pareto, shares
from dashboard.charts.sparkline import interval_spark, stream_spark, weeks_spark
from dashboard.charts.stream.chart import Asked, Limits, Signal, StreamView, stream
from dashboard.charts.walked import Board, Loop, WalkView, walked
from dashboard.charts.weekly import Week, weekly


def lines(figure, colour):
    """Straight lines of a colour: (x0, y0, x1, y1), in drawing order."""
    return [
        (one["x0"], one["y0"], one["x1"], one["y1"])
        for one in figure["layout"]["shapes"]
        if one["type"] == "line" and one["line"]["color"] == colour
    ]


def boxes(figure, fill):
    return [
        (one["x0"], one["y0"], one["x1"], one["y1"])
        for one in figure["layout"]["shapes"]
        if one["type"] == "rect" and one["fillcolor"] == fill
    ]


def scale(a, at_a, b, at_b):
    """The straight scale on which a stands at at_a and b at at_b."""
    return lambda value: at_a + (at_b - at_a) * (value - a) / (b - a)


# ---- bands and maps -------------------------------------------------------------------------------------------------

BAND = BandView([12.5, 15.0], ["a", "b"], 12, 16, 14.5, 13.5, 13.0, 14.25, "12", "16 thou", "14.5")


@pytest.mark.parametrize("narrow", [False, True])
def test_a_target_band_draws_limits_target_mean_interval_and_readings_on_one_scale(narrow):
    figure = band(BAND, narrow=narrow)
    lower, upper, target = (line[0] for line in lines(figure, style.BOARDEDGE))
    px = scale(12, lower, 16, upper)
    assert lower < upper
    assert target == pytest.approx(px(14.5))
    ((x0, _, x1, _),) = boxes(figure, style.BOARD)
    assert (x0, x1) == (lower, upper)
    readings, interval, mean = figure["data"]
    assert readings["x"] == pytest.approx([px(12.5), px(15.0)])
    assert interval["x"] == pytest.approx([px(13.0), px(14.25)])
    assert mean["x"] == pytest.approx([px(13.5)])
    words = {text["text"]: text["x"] for text in figure["layout"]["annotations"]}
    assert words["14.5"] == pytest.approx(px(14.5))


CELL = MapCell(0, 0, -0.1, 0.25, 0.4, 0.6, 1.05, ppk="0.80", bounds="0.70 to 0.90")


def map_of(*cells, columns=("LARK", "WREN")):
    return capability_map(MapView(["Relief", "Action"], columns, cells))


def test_a_cell_of_the_map_draws_the_limits_the_spread_the_middle_half_and_the_mean():
    figure = map_of(CELL)
    (lower, *_), (upper, *_) = lines(figure, style.BOARDEDGE)
    px = scale(0, lower, 1, upper)
    assert boxes(figure, style.BOARD)[0][0::2] == (lower, upper)
    (spread,) = lines(figure, style.INK2)
    assert spread[0::2] == pytest.approx((px(-0.1), px(1.05)))
    (middle,) = lines(figure, style.INK)
    assert middle[0::2] == pytest.approx((px(0.25), px(0.6)))
    (mean,) = (one for one in figure["layout"]["shapes"] if one["type"] == "circle")
    assert mean["xanchor"] == pytest.approx(px(0.4))
    assert mean["yanchor"] == spread[1] == middle[1]
    crosses = [one["xanchor"] for one in figure["layout"]["shapes"] if one["type"] == "path"]
    assert crosses == pytest.approx([px(-0.1), px(1.05)])  # the spread leaves the limits on both sides


@pytest.mark.parametrize("narrow", [False, True])
def test_a_need_stands_at_its_share_of_the_tolerance_between_the_ends_of_its_interval(narrow):
    rows = [NeedRow("Relief", [Need("A", 1.5, 1.2, 2.0, True), Need("B", 0.5, None, None, False)], "")]
    figure = room_left(rows, end=2.2, narrow=narrow)
    (one, *_), *_ = lines(figure, style.BOARDEDGE)
    board = boxes(figure, style.BOARD)[0]
    assert board[2] == one
    px = scale(0, board[0], 1, one)
    dots, rings, first, _, told = figure["data"]
    assert first["x"] == pytest.approx([px(1.5)])
    assert rings["x"] == pytest.approx([px(0.5)])
    assert dots["x"] == []
    (interval,) = lines(figure, style.FOCUS)
    assert interval[0::2] == pytest.approx((px(1.2), px(2.0)))
    assert len(told["x"]) == 2


def test_a_need_beyond_any_tolerance_stands_past_the_end_of_the_axis():
    figure = room_left([NeedRow("Relief", [Need("A", None, None, None, True), Need("B", 2.0, 1.9, 2.1, True)], "")])
    assert figure["data"][2]["x"][0] > figure["data"][0]["x"][0]


def test_the_spread_is_crossed_only_where_it_leaves_a_limit_that_there_is():
    def crossed(**ends):
        return [one for one in map_of(replace(CELL, **ends))["layout"]["shapes"] if one["type"] == "path"]

    assert len(crossed(low=0.0, high=1.0)) == 0  # on the line is not beyond it
    assert len(crossed(low=-0.01, high=1.0)) == 1
    assert len(crossed(low=0.0, high=1.01)) == 1
    assert len(crossed(low=-0.1, has_lower=False, high=1.0)) == 0
    assert len(crossed(low=0.0, high=1.2, has_upper=False)) == 0


def test_rows_and_columns_of_the_map_stand_where_their_names_do():
    figure = map_of(CELL, replace(CELL, row=1), replace(CELL, column=1))
    names = {text["text"]: (text["x"], text["y"]) for text in figure["layout"]["annotations"]}
    first, below, beside = lines(figure, style.INK2)
    assert below[1] - first[1] == names["Action"][1] - names["Relief"][1] > 0
    assert beside[0] - first[0] == pytest.approx(names["WREN"][0] - names["LARK"][0])
    assert beside[1] == first[1]


# ---- planes in the units of their data -------------------------------------------------------------------------------


def test_learning_draws_each_instrument_the_curve_its_band_and_who_is_qualified():
    view = LearningView(
        [20.0, 15.0], ["a", "b"], (1, 2), (18.0, 16.0), (17.0, 15.5), (19.0, 16.5), (8.0, 12.0), "16 now", units=(3, 7)
    )
    figure = learning(view)
    assert boxes(figure, style.BOARD) == [(0, 8.0, 1, 12.0)]
    assert [line[1] for line in lines(figure, style.BOARDEDGE)] == [8.0, 12.0]
    dots, area, curve, end = figure["data"]
    assert (dots["x"], dots["y"]) == ([3, 7], [20.0, 15.0])
    assert (area["x"], area["y"]) == ([1, 2, 2, 1], [19.0, 16.5, 15.5, 17.0])
    assert (curve["x"], curve["y"]) == ([1, 2], [18.0, 16.0])
    assert (end["x"], end["y"]) == ([2], [16.0])
    low, high = figure["layout"]["yaxis"]["range"]
    assert (low, high) == pytest.approx((8.0 * 0.75, 20.0 * 1.06))
    (now,) = (
        text
        for text in figure["layout"]["annotations"]
        if text["text"].startswith("<b>16 now") or "16 now" in text["text"]
    )
    plot = figure["layout"]["height"] - figure["layout"]["margin"]["t"] - figure["layout"]["margin"]["b"]
    assert -now["yshift"] == pytest.approx(plot * (high - 16.0) / (high - low), abs=20)  # beside the curve's end


def test_a_funnel_draws_the_person_at_ratio_and_interval_and_the_others_as_rings():
    grid = [1.0, 2.0, 4.0, 8.0, 100.0]
    view = FunnelView(grid, [0.1] * 5, [2.5, 2.0, 1.8, 1.6, 1.1], [(6.0, 1.4)], (4.0, 1.5, 0.75, 2.1), "6 came back")
    figure = funnel(view)
    area, upper, lower, one, rings, interval, subject = figure["data"]
    assert upper["x"] == [1.0, 2.0, 4.0]  # as far as the chart goes
    assert upper["y"] == pytest.approx([min(v, figure["layout"]["yaxis"]["range"][1]) for v in (2.5, 2.0, 1.8)])
    assert lower["y"] == [0.1] * 3
    assert one["y"] == [1, 1]
    assert (rings["x"], rings["y"]) == ([6.0], [1.4])
    assert (interval["x"], interval["y"]) == ([4.0, 4.0], [0.75, 2.1])
    assert (subject["x"], subject["y"]) == ([4.0], [1.5])
    assert area["y"][: len(upper["y"])] == upper["y"]


def test_cost_of_bow_draws_each_step_its_interval_the_line_and_what_was_agreed():
    view = CostView(
        [0.1, 0.2], [4.4, 7.2], [4.0, 6.0], [4.8, 8.4], [30, 12], (0.1, 0.2), (4.5, 7.0), (4.1, 6.1), (4.9, 7.9), 0.25
    )
    figure = cost(view)
    area, line, bars, means = figure["data"]
    assert (bars["x"], bars["y"]) == ([0.1, 0.1, None, 0.2, 0.2, None], [4.0, 4.8, None, 6.0, 8.4, None])
    assert (means["x"], means["y"]) == ([0.1, 0.2], [4.4, 7.2])
    assert line["y"] == [4.5, 7.0]
    assert area["y"] == [4.9, 7.9, 6.1, 4.1]
    start, end = figure["layout"]["xaxis"]["range"]
    assert boxes(figure, style.BOARD)[0][0::2] == (start, min(0.25, end))
    assert lines(figure, style.BOARDEDGE)[0][0] == 0.25


def test_a_run_of_necks_stands_in_order_crosses_outside_and_lots_apart():
    view = RunView([0.0, 0.3, 0.25, -0.2], ["a", "b", "c", "d"], [("L1", 2), ("L2", 2)], -0.1, 0.25, marks="-x=x")
    figure = run(view)
    assert boxes(figure, style.BOARD) == [(0, -0.1, 5, 0.25)]
    _, inside, outside, on_limit = figure["data"]
    assert (inside["x"], inside["y"]) == ([1], [0.0])
    assert (on_limit["x"], on_limit["y"]) == ([3], [0.25])
    assert (outside["x"], outside["y"]) == ([2, 4], [0.3, -0.2])
    assert [line[0] for line in lines(figure, style.LINE)] == [2.5]


# ---- rows on one axis ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("narrow", [False, True])
def test_settling_draws_mean_and_interval_from_0_and_light_only_where_0_is_left_out(narrow):
    figure = settling(
        [SettlingRow("A", 0.04, 0.02, 0.06, 40, 0), SettlingRow("B", -0.02, -0.05, 0.01, 20, 0)], narrow=narrow
    )
    (zero, *_), (again, *_) = lines(figure, style.INK)
    assert zero == again
    (first, second) = lines(figure, style.INK2)
    px = scale(0, zero, 0.06, first[2])
    assert first[0] == pytest.approx(px(0.02))
    assert second[0::2] == pytest.approx((px(-0.05), px(0.01)))
    assert figure["data"][0]["x"] == pytest.approx([px(0.04), px(-0.02)])
    (wedge,) = (one["path"] for one in figure["layout"]["shapes"] if one["type"] == "path")
    assert [float(x) for x in re.findall(r"[ML](-?[\d.]+),", wedge)] == pytest.approx([px(0), px(0.04), px(0.04)])


def test_shares_start_at_0_and_stand_between_the_ends_of_their_intervals():
    figure = shares([ShareRow("A", 0.08, 0.04, 0.16, "8 of 100"), ShareRow("B", 0.0, 0.0, 0.02, "0 of 100")])
    first, second = lines(figure, style.INK)
    px = scale(0.04, first[0], 0.16, first[2])
    assert figure["data"][0]["x"] == pytest.approx([px(0.08), px(0.0)])
    assert second[0::2] == pytest.approx((px(0.0), px(0.02)))


def test_bars_of_a_pareto_are_as_long_as_their_counts_and_wear_their_intervals():
    figure = pareto([BarRow("A", 40, 30, 50), BarRow("B", 10, 5, 18)])
    bars = [one for one in figure["layout"]["shapes"] if one["type"] == "rect"]
    left = bars[0]["x0"]
    assert left == bars[1]["x0"]
    px = scale(0, left, 40, bars[0]["x1"])
    assert bars[1]["x1"] == pytest.approx(px(10))
    intervals = [one for one in figure["layout"]["shapes"] if one["type"] == "line"]
    assert [(one["x0"], one["x1"]) for one in intervals] == [
        pytest.approx((px(30), px(50))),
        pytest.approx((px(5), px(18))),
    ]


@pytest.mark.parametrize("narrow", [False, True])
def test_necks_of_a_lot_stand_on_the_lots_strip_between_its_limits(narrow):
    lot = LotRow(
        "S",
        "L1",
        "2 Nov",
        [-0.05, 0.0, 0.2, 0.4],
        ["a", "b", "c", "d"],
        -0.10,
        0.30,
        0.1,
        None,
        "1 of 4",
        "",
        marks="-=-x",
    )
    figure = lots(LotsView([lot]), narrow=narrow)
    (lower, *_), (upper, *_) = lines(figure, style.BOARDEDGE)[:2]
    px = scale(-0.10, lower, 0.30, upper)
    inside, outside, on_limit = figure["data"]
    assert inside["x"] == pytest.approx([px(-0.05), px(0.2)])
    assert outside["x"] == pytest.approx([px(0.4)])
    assert on_limit["x"] == pytest.approx([px(0.0)])  # marks are told, not worked out
    assert boxes(figure, style.BOARD)[0][0::2] == (lower, upper)


def test_the_evidence_of_a_target_rises_towards_shown_and_its_lines_stand_at_their_figures():
    figure = evidence(EvidenceView([0.0, 1.0, 4.0], 3.0, -2.0))
    (shown,), (practise,) = lines(figure, style.BOARDEDGE), lines(figure, style.RULE)
    y = scale(3.0, shown[1], -2.0, practise[1])
    path, end = figure["data"]
    assert path["y"] == pytest.approx([y(0.0), y(1.0), y(4.0)])
    assert (end["x"], end["y"]) == (path["x"][-1:], path["y"][-1:])
    assert path["x"] == sorted(path["x"])


# ---- small drawings --------------------------------------------------------------------------------------------------


def drawn(pair):
    return unquote(pair[0])


def numbers_of(pattern, svg):
    return [tuple(map(float, found)) for found in re.findall(pattern, svg)]


def test_a_weeks_dot_its_limits_and_its_wedge_stand_at_its_share():
    svg = drawn(weekly([Week(4, 0.12, 0.02, 0.08, "above"), Week(12, 0.01, 0.02, 0.10, "below")], 0.06))
    (first, second) = numbers_of(r'<circle cx="([\d.]+)" cy="([\d.]+)"', svg)
    (usual,) = re.findall(r'd="M6 ([\d.]+)H226" stroke="' + style.RULE, svg)
    y = scale(0.12, first[1], 0.06, float(usual))
    assert second[1] == pytest.approx(y(0.01), abs=0.11)
    rects = numbers_of(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', svg)
    for (x, top, width, high), (low, up), dot in zip(rects, [(0.02, 0.08), (0.02, 0.10)], (first, second), strict=True):
        assert top == pytest.approx(y(up), abs=0.11)
        assert top + high == pytest.approx(y(low), abs=0.2)
        assert x + width / 2 == pytest.approx(dot[0], abs=0.3)
    rising = numbers_of(r"M([\d.]+) ([\d.]+)l10 0l0 -8z", svg)
    falling = numbers_of(r"M([\d.]+) ([\d.]+)l10 0l0 8z", svg)
    assert rising == [pytest.approx((first[0] - 5, first[1] - 7), abs=0.11)]  # over its dot
    assert falling == [pytest.approx((second[0] - 5, second[1] + 7), abs=0.11)]  # under it
    assert (second[0] - first[0]) / 8 == pytest.approx(220 / 13, abs=0.05)


def test_an_interval_beside_a_finding_has_its_two_ends_and_the_board_ends_at_the_limit():
    svg = drawn(interval_spark(0.2, 0.1, 0.4, 0.05, 0.8))
    ((dot, _),) = numbers_of(r'<circle cx="([\d.]+)" cy="([\d.]+)"', svg)
    ((low, high),) = numbers_of(r'd="M([\d.]+) 22(?:\.0)?H([\d.]+)" stroke="#[0-9a-fA-F]+" stroke-width="3"', svg)
    ((board,),) = [(float(w),) for w in re.findall(r'<rect x="4" y="[\d.]+" width="([\d.]+)"', svg)]
    px = scale(0, 4, 0.8, 164)
    assert (dot, low, high, 4 + board) == pytest.approx((px(0.2), px(0.1), px(0.4), px(0.05)), abs=0.06)


def test_the_line_beside_a_finding_ends_in_a_dot_at_its_last_value():
    svg = drawn(stream_spark([0.0, 0.5, 1.0], gap=0.25, light_from=1, height=44))
    points = [
        tuple(map(float, point.split(","))) for point in re.findall(r'<polyline points="([^"]+)"', svg)[0].split()
    ]
    assert points == [(3.0, 22.0), (116.0, 13.5), (229.0, 5.0)]
    assert numbers_of(r'<circle cx="([\d.]+)" cy="([\d.]+)"', svg) == [points[-1]]
    ((top, high),) = numbers_of(r'<rect x="3" y="([\d.]+)" width="226" height="([\d.]+)"', svg)
    assert (top, top + high) == pytest.approx((22 - 17 * 0.25, 22 + 17 * 0.25), abs=0.06)
    assert re.findall(r'<polygon points="([^"]+)"', svg) == ["116.0,22.0 116.0,13.5 229.0,5.0 229.0,22.0"]


def test_weeks_beside_a_finding_stand_over_0_in_proportion():
    svg = drawn(weeks_spark([1.0, 4.0, 2.0], height=44))
    points = [tuple(map(float, point.split(","))) for point in re.findall(r'points="([^"]+)"', svg)[0].split()]
    assert [x for x, _ in points] == [6.0, 83.0, 160.0]
    assert [40 - y for _, y in points] == pytest.approx([8.0, 32.0, 16.0])


# ---- the stream ------------------------------------------------------------------------------------------------------


def test_a_stream_draws_readings_limits_and_what_is_asked_in_their_unit_and_the_wedge_at_its_opening():
    start = datetime(2026, 9, 1)
    taken = [start + timedelta(days=k) for k in range(40)]
    values = [2.4 + 0.01 * (k % 3) for k in range(40)]
    opened = taken[30]
    view = StreamView(
        taken,
        values,
        [f"s{k}" for k in range(40)],
        limits=[Limits(taken[0], taken[-1], 2.41, 2.30, 2.52)],
        asked=[Asked(taken[0], taken[-1], 2.40, 2.10, 2.70)],
        baseline=20,
        judged_from=taken[20],
        signals=[Signal(opened, None, "up", "signal", taken[25])],
    )
    figure = stream(view)
    dots = [trace for trace in figure["data"] if trace.get("mode") == "markers" and len(trace["y"]) >= 20]
    assert dots
    drawn_y = [y for trace in dots for y in trace["y"]]
    assert min(drawn_y) >= 2.399
    assert max(drawn_y) <= 2.421
    levels = {round(one["y0"], 6) for one in figure["layout"]["shapes"] if one.get("yref") == "y" or "yref" not in one}
    assert {2.10, 2.70} <= levels
    wedges = [
        one for one in figure["layout"]["shapes"] if one["type"] == "path" and one.get("fillcolor") == style.LIGHT_FILL
    ]
    assert any(str(one.get("xanchor", "")).startswith(opened.strftime("%Y-%m-%d")) for one in wedges)


# ---- lanes -----------------------------------------------------------------------------------------------------------


def lanes_of(*several):
    return LanesView(list("ABCD"), [(3, "C", "3 h"), (4, "D", "1 h")], several, ["", "", "", "", ""])


BLANK = [""] * 5


def outline(figure, colour):
    """Corners of the arrows filled in a colour: a list of (x, y) each."""
    paths = [one["path"] for one in figure["layout"]["shapes"] if one["type"] == "path" and one["fillcolor"] == colour]
    return [[tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+),(-?[\d.]+)", path)] for path in paths]


def test_an_arrow_points_at_its_cause_thins_where_it_was_caught_and_ends_at_the_last_catch():
    figure = lanes(lanes_of(Lane("B", 2, [Catch(3, 3.0, "3.0"), Catch(4, 1.0, "1.0")], 0.5, BLANK)))
    (whole,), (core,) = outline(figure, style.BACK), outline(figure, style.BACKMARK)
    assert whole[0][0] == min(x for x, _ in whole)
    upright = {one["x0"] for one in figure["layout"]["shapes"] if one["type"] == "line" and one["x0"] == one["x1"]}
    assert max(x for x, _ in whole) in {round(x, 1) for x in upright}  # the column of D
    y = whole[0][1]
    half = [y - at for _, at in whole[2:6]]  # before the first catch twice, after it twice
    assert half == pytest.approx([17.0, 17.0, 17.0 / 4, 17.0 / 4], abs=0.02)
    assert [y - at for _, at in core[2:6]] == pytest.approx([h / 2 for h in half], abs=0.02)


def test_lanes_have_one_scale_and_their_figures_stand_in_their_columns():
    large = Lane("B", 2, [Catch(3, 4.0, "4.0")], 0.0, ["4.0|3 to 5", "2", "3", "4", "5"])
    small = Lane("A", 1, [Catch(3, 2.0, "2.0")], 0.0, ["2.0", "2", "3", "4", "5"], main=False)
    figure = lanes(lanes_of(large, small))
    (first,), (second,) = outline(figure, style.BACK), outline(figure, style.LINE)
    assert second[0][1] - second[2][1] == pytest.approx((first[0][1] - first[2][1]) / 2, abs=0.02)
    placed = {text["text"]: (text["x"], text["y"]) for text in figure["layout"]["annotations"]}
    assert placed["4.0"][0] != placed["2.0"][0] or placed["4.0"][1] != placed["2.0"][1]
    assert placed["3 to 5"][1] - 16 == pytest.approx(first[0][1] - 8)


# ---- what moved ------------------------------------------------------------------------------------------------------


def test_the_axis_doubles_from_line_to_line_and_holds_the_largest():
    view = MovedView([MatterRow("A", "", [], [Moved(161, "far", "k")], "A")], [1.0, -2.0], "", "")
    assert end_of(view) == 320
    assert end_of(replace(view, rows=[])) == 20
    figure = moved(view)
    ticks = {text["text"]: text["x"] for text in figure["layout"]["annotations"] if text["y"] == 16}
    steps = [ticks["+160"] - ticks["+80"], ticks["+80"] - ticks["+40"], ticks["+320"] - ticks["+160"]]
    assert max(steps) == pytest.approx(min(steps), rel=0.15)  # equal but for the even part near 0
    assert ticks["+40"] - ticks["0"] == pytest.approx(ticks["0"] - ticks["\u221240"])
    dot = next(one["xanchor"] for one in figure["layout"]["shapes"] if one["type"] == "circle")
    assert ticks["+160"] < dot < ticks["+320"]


def test_dots_of_streams_that_moved_alike_stand_side_by_side_and_each_leads():
    several = [Moved(20.0, f"stream {k}", f"k{k}") for k in range(3)]
    figure = moved(MovedView([MatterRow("A", "", [], several, "A", "k0")], [], "", ""))
    dots = [(one["xanchor"], one["yanchor"]) for one in figure["layout"]["shapes"] if one["type"] == "circle"]
    assert len(set(dots)) == 3
    assert [told[0] for told in figure["data"][0]["customdata"]] == ["k0", "k1", "k2", "k0"]


def test_light_points_down_where_a_matter_moved_down():
    def light(percent):
        figure = moved(MovedView([MatterRow("A", "", [], [Moved(percent, "", "k")], "A")], [], "", ""))
        (d,) = (one["path"] for one in figure["layout"]["shapes"] if one.get("fillcolor") == style.LIGHT_FILL)
        (x0, y0), (x1, _), (_, tip) = [tuple(map(float, p)) for p in re.findall(r"(-?[\d.]+),(-?[\d.]+)", d)]
        return x1 - x0, tip - y0

    assert light(20)[0] > 0 > light(20)[1]
    assert light(-20)[0] < 0 < light(-20)[1]


@pytest.mark.parametrize("percent", [35.0, -35.0])
def test_a_long_name_of_what_moved_farthest_keeps_inside_the_drawing_of_a_phone(percent):
    name = "HERON-OM Concert Grand Auditorium Rosewood Cutaway Mk 1 treble"
    figure = moved(MovedView([MatterRow("A", "", [], [Moved(percent, "", "k")], name)], [], "", ""), narrow=True)
    (label,) = (text for text in figure["layout"]["annotations"] if text["text"].startswith("HERON"))
    words = label["text"]
    wide = len(words) * 6.9
    left = label["x"] - wide if label["xanchor"] == "right" else label["x"]
    assert 0 <= left <= left + wide <= style.NARROW
    assert words.endswith("..")


def test_who_has_a_matter_stands_below_all_lines_of_what_it_moves_together_with():
    right = ["since 11 Nov", "Nothing stands out", "among the 19 things", "looked at.", "open, with nobody"]
    view = MovedView([MatterRow("A", "", right, [Moved(20.0, "", "k")], "A")], [], "", "")
    figure = moved(view)
    said = {text["text"]: text["y"] for text in figure["layout"]["annotations"]}
    assert said["open, with nobody"] > said["looked at."]
    (_, top, _, _), (_, foot, *_) = [one for one in lines(figure, style.LINE) if one[1] == one[3]][:2]
    assert top < said["since 11 Nov"] < said["open, with nobody"] < foot - 8


def test_a_phone_tells_since_when_and_with_what_below_the_light():
    right = ["since 11 Nov", "Nothing stands out", "among the 19 things", "looked at.", "open, with nobody"]
    rows = [MatterRow(name, "", right, [Moved(20.0, "", "k")], "far") for name in ("A", "B")]
    figure = moved(MovedView(rows, [], "", ""), narrow=True)
    texts = figure["layout"]["annotations"]
    (second,) = (text["y"] for text in texts if text["text"] == "B")
    light = max(text["y"] for text in texts if text["text"] == "far" and text["y"] < second)
    below = [text["text"] for text in texts if light < text["y"] < second and text["x"] == 8]
    assert " ".join(below) == "since 11 Nov; Nothing stands out among the 19 things looked at. open, with nobody"
    assert max(map(len, below)) * 6.4 <= style.NARROW
    [foot] = [one[1] for one in lines(figure, style.LINE) if one[1] == one[3] and second - 40 < one[1] < second]
    assert max(text["y"] for text in texts if text["text"] in below and text["y"] < second) < foot - 4


def test_words_too_long_for_a_phone_stand_on_lines_of_their_own_and_cut_no_figure_off():
    words = "19 of 39 need more; KITE-M2 Concert Grand Auditorium Rosewood Cutaway Mk 1: 13 of 111 out"
    needs = [Need("A", 1.5, 1.2, 2.0, True)]
    figure = room_left([NeedRow("Relief", needs, words), NeedRow("Action", needs, "1 of 2")], narrow=True)
    texts = [text for text in figure["layout"]["annotations"] if text["x"] == 0]
    told = [text["text"] for text in texts if text["text"] not in ("Relief", "Action", "1 of 2")]
    assert " ".join(told) == words
    assert max(map(len, told)) * 6.4 <= style.NARROW
    boards = boxes(figure, style.BOARD)
    assert boards[0][1] > max(text["y"] for text in texts if text["text"] in told)
    assert next(text["y"] for text in texts if text["text"] == "Action") > boards[0][3]


# ---- an instrument's way --------------------------------------------------------------------------------------------

WALK = WalkView(
    ["A", "B", "C", "D"],
    [1, 2, 1, 0],
    3,
    "last seen: c",
    [Loop("buzz", 3, 1, True, "C back to A")],
    [Board("Relief", [1.0, 2.0, 5.0], [False, False, True], "", 0.0, 4.0, 2.0, "", "0.00", "4.00")],
)


@pytest.mark.parametrize("narrow", [False, True])
def test_a_story_stands_on_one_bench_and_its_readings_on_their_board(narrow):
    figure = walked(WALK, narrow=narrow)
    marks = [one for one in figure["layout"]["shapes"] if one["type"] == "circle"]
    bench = [(one["xanchor"], one["x1"]) for one in marks if one["fillcolor"] == style.INK][:3]
    step = bench[1][0] - bench[0][0]
    assert [x for x, _ in bench] == pytest.approx([bench[0][0] + k * step for k in range(3)])
    assert bench[1][1] > bench[0][1] == bench[2][1]  # it came to B twice
    (back,) = [one for one in lines(figure, style.BACKMARK) if one[1] == one[3]]
    assert back[0] == pytest.approx(bench[2][0])  # from where it was caught
    (head,) = [
        one["path"] for one in figure["layout"]["shapes"] if one.get("fillcolor") == style.BACK and "path" in one
    ]
    assert float(head[1:].partition(",")[0]) == pytest.approx(bench[0][0], abs=0.1)  # to where it was sent
    edges = sorted({x0 for x0, _, x1, _ in lines(figure, style.BOARDEDGE) if x0 == x1})
    at = scale(0.0, edges[0], 4.0, edges[-1])
    values = [one["xanchor"] for one in marks][-2:]
    assert values == pytest.approx([at(1.0), at(2.0)])
    cross = [one for one in lines(figure, style.INK) if one[0] != one[2] and one[1] != one[3]]
    assert (cross[0][0] + cross[0][2]) / 2 == pytest.approx(at(5.0))
    numbers = {one["text"]: one["x"] for one in figure["layout"]["annotations"] if one["text"] in ("0.00", "4.00")}
    assert numbers.keys() == {"0.00"}  # a value lies beyond the other limit, and the words say that one
    assert numbers["0.00"] < at(0.0)
