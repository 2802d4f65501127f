"""One stream of Capability: its board, what it needs, and what to act on - off centre by, spread to halve."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import html

from analysis.studies.gauges.read_on import read_on
from analysis.studies.room.capability import NOT_NORMAL
from analysis.studies.room.histogram import Histogram, histogram
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.capability_map import MapCell, MapView, capability_map
from dashboard.charts.histogram import HistogramView
from dashboard.charts.histogram import histogram as histogram_chart
from dashboard.desk import desk, gauges_now
from dashboard.pages import period as periods
from dashboard.sentences import room as words
from dashboard.sentences import shared as sentences
from dashboard.sentences.gauges import beside
from ingest.shopfiles.shop import Shop

FEW = 50  # readings


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
    said = (
        f"{name}: {numbers.of(row['outside'], row['n'])} outside {words.when_read(shop, row, when)}; {need_words(row)}."
    )
    view = MapView([""], [row["model"]], [_cell(row, said)])
    board = parts.graph(parts.both(capability_map, view), said, "capability-one")
    key = {name: row[name] for name in ("characteristic", "position", "model")}
    of_bench = {"stage": row["stages"][0]} if words.at_bench(shop, row) else {"role": "final"}
    ways = html.P(
        [
            parts.to_readings(addresses.address("/logs/readings", **key, **of_bench, **period.address), "Its readings"),
            " ",
            parts.to_readings(addresses.address("/drift", **key, stage="all"), "Its chart on Drift"),
        ]
    )
    many = f"{numbers.count(row['n'])} {'reading' if row['n'] == 1 else 'readings'}"
    right = f"{words.when_read(shop, row, when)}, {many} under the limits in force"
    doubt = [] if row["promise"] else [html.P(f"No promise: {doubts(row)}.", className="small")]
    doubt += [html.P(f"Look whether {words.slips(row)}.", className="small")] if row["slips"] else []
    named = desk.ask(read_on).get((row["characteristic"], row["model"]), frozenset())
    resting = beside(gauges_now.out_of_order(), shop, row["characteristic"], named)
    doubt += [html.P(resting, className="small")] if resting else []
    facts = parts.facts(*_facts(row, shop))
    drawn = _histogram(row, shop, when, period)
    return parts.sheet(name, right, [facts, board, *drawn, html.P(_act(row, shop)), *doubt, ways], id="capability-one")


def _histogram(row: dict[str, Any], shop: Shop, when: str, period: periods.Period) -> list[Any]:
    """The readings as bars on the board, and the curve they follow."""
    key: dict[str, Any] = {name: str(row[name]) for name in ("characteristic", "position", "model")}
    normal = NOT_NORMAL not in row["flags"]
    found = desk.ask(histogram, when=when, normal=normal, first=period.first, last=period.last, **key)
    if found is None:
        return []
    quantity, shown = sentences.quantity(shop, key["characteristic"]), shop.length_of(key["characteristic"])
    decimals = numbers.decimals_of(quantity, shown=shown)

    def size(value: float | None) -> float | None:
        return None if value is None else numbers.in_unit(value, quantity, shown=shown)

    scale = numbers.in_unit(1.0, quantity, shown=shown)
    unit = numbers.unit_of(quantity, shown=shown)
    edges = [scale * float(edge) for edge in found.edges]
    told = [
        f"{numbers.span(a, b, decimals + 1)} {unit}: {numbers.count(int(n))} {'reading' if n == 1 else 'readings'}"
        + (f", {numbers.count(int(out))} outside" if out else "")
        for a, b, n, out in zip(edges[:-1], edges[1:], found.counts, found.outside, strict=True)
    ]
    view = HistogramView(
        edges,
        [int(n) for n in found.counts],
        [int(n) for n in found.outside],
        told,
        [scale * float(x) for x in found.x],
        [float(y) for y in found.y],
        size(found.target),
        size(found.lower),
        size(found.upper),
        decimals,
        unit,
    )
    say = histogram_words(found, shop, key["characteristic"])
    rows = [
        {"from": numbers.plain(a, decimals + 1), "to": numbers.plain(b, decimals + 1), "n": int(n), "out": int(out)}
        for a, b, n, out in zip(edges[:-1], edges[1:], found.counts, found.outside, strict=True)
    ]
    columns = [
        ("from", f"From, {unit}", "n"),
        ("to", f"To, {unit}", "n"),
        ("n", "Readings", "n"),
        ("out", "Outside", "n"),
    ]
    chart = parts.graph(
        parts.both(histogram_chart, view), say, "capability-histogram", parts.plain_table(rows, columns)
    )
    return [html.H3("How the readings lie"), chart, html.P(say, className="small")]


def histogram_words(found: Histogram, shop: Shop, characteristic: str) -> str:
    """What the bars show: how many readings, how many outside and on a limit, and what curve they follow."""
    n, out = found.n, int(found.outside.sum())
    width = sentences.amount(shop, characteristic, float(found.edges[1] - found.edges[0]))
    steps = found.step and round(float(found.edges[1] - found.edges[0]) / found.step)
    bar = f"A bar is {width}" + (
        f", {numbers.in_words(steps)} {'step' if steps == 1 else 'steps'} of the gauge" if steps else ""
    )
    few = f" {numbers.count(n)} readings are few for a shape." if n < FEW else ""
    limited = found.lower is not None or found.upper is not None
    outside = f"{numbers.of(out, n)} outside, in the colour" if out else f"none of {numbers.count(n)} outside"
    on = f", {numbers.count(found.on_limit)} on a limit" if found.on_limit else ""
    told = f" Of the readings, {outside}{on}." if limited else ""
    if not found.curve:
        return f"{bar}.{told} No curve of those tried fits them, so none is drawn.{few}"
    return f"{bar}.{told} The line is the {found.curve} curve they follow.{few}"


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
