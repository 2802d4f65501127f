"""Against: one period, model, setter, lot or gauge held against another, on one scale, with the difference in words.

Three choices and a link: all that is chosen stands in the address.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import polars as pl
from dash import Dash, dcc, html

from analysis.methods.problems import UnusableData
from analysis.studies.drift.against import Against as Found
from analysis.studies.drift.against import Seen, Side, against, else_of
from analysis.studies.drift.streams import rows_of_streams
from analysis.studies.story.story import story
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.against import SideView
from dashboard.charts.against import against as drawn
from dashboard.desk import desk
from dashboard.pages import days
from dashboard.sentences import against as words
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

PATH, NAME = "/against", "Against"
ANY = "all"
FIELDS = ("model", "tech", "lot", "gauge", "from", "to")
LABELS = {"model": "Model", "tech": "Set by", "lot": "Lot", "gauge": "Gauge", "from": "From", "to": "To"}
SHOWN = 25  # readings in the table of a side
GAP = "|"
ON_FILE = {"tech": "tech on file"}  # what an address may ask for, where fewer are offered
WEEKS = timedelta(days=27)  # before the last day


def layout(what: str = "", **asked: str) -> Any:
    """The page as its address asks for it: `what` = characteristic|position|stage, `a_model`, `b_from` and so on."""
    shop = desk.here().snapshot().shop
    offer = desk.ask(on_offer)
    whats = offer["what"]
    if not whats:
        empty = parts.empty_state(
            "Load a log; its readings can be held against one another here.", "Load a log", "/logs"
        )
        return parts.page(parts.page_head("Nothing was read yet.", ""), empty)
    strange = [*([what] if what and what not in whats else []), *_strange(asked, offer)]
    if strange:
        asks = parts.empty_state(f"The address asks for {', '.join(strange)}.", "Begin anew", PATH)
        return parts.page(
            parts.page_head("That is not in this shop.", "No log tells of it, or it is spelt otherwise."), asks
        )
    chosen = what or next((one for one in whats if _stage_role(shop, one) == "final"), whats[0])
    a, asked_b = (_side(asked, which) for which in "ab")
    b = else_of(a, asked_b)
    key, position, stage = chosen.split(GAP)
    title = sentences.characteristic(shop, key, position)
    if a.empty and asked_b.empty:
        ways = words.examples(*desk.ask(newest).get(chosen, ("", None)))
        examples = _chips([(text, addresses.address(PATH, what=chosen, **more)) for text, more in ways], "For example")
        asks = parts.page_head(f"{title}: choose what to hold against what.", words.HOW)
        return parts.page(asks, _fields(shop, chosen, asked, offer), examples)
    try:
        found = desk.ask(against, characteristic=key, position=position, stage=stage, a=a, b=b)
    except UnusableData as nothing:
        return parts.page(parts.page_head("Nothing to compare.", f"{nothing}."), _fields(shop, chosen, asked, offer))
    names = (words.name(a), words.name(b, other=asked_b.empty))
    under = words.under(found, all_else=asked_b.empty)
    about = f"{title} at {shop.stage_name(stage).lower()}. {' '.join(under)}"
    known = offer["tech"]
    caution = f"{words.COACHING} {words.unlisted([one for one in offer[ON_FILE['tech']] if one not in known])}".rstrip()
    caution = caution if a.tech or b.tech else ""
    head = words.headline(found, shop, key, names)
    sides = [_Half(found.a, names[0], "this"), _Half(found.b, names[1], "held against")]
    if _earlier(found.b, found.a):
        sides.reverse()
    return parts.page(
        parts.page_head(head, about, caution),
        _fields(shop, chosen, asked, offer),
        _quick(chosen, asked, a, asked_b),
        _sheet(found, sides, shop, key, head),
        parts.row("66", *(_readings(one, shop, key, from_target=found.from_target) for one in sides)),
    )


@dataclass(frozen=True)
class _Half:
    """A side where it is drawn."""

    seen: Seen
    name: str
    short: str


def _earlier(one: Seen, other: Seen) -> bool:
    """Were all readings of the one taken before those of the other? What came first stands left."""
    return bool(one.n and other.n and one.readings["day"][-1] < other.readings["day"][0])


def on_offer(snapshot: Any) -> dict[str, list[str]]:
    """What can be chosen: streams' characteristic, position and stage, and each field's values, in their order."""
    told = snapshot.once(story).readings
    fields = ["characteristic", "position", "stage", "model", "setup", "set_by", "lot", "gauge"]
    readings = told[fields][rows_of_streams(told)[0]]
    stages = list(snapshot.shop.bench_order)
    whats = readings.select("characteristic", "position", "stage").unique().sort("characteristic", "position", "stage")
    order = sorted(whats.rows(), key=lambda row: (row[0], row[1], stages.index(row[2]) if row[2] in stages else 99))

    def values(column: str) -> list[str]:
        return sorted(value for value in readings[column].unique().to_list() if value)

    by = values("set_by") if snapshot.shop.people.show != "none" else []

    return {
        "what": [GAP.join(row) for row in order],
        "model": sorted({*values("model"), *values("setup")}),
        "tech": [one.key for one in snapshot.shop.techs if one.key in by] or by,
        "tech on file": by,
        "lot": values("lot"),
        "gauge": values("gauge"),
    }


def newest(snapshot: Any) -> dict[str, tuple[str, date]]:
    """Of each characteristic, position and stage the model with most readings, and where its last four weeks begin."""
    told = snapshot.once(story).readings
    readings = told[["characteristic", "position", "stage", "setup", "day"]][rows_of_streams(told)[0]]
    each = readings.group_by("characteristic", "position", "stage", "setup").agg(pl.len(), pl.col("day").max())
    most = each.sort("len", "setup").unique(["characteristic", "position", "stage"], keep="last")
    return {GAP.join(row[:3]): (row[3], row[5] - WEEKS) for row in most.iter_rows()}


def _stage_role(shop: Shop, what: str) -> str:
    stage = what.split(GAP)[2]
    return next((one.role for one in shop.stages if one.key == stage), "")


def _strange(asked: dict[str, str], offer: dict[str, list[str]]) -> list[str]:
    """What the address asks for and is not there."""
    return [
        f"{LABELS[name].lower()} {value!r}"
        for which in "ab"
        for name in FIELDS[:4]
        if (value := asked.get(f"{which}_{name}", "")) and value != ANY and value not in offer[ON_FILE.get(name, name)]
    ]


def _side(asked: dict[str, str], which: str) -> Side:
    def value(name: str) -> str:
        text = asked.get(f"{which}_{name}", "")
        return "" if text == ANY else text

    def day(name: str) -> date | None:
        return date.fromisoformat(text) if (text := value(name)) else None

    return Side(value("model"), value("tech"), value("lot"), value("gauge"), day("from"), day("to"))


def _fields(shop: Shop, chosen: str, asked: dict[str, str], offer: dict[str, list[str]]) -> html.Div:
    """What is compared, then a row of choices a side."""
    whats = [{"value": one, "label": _what(shop, one)} for one in offer["what"]]
    rows: list[Any] = [html.Div([parts.field("What was read", _id("what"), chosen, whats)], className="filters")]
    for which, heading in (("a", "This"), ("b", "Held against (left open: all else)")):
        several: list[Any] = [html.Span(heading, className="small side-name")]
        for name in FIELDS:
            value = asked.get(f"{which}_{name}", "")
            if name in ("from", "to"):
                several.append(days.field(LABELS[name], _id(f"{which}_{name}"), value))
                continue
            every = dict.fromkeys([*offer[name], *([value] if value and value != ANY else [])])
            options = [{"value": ANY, "label": "All"}, *[{"value": one, "label": one} for one in every]]
            style = {} if offer[name] else {"display": "none"}
            several.append(parts.field(LABELS[name], _id(f"{which}_{name}"), value or ANY, options, style=style))
        rows.append(html.Div(several, className="filters sides", role="group", **parts.aria(label=heading)))
    return html.Div(rows, className="no-print")


def _what(shop: Shop, what: str) -> str:
    key, position, stage = what.split(GAP)
    return f"{sentences.characteristic(shop, key, position)}, {shop.stage_name(stage).lower()}"


def _quick(chosen: str, asked: dict[str, str], a: Side, b: Side) -> html.Nav | None:
    """Ways to what is often asked of the first side: the time before it, the others' work."""
    if a.empty or not b.empty:
        return None
    mine = {name: value for name, value in asked.items() if name.startswith("a_") and value and value != ANY}
    ways: list[tuple[str, dict[str, Any]]] = []
    same = {f"b_{name[2:]}": value for name, value in mine.items()}
    if a.first and a.last:
        length = a.last - a.first + timedelta(days=1)
        before = {"b_from": a.first - length, "b_to": a.first - timedelta(days=1)}
        ways.append(("against as many days before", {**same, **before}))
    for name, word in (("tech", "what others set"), ("lot", "other lots"), ("gauge", "other gauges")):
        if getattr(a, name) and len(mine) > 1:
            ways.append((f"against {word}", {key: value for key, value in same.items() if key != f"b_{name}"}))
    return _chips(
        [(text, addresses.address(PATH, what=chosen, **mine, **other)) for text, other in ways], "Often asked"
    )


