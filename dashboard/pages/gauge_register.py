"""The register of gauges, as Capability opens it: what is due, and whether a gauge reads beside its master piece."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from dash import html

from analysis.studies.gauges.register import Standing, register
from dashboard import drawings, numbers, parts
from dashboard.charts.gauge_checks import ChecksView, gauge_checks
from dashboard.desk import desk
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

NAME = "Checks on the master piece"


def sheet(shop: Shop) -> html.Section | None:
    """The sheet of the register; None where no gauge has a master piece."""
    standing = register(shop, desk.here().gauge_checks(), now=datetime.now(UTC))
    if not standing:
        return None
    rows = [_row(one, shop) for one in standing]
    columns = [
        ("gauge", "Gauge"),
        ("master", "Master piece", "n"),
        ("every", "Every", "n wide-only"),
        ("last", "Last check", "wide-only"),
        ("says", "How it stands"),
    ]
    charts = [_chart(one, shop) for one in standing if len(one.off) > 1]
    return parts.sheet(NAME, "entered on Card in two touches", [parts.plain_table(rows, columns), *charts])


def says(one: Standing, shop: Shop) -> str:
    """How a gauge stands, in words."""
    if one.drifts and one.bias is not None:
        way = "high" if one.bias > 0 else "low"
        return f"drifts: its last five checks read {_length(abs(one.bias), shop)} {way}{_interval(one, shop)}"
    if one.due:
        return "check overdue" if one.last_at else "never checked"
    return f"in order{_interval(one, shop)}"


def _interval(one: Standing, shop: Shop) -> str:
    """Where the mean of the last five checks lies beside the master piece: `, beside its master piece by -0.02 to
    +0.05 mm`.
    """
    if one.low is None or one.high is None:
        return ""
    low, high = (numbers.mm(end, shown=shop.shop.length, sign=True) for end in (one.low, one.high))
    return f", {low.partition(numbers.NBSP)[0]} to {high} beside its master piece"


def _row(one: Standing, shop: Shop) -> dict[str, Any]:
    return {
        "gauge": one.name,
        "master": _length(one.master, shop),
        "every": f"{one.every_days} days" if one.every_days else "",
        "last": numbers.day(sentences.local(shop, one.last_at)) if one.last_at else "none",
        "says": says(one, shop),
    }


def _chart(one: Standing, shop: Shop) -> html.Div:
    days = [numbers.day(sentences.local(shop, at)) for at in one.at]
    view = ChecksView(one.off, days, (one.step or 0.0) / 2)
    finding = f"{one.name}: {len(one.off)} checks, {says(one, shop)}."
    return html.Div(
        [html.H3(one.name), drawings.graph(drawings.both(gauge_checks, view), finding, f"checks-{one.gauge}")]
    )


def _length(mm: float, shop: Shop) -> str:
    return numbers.mm(mm, shown=shop.shop.length)
