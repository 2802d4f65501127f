"""Limits on file of one stream: the baseline a person names, what makes it unsteady, and the limits it gives."""

from __future__ import annotations

from typing import Any

from dash import Dash, html

from dashboard.pages.drift_stream import Seen
from ingest.shop import Shop


def sheet(seen: Seen, shop: Shop) -> Any:
    return html.Div()


def budget_sheet(shop: Shop) -> Any:
    return html.Div()


def connect(app: Dash) -> None:
    pass
