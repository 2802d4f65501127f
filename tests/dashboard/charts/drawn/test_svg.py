"""A chart as SVG: a known value stands at its place, shifts keep their px, words their lines, marks lead."""

import json
import re
from html import unescape

import pytest

from dashboard.charts import style
from dashboard.charts.drawn.pieces import line_through
from dashboard.charts.drawn.svg import leading, svg
from dashboard.charts.grey import in_grey
from tests.dashboard.charts.examples import EXAMPLES


def figure(**more):
    axes = {"xaxis": style.axis(0, 10), "yaxis": style.axis(0, 5)}
    return {
        "data": [],
        "layout": {**style.layout(130, (20, 30, 10, 20)), "shapes": [], "annotations": [], **axes, **more},
    }


def scatter(**more):
    return {"type": "scatter", "mode": "markers", "hoverinfo": "skip", **more}


def test_a_line_is_drawn_from_value_to_value_in_px_of_the_nominal_plot():
    drawn = svg(figure(shapes=[style.line(2, 1, 8, 5, style.INK, 2)]), 250)
    assert 'd="M40,80L160,0"' in drawn  # plot 200 by 100: 2 of 10 is 40, 1 of 5 is 80 from the top
    assert 'viewBox="0 0 200 100"' in drawn
    assert "padding:10px 30px 20px 20px" in drawn
    assert 'stroke="var(--ink)" stroke-width="2"' in drawn


def test_a_date_stands_at_its_share_of_the_axis():
    dated = figure(xaxis=style.axis("2026-01-01T00:00:00", "2026-01-11T00:00:00", type="date"))
    dated["data"] = [
        scatter(
            mode="lines",
            x=["2026-01-03T12:00:00", "2026-01-11T00:00:00"],
            y=[0, 5],
            line={"color": style.INK, "width": 1},
        )
    ]
    assert 'd="M50,100L200,0"' in svg(dated, 250)


def test_px_round_an_anchor_do_not_stretch_and_up_is_more():
    at = {"xsizemode": "pixel", "ysizemode": "pixel", "xanchor": 5, "yanchor": 2.5}
    drawn = svg(figure(shapes=[style.path("M-3,4L3,0", edge=style.INK, **at)]), 250)
    assert '<svg x="50%" y="0" overflow="visible"><path' in drawn
    assert 'd="M-3,46L3,50"' in drawn  # the middle is 50 px down; 4 up from it is 46


def test_words_hang_on_a_share_of_the_width_and_keep_their_lines_and_shift():
    text = style.words(5, 5, "two<br><b>lines</b> & more", xshift=7, yshift=-3)
    drawn = svg(figure(annotations=[text]), 250)
    assert drawn.count('<tspan x="50%"') == 2
    assert drawn.count('dx="7"') == 2
    assert '<tspan font-weight="650">lines</tspan> &amp; more' in drawn
    lines = [float(y) for y in re.findall(r'<tspan x="50%" y="([-\d.]+)"', drawn)]
    assert lines[1] - lines[0] == pytest.approx(1.3 * 13, abs=0.02)
    assert sum(lines) / 2 - 0.34 * 13 == pytest.approx(3, abs=0.02)  # 3 px below the top, round the middle


def test_a_gap_in_a_line_is_a_gap_and_an_area_closes():
    chart = figure()
    chart["data"] = [
        scatter(mode="lines", x=[0, 5, None, 5, 10], y=[0, 5, None, 0, 5], line={"color": style.INK, "width": 1}),
        scatter(mode="lines", x=[0, 10, 10], y=[0, 0, 5], fill="toself", fillcolor=style.LIGHT_FILL, line={"width": 0}),
    ]
    drawn = svg(chart, 250)
    assert 'd="M0,100L100,0M100,100L200,0"' in drawn
    assert 'd="M0,100L200,100L200,0Z"' in drawn
    assert 'fill="var(--light)"' in drawn


def test_dots_of_one_look_are_one_path_and_a_mark_that_leads_is_a_link():
    chart = figure()
    told = {"hovertemplate": "%{customdata[1]}<extra></extra>", "customdata": [["a", "first & <one>"], ["", "second"]]}
    chart["data"] = [
        {
            "type": "scatter",
            "mode": "markers",
            "x": [1, 9],
            "y": [1, 1],
            "marker": {"size": 8, "color": style.INK},
            **told,
        }
    ]
    drawn = svg(chart, 250, leads=lambda key: f"/there?key={key}&more=1" if key else "")
    assert drawn.count("h0") == 2
    assert drawn.count("<path") == 1
    assert (
        '<a class="led" href="/there?key=a&amp;more=1" aria-label="first &amp; &lt;one&gt;"><circle cx="10%"' in drawn
    )
    marks = json.loads(unescape(re.search(r'data-told="([^"]*)"', drawn)[1]))
    assert marks == [[0.1, 80.0, 5, "first & <one>", "/there?key=a&more=1"], [0.9, 80.0, 5, "second"]]
    assert leading(chart, lambda key: "/x")
    assert not leading(chart, None)


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_every_chart_is_drawn_in_tokens_on_the_screen_and_in_greys_on_paper(name):
    chart, view = EXAMPLES[name]
    drawn = chart(view)
    assert not re.findall(r"#[0-9a-fA-F]{6}", re.sub(r'data-told="[^"]*"', "", svg(drawn, style.WIDE)))
    greys = re.findall(r'="#([0-9a-fA-F]{6})"', svg(in_grey(drawn), style.WIDE, grey=True))
    assert all(grey[:2] == grey[2:4] == grey[4:] for grey in greys)


def test_of_a_level_stretch_a_line_says_only_its_ends():
    level = [(0.0, 5.0), (1.0, 5.0), (2.0, 5.001), (3.0, 5.0), (4.0, 6.0), (5.0, 5.0), None, (6.0, 1.0), (7.0, 1.0)]
    assert line_through(level) == "M0,5L3,5L4,6L5,5M6,1L7,1"
    there_and_back = [(0.0, 5.0), (9.0, 5.0), (4.0, 5.0)]
    assert line_through(there_and_back) == "M0,5L9,5L4,5"
