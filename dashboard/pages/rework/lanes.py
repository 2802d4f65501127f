"""The lanes of Rework: what causes it, where it is caught; and the send-backs behind one lane."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from functools import partial
from typing import Any

import polars as pl
from dash import dcc, html

from analysis.studies.rework import lanes as study
from analysis.studies.rework import rework
from analysis.studies.story.scope import Scope, loops_caught
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.lanes import Catch, Lane, LanesView, lanes
from dashboard.desk import desk
from dashboard.sentences import rework as sentences_rework
from ingest.shopfiles.shop import Shop

NAME = "What causes it, where it is caught"
PATH = "/rework"
PER_SHOWN = {"minutes": 60.0}  # of the study's unit in the one shown
NAMED = 0.01  # of the whole: a stage that catches less stands without its name
LABELLED = 0.009  # of the whole: a catch below it stands without its figure
SHOWN = 25  # send-backs; then a page more
FLOW = "rework-lanes"


def sheet(shop: Shop, scope: Scope, unit: str, filters: Mapping[str, str | None]) -> html.Section:
    """Chart, sentence, and the way to what nobody confirmed."""
    found = desk.ask(study.lanes, scope=scope, of=unit)
    flows = desk.ask(rework.flows, scope=scope)
    say = sentences_rework.flow(flows, shop)
    view = lanes_view(found, shop, unit, _weeks(scope))
    chart = parts.graph(
        parts.both(lanes, view), say, FLOW, _table(flows, shop, unit), leads=partial(to_lane, dict(filters))
    )
    unsure = int(flows.total["count"][0]) - int(flows.total["confirmed"][0])
    ask = f"{numbers.count(unsure)} {'send-back' if unsure == 1 else 'send-backs'} to look at"
    look = parts.to_readings(visits(scope, confirmed=0), ask) if unsure else ""
    key = parts.key(
        ("back", "thick: what came back; long: how far; it thins where caught; core: confirmed; under 1 % no figure")
    )
    return parts.sheet(NAME, "each lane opens its instruments", [chart, html.P([html.B(say), " ", look]), key])


def to_lane(filters: dict[str, str | None], key: str) -> str:
    """Where a lane leads: its instruments on this page, beside the filters that are there."""
    caused_at, _, caught_at = key.partition("|")
    more = {"caused_at": caused_at, "caught_at": caught_at or None}
    return addresses.address(PATH, **{**filters, **more}) if caused_at else ""


def lanes_view(found: study.Lanes, shop: Shop, unit: str, before: str) -> LanesView:
    """What the chart is given, in the unit shown."""
    per = PER_SHOWN.get(unit, 1.0)
    total = float(found.rows["value"].sum()) or 1.0
    drawn = found.rows.filter("drawn")
    rest = found.rows.filter(~pl.col("drawn"))
    order = {stage.key: place for place, stage in enumerate(shop.stages, start=1)}
    caught = [
        (order[key], shop.stage_name(key), _amount(value / per, unit, shop))
        for key, value in found.caught.iter_rows()
        if key in order and value >= NAMED * total
    ]
    told = []
    for row in drawn.iter_rows(named=True):
        mine = found.catches.filter(pl.col("caused_at") == row["caused_at"])
        catches = [
            Catch(order.get(key, len(order)), value / per, _plain(value / per, unit) * (value >= LABELLED * total))
            for key, value in mine.select("caught_at", "value").iter_rows()
            if value > 0
        ]
        place = order.get(row["caused_at"], 0 if row["caused_at"] == "supplier" else None)
        name = sentences_rework.named(shop, row["caused_at"])
        sure = row["sure"] / row["value"] if row["value"] else 0.0
        name = name[:1].upper() + name[1:]
        words = (
            f"{name}: {_amount(row['value'] / per, unit, shop)}, {numbers.count(row['count'])} sent back, "
            f"{numbers.share(row['count_confirmed'] / row['count'], row['count'])} confirmed"
        )
        key = f"{row['caused_at']}|"
        told.append(Lane(name, place, catches, sure, _figures(row, unit, shop), row["main"], key, words))
    last = [("All that came back", _all(found, unit, shop))]
    if len(rest):
        few = ", ".join(
            f"{sentences_rework.named(shop, key).lower()} {_plain(value / per, unit)}"
            for key, value in rest.select("caused_at", "value").head(4).iter_rows()
        )
        many = f"{numbers.in_words(len(rest), capital=True)} {'other' if len(rest) == 1 else 'others'}: {few}"
        more = f" and {numbers.in_words(len(rest) - 4)} more" if len(rest) > 4 else ""
        last.insert(0, (many + more, _together(rest, unit, shop)))
    what = {"minutes": "hours", "cost": shop.shop.currency, "count": "sent"}[unit]
    under = {"minutes": "95 %", "cost": "95 %", "count": "back, 95 %"}[unit]
    second = "hours" if unit == "cost" else shop.shop.currency if shop.shop.labour_per_hour else ""
    headings = [f"{what}|{under}", before, second, "sent|back", "of them|confirmed"]
    names = [shop.stage_name(stage.key) for stage in shop.stages]
    return LanesView(names, caught, told, headings, last)


def _weeks(scope: Scope) -> str:
    if scope.first is None or scope.last is None:
        return " |before"
    weeks = (scope.last - scope.first).days // 7 + 1
    return f"{numbers.count(weeks)} {'week' if weeks == 1 else 'weeks'}|before"


def _plain(value: float, unit: str) -> str:
    return numbers.plain(value, 1 if unit == "minutes" else 0)


def _amount(value: float, unit: str, shop: Shop) -> str:
    if unit == "cost":
        return numbers.money(value, shop.shop.currency)
    return numbers.with_unit(_plain(value, unit), "h") if unit == "minutes" else numbers.count(round(value))


def _second(row: Mapping[str, Any], unit: str, shop: Shop) -> str:
    """Money beside hours, hours beside money; nothing where the shop names no cost of an hour."""
    if unit == "cost":
        return numbers.plain(row["minutes"] / 60, 1)
    return numbers.count(round(row["cost"])) if shop.shop.labour_per_hour else ""


def _figures(row: Mapping[str, Any], unit: str, shop: Shop) -> list[str]:
    per = PER_SHOWN.get(unit, 1.0)
    span = f"|{numbers.span(row['low'] / per, row['high'] / per, 0)}" if row["low"] is not None else ""
    return [
        _plain(row["value"] / per, unit) + span,
        _plain(row["before"] / per, unit) if row["before"] is not None else "",
        _second(row, unit, shop),
        numbers.count(row["count"]),
        numbers.share(row["count_confirmed"] / row["count"], row["count"]),
    ]


def _together(rows: pl.DataFrame, unit: str, shop: Shop) -> list[str]:
    summed = rows.select(pl.col("value", "minutes", "cost", "count", "count_confirmed", "before").sum())
    row = summed.row(0, named=True) | {"low": None, "high": None}
    if rows["before"].null_count():
        row["before"] = None
    return _figures(row, unit, shop)


def _all(found: study.Lanes, unit: str, shop: Shop) -> list[str]:
    told = _together(found.rows, unit, shop)
    if found.before is not None:
        told[1] = _plain(found.before / PER_SHOWN.get(unit, 1.0), unit)
    return told


def _table(found: rework.Flows, shop: Shop, unit: str) -> html.Div:
    """What the lanes are made of: caused at by caught at."""
    lines = [
        {
            "caused": sentences_rework.named(shop, row["caused_at"]),
            "caught": sentences_rework.named(shop, row["caught_at"]),
            "count": numbers.count(row["count"]),
            "amount": _amount(row[unit] / PER_SHOWN.get(unit, 1.0), unit, shop),
            "sure": numbers.share(row["count_confirmed"] / row["count"], row["count"]),
        }
        for row in found.rows.iter_rows(named=True)
    ]
    what = {"minutes": "Hours of work", "cost": "Money", "count": "How often"}[unit]
    columns = [
        ("caused", "Caused at"),
        ("caught", "Caught at"),
        ("count", "Sent back", "n"),
        ("amount", what, "n"),
        ("sure", "Confirmed", "n"),
    ]
    return parts.plain_table(lines, columns)


def visits(scope: Scope, **more: Any) -> str:
    """The visits of a scope, for a link to Logs."""
    model = scope.models[0] if scope.models else None
    end = scope.last + timedelta(days=6) if scope.last else None
    return addresses.address("/logs/visits", model=model, **{"from": scope.first, "to": end}, **more)


def send_backs(shop: Shop, scope: Scope, caused_at: str, caught_at: str, asked: Mapping[str, Any]) -> html.Section:
    """The send-backs behind one lane, or of it those caught at one stage."""
    loops = desk.ask(loops_caught, scope=scope).filter(pl.col("caused_at") == caused_at)
    cause = sentences_rework.named(shop, caused_at).lower()
    name = f"Caused at {cause}"
    if caught_at:
        loops = loops.filter(pl.col("caught_at") == caught_at)
        name = f"Caught at {sentences_rework.named(shop, caught_at).lower()}, caused at {cause}"
    last = max((len(loops) - 1) // SHOWN + 1, 1)
    page = addresses.whole_number(asked.get("page"), 1, last, 1)
    shown = loops.sort("opened_at", descending=True).slice((page - 1) * SHOWN, SHOWN)
    rows = []
    for row in shown.iter_rows(named=True):
        href = addresses.address("/logs/instrument", serial=row["serial"])
        rows.append(
            {
                "serial": dcc.Link(row["serial"], href=href, className="serial"),
                "model": row["model"],
                "fault": row["fault"] or "no fault named",
                "caught": sentences_rework.named(shop, row["caught_at"]),
                "when": numbers.day(row["opened_day"]),
                "work": numbers.hours_of(row["minutes"]),
                "days": numbers.plain(row["hours"] / 24, 1),
                "sure": "confirmed" if row["confirmed"] else "sent to, not confirmed",
                "open": "open" if row["open"] else "",
            }
        )
    columns = [
        ("serial", "Instrument"),
        ("model", "Model", "wide-only"),
        ("fault", "First fault"),
        ("caught", "Caught at", "wide-only"),
        ("when", "Caught"),
        ("work", "Work", "n"),
        ("days", "Days away", "n wide-only"),
        ("sure", "Cause", "wide-only"),
        ("open", "", "wide-only"),
    ]
    ways = [
        html.A(words, href=addresses.address(PATH, **{**asked, "page": to}), className="stay button", id=f"lane-{to}")
        for words, to in (("Before", page - 1), ("Next", page + 1))
        if 1 <= to <= last
    ]
    leaves = [html.Div(ways, className="leaves no-print")] if ways else []
    right = f"{numbers.count(len(loops))} {'send-back' if len(loops) == 1 else 'send-backs'}"
    return parts.sheet(name, right, [parts.plain_table(rows, columns), *leaves], id="rework-lane")