def _chips(ways: list[tuple[str, str]], label: str) -> html.Nav | None:
    links = [dcc.Link(text, href=href, className="chip") for text, href in ways]
    said = html.Span(f"{label}:", className="small")
    return html.Nav([said, *links], className="chips no-print", **parts.aria(label=label)) if links else None


def _sheet(found: Found, sides: list[_Half], shop: Shop, key: str, said: str) -> html.Section:
    """Both halves on one scale, with the figures of each above."""
    quantity, length = sentences.quantity(shop, key), shop.length_of(key)
    limits = pl.concat([found.a.readings, found.b.readings]).select("lower", "upper").unique()
    lower, upper = limits.row(0) if len(limits) == 1 else (None, None)

    def unit(value: float | None) -> float | None:
        return None if value is None else numbers.in_unit(value, quantity, shown=length)

    def view(half: _Half) -> SideView:
        seen = half.seen
        told = [f"{serial}, {numbers.day(day)}" for serial, day in seen.readings.select("serial", "day").iter_rows()]
        first, last = (numbers.day(seen.readings["day"][k]) if seen.n else "" for k in (0, -1))
        values = [numbers.in_unit(value, quantity, shown=length) for value in seen.readings["value"]]
        mean, low, high = unit(seen.mean), unit(seen.low), unit(seen.high)
        return SideView(half.name, values, told, mean, low, high, first, last, half.short)

    views = [view(half) for half in sides]
    shown = numbers.unit_of(quantity, shown=length)
    figure = parts.both(drawn, *views, lower=unit(lower), upper=unit(upper), unit=shown)
    figures = [words.facts(half.seen, shop, key, from_target=found.from_target) for half in sides]
    above = [html.Div([html.H3(half.name), parts.facts(*told)]) for half, told in zip(sides, figures, strict=True)]
    right = words.key(from_target=found.from_target)
    chart = parts.graph(figure, said, "against-sides", _table(sides, figures))
    return parts.sheet("Both on one scale", right, [html.Div(above, className="halves"), chart])


