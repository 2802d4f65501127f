"""Gauges: layout and callbacks, no arithmetic."""

from __future__ import annotations

from typing import Any

from dash import Dash, html

from dashboard import parts

PATH, NAME = "/gauges", "Gauges"


def layout(**_address: Any) -> Any:
    return html.Div([parts.page_head(NAME, "")], className="page")


def connect(app: Dash) -> None:
    """No callback yet."""
