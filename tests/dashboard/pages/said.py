"""What a component says, as one text."""

import html
import json
import re
from typing import Any

import plotly


def said(component: Any) -> str:
    """All of a page or sheet as JSON text; characters that keep words together are spaces."""
    return json.dumps(component, cls=plotly.utils.PlotlyJSONEncoder, ensure_ascii=False).replace("\u00a0", " ")


READ = ("children", "label", "title", "placeholder", "alt", "aria-label", "data", "options")


def read_by_people(component: Any) -> list[str]:
    """Every text of a page that somebody reads or hears: words, labels, choices, and the texts of its charts."""
    whole = json.loads(json.dumps(component, cls=plotly.utils.PlotlyJSONEncoder))
    found: list[str] = []

    def walk(node: Any, name: str) -> None:
        if isinstance(node, str):
            if name in READ:
                found.append(node)
            elif name in ("wide", "narrow"):
                drawn = re.findall(r">([^<]+)<|aria-label=\"([^\"]+)\"", node)
                found.extend(html.unescape(a or b) for a, b in drawn)
        elif isinstance(node, list):
            for one in node:
                walk(one, name)
        elif isinstance(node, dict):
            if node.get("type") == "Store":
                return
            for key, value in node.get("props", node).items():
                walk(value, key)

    walk(whole, "children")
    return [text.replace("\u00a0", " ") for text in found]