def _table(sides: list[_Half], figures: list[list[tuple[str, str]]]) -> Any:
    rows = [
        {"side": half.name, **{f"f{k}": figure for k, (figure, _) in enumerate(told)}}
        for half, told in zip(sides, figures, strict=True)
    ]
    heads = ("Readings", "Mean", "Spread (sd)", "Outside")
    return parts.plain_table(rows, [("side", "Side"), *[(f"f{k}", head, "n") for k, head in enumerate(heads)]])


def _readings(half: _Half, shop: Shop, key: str, *, from_target: bool) -> html.Section:
    """The newest readings of a side, each a way to its instrument."""
    seen = half.seen
    rows = [
        {
            "serial": dcc.Link(
                row["serial"], href=addresses.address("/logs/instrument", serial=row["serial"]), className="serial"
            ),
            "day": numbers.day(row["day"]),
            "model": row["setup"],
            "value": sentences.amount(shop, key, row["value"], sign=from_target),
            "mark": "outside" if row["outside"] else "",
        }
        for row in seen.readings.tail(SHOWN).reverse().iter_rows(named=True)
    ]
    columns = [
        ("serial", "Serial"),
        ("day", "Read"),
        ("model", "Model"),
        ("value", "From its target" if from_target else "Reading", "n"),
        ("mark", ""),
    ]
    table = parts.plain_table(rows, columns) if rows else html.P("No reading.", className="small")
    many = f"the newest {numbers.count(len(rows))} of {numbers.count(seen.n)}" if seen.n > SHOWN else ""
    return parts.sheet(half.name, many, parts.behind(table, "Its readings") if rows else table)


def _id(name: str) -> str:
    return f"against-{name.replace('_', '-')}"


def connect(app: Dash) -> None:
    """The page's callbacks: what is chosen goes into the address."""
    names = ["what", *[f"{which}_{name}" for which in "ab" for name in FIELDS]]
    typed = {name: days.in_address for name in names if name.endswith(("_from", "_to"))}
    parts.filters_to_address(app, PATH, {name: _id(name) for name in names}, everything=ANY, typed=typed)
