"""What a component says, as one text."""

import json
from typing import Any

import plotly


def said(component: Any) -> str:
    """All of a page or sheet as JSON text; characters that keep words together are spaces."""
    return json.dumps(component, cls=plotly.utils.PlotlyJSONEncoder, ensure_ascii=False).replace("\u00a0", " ")
