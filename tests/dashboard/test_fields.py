"""Fields of our own say what they take, and the frame loads no more than they need."""

import json
import re

import plotly
import pytest

from dashboard.app import make_app
from dashboard.fields import Select, TextInput, Tick


def test_a_field_is_sent_with_what_was_given_and_no_more():
    sent = json.loads(
        json.dumps(Select(id="a", data=["x"], value=None, **{"aria-label": "A"}), cls=plotly.utils.PlotlyJSONEncoder)
    )
    assert sent == {
        "props": {"id": "a", "data": ["x"], "aria-label": "A"},
        "type": "Select",
        "namespace": "truerun_parts",
    }


def test_a_field_refuses_what_its_script_does_not_know():
    with pytest.raises(TypeError, match="searchable"):
        TextInput(id="a", searchable=True)


def test_the_frame_loads_what_its_pages_have_and_nothing_for_old_browsers(moving_desk):
    text = make_app(moving_desk).server.test_client().get("/", base_url="http://127.0.0.1").get_data(as_text=True)
    loaded = " ".join(re.findall(r'<script[^>]* src="([^"]+)"', text))
    assert "dash_renderer" in loaded
    assert "/assets/fields.js" in loaded
    assert [name for name in ("polyfill", "dash_table", "plotly", "mantine") if name in loaded] == []


def test_a_box_to_tick_holds_a_list_as_doors_want_it():
    sent = Tick(id={"type": "a", "key": "b"}, value=["yes"], label="A").to_plotly_json()
    assert sent["props"]["value"] == ["yes"]
    assert sent["type"] == "Tick"
