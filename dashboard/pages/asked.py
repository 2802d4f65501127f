"""What an address asks for and this shop does not have: said above the page, which then shows what it begins with."""

from __future__ import annotations

from typing import Any

from dash import html

from analysis.studies.story import find
from dashboard import parts
from dashboard.address import short
from dashboard.desk import desk

KINDS = {  # name in an address -> what it names
    "model": find.MODEL,
    "models": find.MODEL,
    "tech": find.TECH,
    "supplier": find.SUPPLIER,
    "lot": find.LOT,
}
FAMILY = "family "  # how a family stands among the models of Drift
EVERYTHING = ("", "all")
ITSELF = ("/against", "/find", "/logs/readings")  # pages that say so themselves


def strip(path: str, address: dict[str, str]) -> Any:
    """A line for each thing that is not there; nothing where all is."""
    if path in ITSELF:
        return None
    asked = {name: value for name, value in address.items() if isinstance(value, str) and value not in EVERYTHING}
    strange = [(name, asked[name]) for name in asked if name in (*KINDS, "stage", "characteristic")]
    told = [f"{_word(name)} {short(value)!r}" for name, value in strange if not _there(name, value)]
    if not told:
        return None
    words = f"The address asks for {' and '.join(told)}, which no log or file of this shop names; shown is the rest."
    return html.Section(
        [parts.picture("question"), html.P(words)], className="unread", **parts.aria(label="What is not there")
    )


def _word(name: str) -> str:
    return "model" if name == "models" else name


def _there(name: str, value: str) -> bool:
    shop = desk.here().snapshot().shop
    if name == "stage":
        return value in shop.bench_order or value in ("supplier", "handling", "unknown")
    if name == "characteristic":
        return value in shop.by_characteristic
    if name == "models" and value.startswith(FAMILY):
        return value.removeprefix(FAMILY) in set(shop.families.values())
    return value in desk.ask(find.known)[KINDS[name]]
