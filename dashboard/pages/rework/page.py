"""Rework: where work was caught and caused, what comes back most, what it costs and what removing it would save."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from typing import Any

import polars as pl
from dash import Dash, dcc, html

from analysis.studies.rework import rework
from analysis.studies.rework.yields import rolled_yields, stage_yields
from analysis.studies.story.calendar import first_day
from analysis.studies.story.scope import Scope, loops_caught
from analysis.studies.story.unread import unread
from analysis.studies.week.arrived import review_week
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.drawn.svg import Leads
from dashboard.charts.flow import Arc, FlowRow, FlowView, Station, flow
from dashboard.desk import desk
from dashboard.pages.held import held
from dashboard.pages.rework import rest as rework_rest
from dashboard.pages.rework import weekly as rework_weekly
from dashboard.sentences import rework as sentences_rework
from dashboard.sentences import unread as words
from ingest.shopfiles.shop import Shop

PATH, NAME = "/rework", "Rework"
SINCE, UNTIL = "rework-since", "rework-until"
MODEL, FAMILY, WEEKS, WIDTH = "rework-model", "rework-family", "rework-weeks", "rework-width"
ALL = "all"
WIDTHS = {"minutes": "Hours of work", "cost": "Money", "count": "How often"}
PERIODS = {"1": "1 week", "4": "4 weeks", "13": "13 weeks", "52": "52 weeks"}  # those that are on file; then all logs
UNITS = {"minutes": "hours", "cost": "{code}", "count": "sent back,"}
PER_SHOWN = {"minutes": 60.0}  # of the studies' unit in the one shown
RINGS = {"supplier": "plain", "handling": "plain", "unknown": "dashed"}  # off the end of the bench
WIDEST = 8
FLOW = "rework-flow"


def layout(
    *,
    model: str | None = None,
    family: str | None = None,
    weeks: str | None = None,
    width: str | None = None,
    week: str | None = None,
    caused_at: str | None = None,
    caught_at: str | None = None,
    **more: str,
) -> Any:
    """The page as its address asks for it; `from`, `to`: the whole weeks that hold these days, in place of the last."""
    since, until = more.get("from", ""), more.get("to", "")
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    model = addresses.chosen(model, [*shop.by_model, *shop.setups.values()], None)
    family = addresses.chosen(family, shop.families.values(), None)
    width = addresses.chosen(width, WIDTHS, "minutes") or "minutes"
    last = desk.ask(review_week)
    if last is None:
        empty = parts.empty_state("No log is loaded yet.", "Load a log", "/logs")
        return parts.page(
            parts.page_head("No rework to show yet.", "It stands here once logs with outcomes are loaded."), empty
        )
    latest, last = last, _last(until or week, last, shop)
    periods = _periods(desk.ask(rework.first_week), last)
    weeks = addresses.chosen(weeks, periods, "4" if "4" in periods else ALL) or ALL
    first = None if weeks == ALL else last - timedelta(weeks=int(weeks) - 1)
    first = min(_last(since, last, shop), last) if since else first
    scope = Scope(models=(model,) if model else (), families=(family,) if family else (), first=first, last=last)
    if words.outcomes_missing(desk.ask(unread)):
        return parts.page(
            parts.page_head("Rework is not read.", "No log on file says how a visit ended: pass, send back, fixed."),
            parts.empty_state(
                "Say in Logs which column tells the outcome; then send-backs stand here.", "Logs", "/logs"
            ),
        )
    found = desk.ask(rework.flows, scope=scope)
    straight, judged = desk.ask(rework.straight_through, scope=scope)
    rolled = desk.ask(rolled_yields, scope=scope, by=())
    back = [" ", dcc.Link("The latest weeks", href=PATH)] if last < latest else []
    period = [_period(first, last, judged), *back]
    under = [*period, " ", sentences_rework.straight(straight, judged, rolled)]
    head = parts.page_head(
        sentences_rework.headline(found, shop, _within(weeks, periods, (since, first, last)), judged), under
    )
    fields = _filters(shop, model, family, _weeks(weeks, periods, since, until), width)
    if found.rows.is_empty():
        none = (
            "No instrument was sent back in these weeks."
            if judged
            else "Work is judged at final inspection; none has reached it in these weeks."
        )
        return parts.page(head, fields, parts.empty_state(none, "Show all logs", addresses.address(PATH, weeks=ALL)))
    chosen = (caused_at, caught_at) if caused_at and caught_at else None
    filters = {
        "model": model,
        "family": family,
        "weeks": weeks,
        "width": width,
        "week": week,
        "from": since,
        "to": until,
    }
    return parts.page(
        head,
        fields,
        held(
            "Where it was caught, and where it was caused", _flow, found, shop, scope, width, partial(to_arc, filters)
        ),
        *([held("These send-backs", _send_backs, shop, scope, *chosen)] if chosen else []),
        parts.row(
            "66",
            held("Faults that came back", rework_rest.faults, shop, scope),
            held("What removing it would save", rework_rest.savings, shop, scope),
        ),
        _widest(found, shop, filters),
        held("This week against the last twelve", rework_weekly.weekly, shop, scope, last),
        parts.row(
            "66",
            held("How far a fault travels", rework_rest.travels, shop, scope),
            held("Fixed on the spot, rejects, seconds, returns", rework_rest.answers, shop, scope),
        ),
        held("Returns and what they cost", rework_rest.came_back, shop, scope),
        held("Stage by stage", rework_rest.stages, shop, scope),
        held("Where on the instrument", rework_rest.where, shop, scope),
    )


def _last(asked: str | None, latest: date, shop: Shop) -> date:
    """First day of the last week shown: that of the day asked for, else of the week under review."""
    try:
        return min(first_day(date.fromisoformat(asked), shop), latest) if asked else latest
    except ValueError:
        return latest


def _period(first: date | None, last: date, judged: int) -> str:
    end = last + timedelta(days=6)
    since = f", {numbers.days(first, end, end)} {end.year}" if first else f", up to {numbers.day(end)} {end.year}"
    return f"{numbers.count(judged)} instruments judged{since}."


def _periods(first: date, last: date) -> dict[str, str]:
    """The periods that are on file up to the last week shown, and all of it."""
    on_file = max((last - first).days // 7 + 1, 1)
    every = f"All logs, {on_file} {'week' if on_file == 1 else 'weeks'}"
    return {key: words for key, words in PERIODS.items() if int(key) <= on_file} | {ALL: every}


def _weeks(weeks: str, periods: dict[str, str], since: str, until: str) -> list[Any]:
    """The last so many weeks, or two days."""
    return [
        parts.field("Weeks", WEEKS, weeks, _choices(periods), disabled=bool(since)),
        parts.day_field("From", SINCE, since, debounce=600),
        parts.day_field("To", UNTIL, until, debounce=600),
    ]


def _within(weeks: str, periods: dict[str, str], own: tuple[str, date | None, date]) -> str:
    """`in 4 weeks`, `on all logs, 16 weeks`, `in the weeks of 5 Oct to 26 Oct`."""
    if own[0] and own[1] is not None:
        same = own[1] == own[2]
        return f"in the week of {numbers.day(own[1])}" if same else f"in the weeks of {numbers.days(own[1], own[2])}"
    return f"{'on' if weeks == ALL else 'in'} {periods[weeks][0].lower()}{periods[weeks][1:]}"


def _choices(words: dict[str, str]) -> list[dict[str, str]]:
    return [{"value": key, "label": text} for key, text in words.items()]


def _filters(shop: Shop, model: str | None, family: str | None, weeks: list[Any], width: str) -> html.Div:
    every = [{"value": ALL, "label": "All"}]
    models = [{"value": key, "label": key} for key in shop.by_model]
    families = [{"value": key, "label": key.capitalize()} for key in dict.fromkeys(shop.families.values())]
    return parts.fields(
        parts.field("Model", MODEL, model or ALL, every + models),
        parts.field("Family", FAMILY, family or ALL, every + families),
        *weeks,
        parts.field("Width of an arc", WIDTH, width, _choices(WIDTHS)),
    )


def _amount(shop: Shop, width: str, row: dict[str, Any]) -> str:
    if width == "cost":
        return numbers.money(row["cost"], shop.shop.currency)
    return numbers.hours_of(row["minutes"]) if width == "minutes" else numbers.count(row["count"])


def _flow(found: rework.Flows, shop: Shop, scope: Scope, width: str, leads: Leads) -> html.Section:
    yields = {row["stage"]: row for row in desk.ask(stage_yields, scope=scope).iter_rows(named=True)}
    used = set(found.rows["caused_at"]) | set(found.rows["caught_at"])
    been = {key for key, row in yields.items() if row["instruments"]}
    stages = [
        stage
        for stage in shop.stages
        if stage.key in used or (stage.role != "repair" and stage.key in (been or yields))
    ]
    stations = [Station(key, key, ring) for key, ring in RINGS.items() if key in used] + [
        Station(stage.key, shop.stage_name(stage.key)) for stage in stages
    ]
    arcs, per = [], PER_SHOWN.get(width, 1.0)
    for row in found.rows.iter_rows(named=True):
        told = sentences_rework.arc(row, shop)
        arcs.append(
            Arc(
                row["caught_at"],
                row["caused_at"],
                float(row[width]) / per,
                float(row[f"{width}_confirmed"]) / per,
                _amount(shop, width, row),
                told,
                f"{row['caused_at']}|{row['caught_at']}",
            )
        )
    caught = dict(found.rows.group_by("caught_at").agg(pl.col("count").sum()).iter_rows())
    caused = {key: row for key, *row in found.rows.group_by("caused_at").agg(pl.col(width).sum()).iter_rows()}
    top = max(caused.items(), key=lambda item: item[1][0])[0]
    rows = [
        FlowRow("caught here", [numbers.count(caught[s.key]) if s.key in caught else "·" for s in stations]),
        FlowRow(
            f"{UNITS[width]} caused here".format(code=shop.shop.currency),
            [numbers.plain(caused[s.key][0] / per, int(per > 1)) if s.key in caused else "·" for s in stations],
            [k for k, s in enumerate(stations) if s.key == top],
        ),
        FlowRow("work that held, %", [_held(yields.get(s.key)) for s in stations]),
    ]
    say = sentences_rework.flow(found, shop)
    table = _matrix(found, shop, width)
    chart = parts.graph(parts.both(flow, FlowView(stations, arcs, rows)), say, FLOW, table, leads=leads)
    unsure = int(found.total["count"][0]) - int(found.total["confirmed"][0])
    look = (
        parts.to_readings(
            _visits(scope, confirmed=0),
            f"{numbers.count(unsure)} {'send-back' if unsure == 1 else 'send-backs'} to look at",
        )
        if unsure
        else ""
    )
    minutes = sentences_rework.minutes(found)
    return parts.sheet(
        "Where it was caught, and where it was caused",
        "an arc runs back along the bench; its core is the confirmed part",
        [chart, html.P([say, " ", look]), html.P(minutes, className="small")],
    )


def to_arc(filters: dict[str, str | None], key: str) -> str:
    """Where an arc leads: its instruments on this page, beside the filters that are there."""
    caused_at, _, caught_at = key.partition("|")
    return addresses.address(PATH, caused_at=caused_at, caught_at=caught_at, **filters) if caught_at else ""


def _held(row: dict[str, Any] | None) -> str:
    return numbers.plain(100 * row["yield_caused"], 0) if row and row["yield_caused"] is not None else "·"


def _matrix(found: rework.Flows, shop: Shop, width: str) -> Any:
    lines = [
        {
            "caused": sentences_rework.named(shop, row["caused_at"]),
            "caught": sentences_rework.named(shop, row["caught_at"]),
            "count": numbers.count(row["count"]),
            "amount": _amount(shop, width, row),
            "confirmed": numbers.share(row["count_confirmed"] / row["count"], row["count"]),
        }
        for row in found.rows.iter_rows(named=True)
    ]
    return parts.plain_table(
        lines,
        [
            ("caused", "Caused at"),
            ("caught", "Caught at"),
            ("count", "Sent back", "n"),
            ("amount", WIDTHS[width], "n"),
            ("confirmed", "Confirmed", "n"),
        ],
    )


def _visits(scope: Scope, **more: Any) -> str:
    model = scope.models[0] if scope.models else None
    end = scope.last + timedelta(days=6) if scope.last else None
    return addresses.address("/logs/visits", model=model, **{"from": scope.first, "to": end}, **more)


def _send_backs(shop: Shop, scope: Scope, caused_at: str, caught_at: str) -> html.Section:
    """The send-backs behind one arc."""
    loops = desk.ask(loops_caught, scope=scope).filter(
        (pl.col("caused_at") == caused_at) & (pl.col("caught_at") == caught_at)
    )
    name = (
        f"Caught at {sentences_rework.named(shop, caught_at).lower()}, caused at "
        f"{sentences_rework.named(shop, caused_at).lower()}"
    )
    rows = []
    for row in loops.sort("opened_at", descending=True).head(40).iter_rows(named=True):
        link = dcc.Link(
            row["serial"], href=addresses.address("/logs/instrument", serial=row["serial"]), className="serial"
        )
        rows.append(
            {
                "serial": link,
                "model": row["model"],
                "fault": row["fault"] or "no fault named",
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
        ("when", "Caught"),
        ("work", "Work", "n"),
        ("days", "Days away", "n wide-only"),
        ("sure", "Cause", "wide-only"),
        ("open", "", "wide-only"),
    ]
    more = [html.P(f"and {numbers.count(len(loops) - 40)} more", className="small")] if len(loops) > 40 else []
    return parts.sheet(name, f"{numbers.count(len(loops))} send-backs", [parts.plain_table(rows, columns), *more])


def _widest(found: rework.Flows, shop: Shop, filters: dict[str, str | None]) -> html.Section:
    rows = []
    for row in found.rows.head(WIDEST).iter_rows(named=True):
        href = to_arc(filters, f"{row['caused_at']}|{row['caught_at']}")
        rows.append(
            {
                "caused": parts.to_readings(href, sentences_rework.named(shop, row["caused_at"])),
                "caught": sentences_rework.named(shop, row["caught_at"]),
                "count": numbers.count(row["count"]),
                "work": numbers.hours_of(row["minutes"]),
                "cost": numbers.money(row["cost"], shop.shop.currency),
                "days": numbers.plain(row["hours"] / 24, 1),
                "sure": numbers.share(row["count_confirmed"] / row["count"], row["count"]),
            }
        )
    columns = [
        ("caused", "Caused at"),
        ("caught", "Caught at"),
        ("count", "Sent back", "n"),
        ("work", "Work", "n"),
        ("cost", "Money", "n"),
        ("days", "Days away", "n wide-only"),
        ("sure", "Confirmed", "n wide-only"),
    ]
    return parts.sheet(
        f"The {numbers.in_words(len(rows))} that cost most work",
        "each opens its instruments",
        parts.plain_table(rows, columns),
    )


def connect(app: Dash) -> None:
    """The page's callbacks."""
    parts.filters_to_address(
        app,
        PATH,
        {"model": MODEL, "family": FAMILY, "weeks": WEEKS, "from": SINCE, "to": UNTIL, "width": WIDTH},
        everything=ALL,
    )
