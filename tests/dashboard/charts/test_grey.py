import json
import re

import pytest

from dashboard.charts import style
from dashboard.charts.grey import in_grey
from tests.dashboard.charts.examples import EXAMPLES


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_a_chart_for_paper_holds_nothing_but_greys(name):
    chart, view = EXAMPLES[name]
    for colour in re.findall(r"#([0-9a-fA-F]{6})(?:[0-9a-fA-F]{2})?\b", json.dumps(in_grey(chart(view)))):
        assert colour[:2] == colour[2:4] == colour[4:6]


def test_light_becomes_a_hatch_and_the_chart_itself_stays_as_it_was():
    chart, view = EXAMPLES["stream, moved up"]
    figure = chart(view)
    hatched = [trace for trace in in_grey(figure)["data"] if "fillpattern" in trace]
    assert len(hatched) == 2  # the open signal's light and the closed one's
    assert [
        trace for trace in figure["data"] if trace.get("fillcolor") == style.LIGHT_FILL and "fillpattern" not in trace
    ]
