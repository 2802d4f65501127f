"""The sheets of Week below its first screen: a normal week or not, what lay outside, what was shipped, what was done,
what stands on the bench, and whether the data arrived.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import polars as pl
from dash import dcc, html

from analysis.review import Review
from analysis.studies.story.seen_again import untold
from analysis.studies.week.leaving import NO_FINAL
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.charts.normal_week import WeeksView, normal_week
from dashboard.charts.shares import shares
from dashboard.desk import desk
from dashboard.sentences import book as sentences_book
from dashboard.sentences import leaving, silent
from dashboard.sentences import shared as sentences
from dashboard.sentences import week as sentences_week
from ingest.shopfiles.shop import Shop

SHOWN = 5  # serials in a list; the rest opens
SLIPS = 5  # readings that may be mistyped
LINKED = 12  # serials that are links in one sentence
MOST_SHARES = 12  # rows of a chart; the smallest stand in the table


def normal(found: Review, shop: Shop) -> html.Section:
    """Is it a normal week: three figures on the range of the weeks before."""
    columns: tuple[tuple[str, Callable[[Any], str]], ...] = (
        ("finished", numbers.count),
        ("never_sent_back", lambda x: numbers.share(x, 100)),
        ("signals_opened", numbers.count),
    )
    told = sentences.normal(found, shop)
    cells = []
    for (name, figure, say), (column, write) in zip(told, columns, strict=False):
        values = [float("nan") if v is None else float(v) for v in found.weeks[column].to_list()]
        low, high = found.usual.get(column, (None, None))
        view = WeeksView(
            values,
            low,
            high,
            "" if low is None else write(low).strip(),
            "" if high is None else write(high).strip(),
            [f"week of {numbers.day(week)}" for week in found.weeks["week"]],
            [write(v) for v in found.weeks[column]],
        )
        chart = parts.graph(parts.both(normal_week, view), f"{name}: {figure}. {say}", f"week-{column}")
        cells.append(
            html.Div(
                [
                    html.P(name, className="small"),
                    html.P(figure, className="big"),
                    chart,
                    html.P(say, className="small"),
                ]
            )
        )
    weeks = f"{numbers.in_words(len(found.weeks))} {'week' if len(found.weeks) == 1 else 'weeks'}"
    right = f"{weeks}, this week the large dot; grey is the usual range"
    return parts.sheet("Is it a normal week?", right, html.Div(cells, className="normal"))


def outside(found: Review, shop: Shop) -> html.Section:
    """As set outside limits, n of N, from the first log on."""
    if found.outside.is_empty():
        return parts.sheet(
            "As set, outside limits",
            "",
            parts.empty_state("No final inspection of this week has a reading with limits."),
        )
    each = found.outside.filter(pl.col("characteristic") != "any")
    rows = sentences_week.outside_rows(found, shop, MOST_SHARES)
    left = len(each) - len(rows)
    say = sentences_week.outside(found)
    table = parts.plain_table(
        [
            {
                "name": parts.to_readings(
                    _readings(found, row), sentences.characteristic(shop, row["characteristic"], row["position"])
                ),
                "of": numbers.of(row["outside"], row["n"]),
                "range": numbers.share_range(row["low"], row["high"], row["n"]),
            }
            for row in each.iter_rows(named=True)
        ],
        [("name", "Reading"), ("of", "Outside", "n"), ("range", "95 % interval", "n")],
    )
    chart = parts.graph(parts.both(shares, rows), say, "week-outside", table)
    return parts.sheet(
        "As set, outside limits",
        "first final inspection, n of N, 95 % interval",
        [chart, html.P(say + (f" The {left} smallest are in the table." if left else ""), className="small")],
    )


def _readings(found: Review, row: dict[str, Any]) -> str:
    return address(
        "/logs/readings",
        characteristic=row["characteristic"],
        position=row["position"],
        role="final",
        judged_from=found.week,
        judged_to=found.last_day,
        outside=1,
    )


def shipped(found: Review, shop: Shop) -> html.Section:
    """Serials packed with a last reading outside, or without a final inspection on file."""
    told = sentences_week.shipped(found, shop)
    lines = [
        [html.Dt(dcc.Link(serial, href=address("/logs/instrument", serial=serial))), html.Dd(what)]
        for serial, what in told
    ]
    n = len(told)
    if not n:
        body: Any = html.P(sentences_week.nothing_shipped(found, shop), className="small")
    else:
        shown, rest = lines[:SHOWN], lines[SHOWN:]
        more = html.Dl([part for line in rest for part in line], className="serials")
        body = [
            html.Dl([part for line in shown for part in line], className="serials"),
            *([parts.behind(more, f"and {numbers.count(len(rest))} more")] if rest else []),
            *([html.P(sentences_week.LATE, className="small")] if leaving.shipped(found, NO_FINAL) else []),
        ]
    return parts.sheet(
        "Shipped outside, or without final", f"{numbers.count(n)} {'serial' if n == 1 else 'serials'}", body
    )


def acted(found: Review, shop: Shop) -> html.Section:
    """Actions so far: did the chart move?"""
    body = [_action(row, shop) for row in found.actions.iter_rows(named=True)]
    return parts.sheet("Actions so far: did it move?", "", body)


def _action(row: dict[str, Any], shop: Shop) -> html.Div:
    about, told = sentences_book.action(row, shop)
    return html.Div(
        [
            html.Div([html.P(row["text"]), html.P(about, className="small")]),
            html.Div([html.B(row["verdict"]), html.P(told, className="small")]),
        ],
        className="action",
    )


def bench(found: Review, shop: Shop, *, as_of: datetime) -> html.Section:
    """Finished, on the bench and oldest, on hold, lost from sight."""
    facts: list[tuple[Any, Any]] = list(sentences_week.on_the_bench(found))
    oldest = sentences_week.oldest(found, shop)
    if oldest:
        days, serial, stage = oldest
        facts.append(
            (
                days,
                [
                    "oldest: ",
                    dcc.Link(serial, href=address("/logs/instrument", serial=serial), className="serial"),
                    f", {stage}",
                ],
            )
        )
    of = desk.ask(untold)
    words, serials = sentences_week.lost(found, of)
    links = [dcc.Link(s, href=address("/logs/instrument", serial=s), className="serial") for s in serials[:LINKED]]
    gone = [html.P([f"{words}: ", *between(links)], className="small")] if serials else []
    if unsaid := sentences_week.came_back_untold(found, of):
        gone.append(html.P(unsaid, className="small"))
    return parts.sheet(
        "On the bench", f"as of {numbers.day(sentences.local(shop, as_of))}", [parts.facts(*facts), *gone]
    )


def between(items: list[Any]) -> list[Any]:
    """Components with a comma between them."""
    told: list[Any] = []
    for item in items:
        told += [", ", item] if told else [item]
    return told


def arrived(found: Review, shop: Shop) -> html.Details:
    """Did the data arrive: rows per stage against the instruments that should have passed it; a line that opens, and
    is open where something is missing.
    """
    boxes, bars = [], []
    for row in found.arrived.filter(pl.col("expected") > 0).iter_rows(named=True):
        there, expected = row["there"], row["expected"]
        note = "all" if there == expected else f"of {numbers.count(expected)}"
        bar = html.Span(html.Span(style={"width": f"{100 * there / expected:.0f}%"}), className="bar")
        name = html.Span(shop.stage_name(row["stage"]), className="name")
        missing = "missing" if row["question"] else ""
        boxes.append(html.Div([name, html.B(numbers.count(there)), note, bar], className=missing))
        bars.append(
            html.Span(className=missing, title=f"{shop.stage_name(row['stage'])}: {numbers.of(there, expected)}")
        )
    phone = html.Div(
        [
            html.Div(bars, className="bars"),
            html.Div([html.Span("first stage"), html.Span("packing")], className="ends small"),
        ],
        className="stages-phone",
    )
    gone = sentences_week.missing(found, shop)
    lines: list[Any] = (
        [] if boxes else ["No instrument of this week has reached final inspection or ended before it yet. "]
    )
    for short, rest in [*gone[:1], *silent.asked_of(found.silent)]:
        lines += [html.B(short), f"{rest} "]
    if found.questions:
        lines += [html.B(sentences_week.waiting(found)), " on the logs loaded so far. "]
    asks: Any = html.P("Every stage that should have written has written, and no question waits.", className="small")
    if lines:
        asks = parts.ask([*lines, dcc.Link(f"{sentences_week.answer(found)} in Logs", href="/logs")])
    return parts.fold(
        "Did the data arrive?",
        sentences_week.data_arrived(found, shop),
        [html.Div(boxes, className="stages"), phone, asks, *_slips(found, shop)],
        open=bool(gone) or len(found.slips) + len(found.silent) > 0,
    )


def _slips(found: Review, shop: Shop) -> list[Any]:
    """Readings that may be mistyped, each with the way to where it is corrected."""
    told = sentences_week.slips(found, shop)
    lines = [
        html.Div([dcc.Link(serial, href=address("/logs/instrument", serial=serial), className="serial"), f" {what}"])
        for serial, what in told[:SLIPS]
    ]
    more = [html.Div(f"and {numbers.count(len(told) - SLIPS)} more")][: len(told) > SLIPS]
    say = "They count as they stand. Correct what was mistyped on the instrument's page; what is so stays."
    return [parts.ask([html.B(f"{sentences_week.mistyped(found)}. "), say, *lines, *more])] if told else []
