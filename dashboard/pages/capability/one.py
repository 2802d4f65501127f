"""One stream of Capability: its board, what it needs, and what to act on - off centre by, spread to halve."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import html

from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.capability_map import MapCell, MapView, capability_map
from dashboard.desk import gauges_now
from dashboard.pages import period as periods
from dashboard.sentences import shared as sentences
from dashboard.sentences.gauges import beside
from ingest.shopfiles.shop import Shop


def chosen(found: pl.DataFrame, key: str | None) -> dict[str, Any] | None:
    """The stream an address names (characteristic|position|model), None where there is none such."""
    told = (key or "").split("|")
    if len(told) != 3:
        return None
    names = dict(zip(("characteristic", "position", "model"), told, strict=True))
    rows = found.filter(*[pl.col(name) == value for name, value in names.items()])
    return rows.row(0, named=True) if len(rows) else None


def sheet(row: dict[str, Any], shop: Shop, when: str, period: periods.Period) -> html.Section:
    """The sheet of one stream."""
    name = f"{sentences.characteristic(shop, row['characteristic'], row['position'])}, {row['model']}"
    said = f"{name}: {numbers.of(row['outside'], row['n'])} outside {when}; {need_words(row)}."
    view = MapView([""], [row["model"]], [_cell(row, said)])
    board = parts.graph(parts.both(capability_map, view), said, "capability-one")
    key = {name: row[name] for name in ("characteristic", "position", "model")}
    ways = html.P(
        [
            parts.to_readings(
                addresses.address("/logs/readings", **key, role="final", **period.address), "Its readings"
            ),
            " ",
            parts.to_readings(addresses.address("/drift", **key, stage="all"), "Its chart on Drift"),
        ]
    )
    right = f"{when}, {numbers.count(row['n'])} {'reading' if row['n'] == 1 else 'readings'} under the limits in force"
    doubt = [] if row["promise"] else [html.P(f"No promise: {doubts(row)}.", className="small")]
    resting = beside(gauges_now.out_of_order(), shop, row["characteristic"])
    doubt += [html.P(resting, className="small")] if resting else []
    facts = parts.facts(*_facts(row, shop))
    return parts.sheet(name, right, [facts, board, html.P(_act(row, shop)), *doubt, ways], id="capability-one")


def need_words(row: dict[str, Any]) -> str:
    """`needs 1.9 times its tolerance (1.7 to 2.1)`; of a mean beyond its limit, that no tolerance is wide enough."""
    if row["need"] is None:
        return "its mean lies beyond a limit"
    span = f" ({numbers.span(row['need_low'], row['need_high'], 1)})" if row["need_high"] is not None else ""
    return f"needs {numbers.plain(row['need'], 1)} times its tolerance{span}"


def doubts(row: dict[str, Any]) -> str:
    """Its flags in words."""
    return ", ".join(word for word in row["flags"].split(";") if word)


def _facts(row: dict[str, Any], shop: Shop) -> list[tuple[Any, Any]]:
    share = numbers.share_range(row["share_low"], row["share_high"], row["n"])
    ppk = numbers.plain(row["ppk"])
    span = numbers.span(row["ppk_low"], row["ppk_high"]) if row["ppk_low"] is not None else "no bounds: too few"
    told: list[tuple[Any, Any]] = [
        (numbers.of(row["outside"], row["n"]), f"outside, {share}"),
        (f"Ppk {ppk}", f"95 %: {span}"),
    ]
    if row["off"] is not None:
        amount = sentences.amount(shop, row["characteristic"], row["off"], sign=True, mean=True)
        told.append((amount, "off centre by"))
    if row["widest"] is not None:
        told.append((numbers.plain(row["widest"], 1), "tolerances wide, the middle 99.7 %"))
    return told


def _act(row: dict[str, Any], shop: Shop) -> str:
    """What to change, the larger of the two first."""
    off, widest = row["off"], row["widest"]
    if off is None or widest is None:
        return "Only one side has a limit: moving the mean away from it and spreading less both make room."
    beside = abs(off) / (row["upper"] - row["lower"])
    amount = sentences.amount(shop, row["characteristic"], abs(off), mean=True)
    centre = f"Set on centre, {amount} {'lower' if off > 0 else 'higher'}"
    spread = f"its spread to {numbers.plain(100 / widest, 0)} % of what it is" if widest > 1 else "its spread as it is"
    if widest <= 1 and beside < 0.05:
        return "It stands near its centre and its spread fits."
    return f"{centre}, and {spread}: then it fits its limits."


def _cell(row: dict[str, Any], told: str) -> MapCell:
    lower, upper = row["lower"], row["upper"]
    width = (upper - lower) if lower is not None and upper is not None else max(row["high"] - row["low"], 1e-12)
    base = lower if lower is not None else upper - width
    shares = {name: (row[name] - base) / width for name in ("low", "quarter", "mean", "three_quarters", "high")}
    bounds = numbers.span(row["ppk_low"], row["ppk_high"]) if row["ppk_low"] is not None else ""
    return MapCell(
        0,
        0,
        has_lower=lower is not None,
        has_upper=upper is not None,
        ppk=numbers.plain(row["ppk"]),
        bounds=bounds,
        flags=doubts(row),
        told=told,
        **shares,
    )
