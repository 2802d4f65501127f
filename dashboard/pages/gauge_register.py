"""The register of gauges, as Capability opens it: what is due, and whether a gauge reads beside its master piece."""

from __future__ import annotations

from typing import Any

from dash import html

from analysis.studies.gauges.register import Standing
from dashboard import drawings, numbers, parts
from dashboard.charts.gauge_checks import ChecksView, gauge_checks
from dashboard.desk import gauges_now
from dashboard.sentences import shared as sentences
from dashboard.sentences.gauges import says, shown_in
from ingest.shopfiles.shop import Shop

NAME = "Checks on the master piece"


def sheet(shop: Shop) -> html.Section | None:
    """The sheet of the register: a gauge that drifts with its chart, the charts of the others folded; None where no
    gauge has a master piece.
    """
    standing = gauges_now.standings()
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
    drawn = [one for one in standing if len(one.off) > 1]
    beside = [_chart(one, shop) for one in drawn if one.drifts]
    rest = [_chart(one, shop) for one in drawn if not one.drifts]
    many = f"Every check of {'the others' if beside else 'each gauge'}, in the order taken"
    folded = [parts.behind(rest, many)] if rest else []
    return parts.sheet(NAME, "entered on Card in two touches", [parts.plain_table(rows, columns), *beside, *folded])


def _row(one: Standing, shop: Shop) -> dict[str, Any]:
    return {
        "gauge": one.name,
        "master": numbers.mm(one.master, shown=shown_in(one, shop)),
        "every": f"{one.every_days} days" if one.every_days else "",
        "last": numbers.day(sentences.local(shop, one.last_at)) if one.last_at else "none",
        "says": says(one, shop),
    }


def _chart(one: Standing, shop: Shop) -> html.Div:
    days = [numbers.day(sentences.local(shop, at)) for at in one.at]
    shown = shown_in(one, shop)
    off, half = (
        [numbers.in_unit(each, "length", shown=shown) for each in lengths]
        for lengths in (one.off, [(one.step or 0.0) / 2])
    )
    view = ChecksView(off, days, half[0], shown)
    finding = f"{one.name}: {len(one.off)} checks, {says(one, shop)}."
    return html.Div(
        [html.H3(one.name), drawings.graph(drawings.both(gauge_checks, view), finding, f"checks-{one.gauge}")]
    )
