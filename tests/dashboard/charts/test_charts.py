"""What holds for every chart, with full, empty and one-point data, in both widths."""

import json
import re

import plotly.graph_objects as go
import pytest

from dashboard.charts import style
from tests.dashboard.charts.examples import EXAMPLES

TOKENS = {colour.lower() for colour in style.LIGHT.values()}
NOTHING = "rgba(0,0,0,0)"


@pytest.fixture(
    params=[(name, narrow) for name in EXAMPLES for narrow in (False, True)],
    ids=lambda p: f"{p[0]}{', narrow' if p[1] else ''}",
)
def figure(request):
    name, narrow = request.param
    chart, view = EXAMPLES[name]
    return chart(view, narrow=narrow)


def test_plotly_accepts_the_figure(figure):
    go.Figure(figure)


def test_the_figure_can_be_sent_as_json_without_a_number_that_is_none_of_them(figure):
    assert "NaN" not in json.dumps(figure, allow_nan=True)
    assert "Infinity" not in json.dumps(figure, allow_nan=True)


def test_no_colour_but_a_token(figure):
    text = json.dumps(figure)
    assert {hex_[:7].lower() for hex_ in re.findall(r"#[0-9a-fA-F]{6,8}\b", text)} <= TOKENS
    assert set(re.findall(r"(?:rgb|hsl)a?\([^)]*\)", text)) <= {NOTHING}


def test_every_shape_is_opaque_and_says_its_layer(figure):
    for shape in figure["layout"].get("shapes", []):
        assert shape["opacity"] == 1
        assert shape["layer"] in ("above", "below")


def test_no_text_is_under_twelve_px(figure):
    layout = figure["layout"]
    sizes = [text["font"]["size"] for text in layout.get("annotations", [])]
    sizes += [layout[name]["tickfont"]["size"] for name in ("xaxis", "yaxis") if "tickfont" in layout[name]]
    assert min(sizes, default=12) >= 12


def test_no_grid_no_legend_nothing_to_drag(figure):
    layout = figure["layout"]
    assert layout["showlegend"] is False
    assert layout["dragmode"] is False
    for name in ("xaxis", "yaxis"):
        assert layout[name]["showgrid"] is False
        assert layout[name]["fixedrange"] is True


@pytest.mark.parametrize("name", [name for name in EXAMPLES if "empty" in name])
def test_a_chart_with_nothing_to_draw_says_so_in_words(name):
    chart, view = EXAMPLES[name]
    texts = chart(view)["layout"]["annotations"]
    assert len(texts) == 1
    assert len(texts[0]["text"].split()) >= 3


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_a_chart_draws_the_same_twice_and_leaves_its_view_alone(name):
    chart, view = EXAMPLES[name]
    before = repr(view)
    assert chart(view) == chart(view)
    assert repr(view) == before
