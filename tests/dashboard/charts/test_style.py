import itertools
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import dashboard
from dashboard.charts import style
from dashboard.charts.dots import ticks
from dashboard.charts.stacks import stacked

CSS = (Path(dashboard.__file__).parent / "assets" / "tokens.css").read_text()


@pytest.mark.parametrize(("scheme", "tokens"), [("light", style.LIGHT), ("dark", style.DARK)])
def test_pages_and_charts_have_the_same_colours(scheme, tokens):
    block = next(part for part in CSS.split("}") if f'data-scheme="{scheme}"] {{' in part and "--page" in part)
    css = dict(re.findall(r"--(\w+): (#[0-9A-F]{6});", block))
    assert {name: css[name] for name in tokens} == tokens


def test_each_light_colour_stands_once_so_that_its_token_can_take_its_place():
    assert len({colour.lower() for colour in style.LIGHT.values()}) == len(style.LIGHT) == len(style.DARK)


@given(st.lists(st.floats(0, 400), max_size=12))
def test_labels_keep_their_order_and_stand_sixteen_px_apart(wished):
    placed = style.push_apart(wished, 0, 400)
    order = sorted(range(len(wished)), key=lambda i: wished[i])
    heights = [placed[i] for i in order]
    assert all(b - a >= style.APART - 1e-6 for a, b in itertools.pairwise(heights))
    assert all(-1e-6 <= y <= 400 + 1e-6 for y in placed)


def test_labels_with_room_stay_where_they_wish_to_be():
    assert style.push_apart([10, 200, 100], 0, 400) == [10, 200, 100]


def test_two_labels_at_one_place_part_evenly():
    assert style.push_apart([100, 100], 0, 400) == [92, 108]


def test_words_go_into_the_first_rail_with_room():
    rails = [[], []]
    assert style.first_free(rails, 0, 100) == 0
    assert style.first_free(rails, 50, 150) == 1
    assert style.first_free(rails, 120, 200) == 0
    assert style.first_free(rails, 60, 130) is None


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e4), st.integers(2, 12))
def test_ticks_are_round_inside_and_about_as_many_as_wished(low, span, about):
    found = ticks(low, low + span, about)
    assert all(low - 1e-6 * span <= t <= low + span + 1e-6 * span for t in found)
    assert len(found) <= about + 1


@given(st.lists(st.floats(0, 300), min_size=1, max_size=80), st.sampled_from([32.0, 38.0]))
def test_stacked_readings_stay_below_the_top_and_near_their_place(px, high):
    aside, above = stacked(px, high=high)
    assert all(0 <= a < high for a in above)
    assert all(abs(d) <= 300 for d in aside)


def test_equal_readings_do_not_hide_each_other():
    aside, above = stacked([100.0] * 5, high=38)
    assert len(set(zip(aside, above, strict=True))) == 5
