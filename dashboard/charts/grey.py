"""A chart for paper: the same figure in grey, where light is a hatch under a black line and the board a pale ground
with black edges.
"""

from __future__ import annotations

import json
import re
from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]
GREY = {
    "page": "#FFFFFF",
    "card": "#FFFFFF",
    "sunk": "#EDEDED",
    "line": "#CFCFCF",
    "rule": "#808080",
    "ink": "#000000",
    "ink2": "#333333",
    "ink3": "#555555",
    "board": "#E6E6E6",
    "boardedge": "#000000",
    "boardtext": "#333333",
    "light": "#BFBFBF",
    "moved": "#000000",
    "movedtext": "#000000",
    "back": "#B0B0B0",
    "backmark": "#000000",
    "backtext": "#000000",
    "focus": "#000000",
    "focustext": "#000000",
    "sky": "#999999",
}
_TWINS = {style.LIGHT[name].lower(): GREY[name] for name in style.LIGHT}


def in_grey(figure: Figure) -> Figure:
    """A copy of a chart in greys; areas of light become a hatch of 45 degrees, so that no meaning hangs on a shade."""
    copy: Figure = json.loads(json.dumps(figure))
    for trace in copy["data"]:
        if trace.get("fill") == "toself" and trace.get("fillcolor") == style.LIGHT_FILL:
            trace["fillpattern"] = {
                "shape": "/",
                "fgcolor": style.INK,
                "bgcolor": style.CARD,
                "size": 5,
                "solidity": 0.3,
                "fillmode": "overlay",
            }
    text = re.sub(
        r"#[0-9a-fA-F]{6}(?=(?:[0-9a-fA-F]{2})?\b)",
        lambda found: _TWINS.get(found[0].lower(), found[0]),
        json.dumps(copy),
    )
    grey: Figure = json.loads(text)
    return grey
