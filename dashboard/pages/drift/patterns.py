"""Instruments whose pattern is wrong though each number may pass: a list with what drives each."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from analysis.studies.drift.pattern_list import OddPattern, pattern_list
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

SHOWN = 10


def sheet(shop: Shop, weeks: int) -> html.Section:
    """The sheet of the patterns."""
    found = desk.ask(pattern_list, weeks=weeks)
    right = "relief, action and intonation of one instrument together"
    if not found:
        none = "No instrument's readings go together unlike those of its model in these weeks."
        return parts.sheet("Patterns", right, html.P(none, className="small"))
    rows = [_line(one, shop) for one in found[:SHOWN]]
    columns = [
        ("serial", "Instrument"),
        ("model", "Model"),
        ("when", "Taken", "wide-only"),
        ("drivers", "What goes against the rest"),
    ]
    more = [html.P(f"and {numbers.count(len(found) - SHOWN)} more", className="small")] if len(found) > SHOWN else []
    note = (
        "Each of these numbers may lie within its limits; it is how they go together that does not. Look at the "
        "instrument before the gauge."
    )
    return parts.sheet("Patterns", right, [parts.plain_table(rows, columns), *more, html.P(note, className="small")])


def _line(one: OddPattern, shop: Shop) -> dict[str, Any]:
    told = []
    for row in one.drivers.iter_rows(named=True):
        what = sentences.characteristic(shop, row["characteristic"], row["position"]).lower()
        value, usual = (
            sentences.amount(shop, row["characteristic"], row[name], mean=True) for name in ("value", "usual")
        )
        told.append(f"{what} {value}, usually {usual}")
    link = dcc.Link(one.serial, href=addresses.address("/logs/instrument", serial=one.serial), className="serial")
    when = numbers.day(sentences.local(shop, one.taken_at))
    return {"serial": link, "model": one.model, "when": when, "drivers": "; ".join(told) or "no one reading alone"}
