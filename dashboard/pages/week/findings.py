"""The first screen of Week: what to do next, what moved with the state of its action, and what is due."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from dash import dcc, html

from analysis.studies.matters import register
from analysis.studies.matters.register import Entry
from dashboard import numbers, parts
from dashboard.address import of_days
from dashboard.desk import desk
from dashboard.pages.book import deeds
from dashboard.pages.week.shown import WEEKS, WeekShown
from dashboard.sentences import book as sentences_book
from dashboard.sentences import findings as sentences_findings
from dashboard.sentences import shared as sentences
from dashboard.sentences import week as sentences_week
from dashboard.sentences.gauges import every, with_notes
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop

DUE_SHOWN = 3
OF_DAYS = ("/drift", "/bench", "/rework")  # pages that can be about days gone by
QUIET = ("coarse", "question", "thin", "steady")  # what asks for nothing this week: a line each below the rest


def next_step(shown: WeekShown, shop: Shop, *, past: bool = False) -> html.Div:
    """What to do about the largest finding, and the ways there; past : there is work on file after the week."""
    found = shown.review
    first = sentences_findings.foremost(found, shop)
    do = sentences_findings.next_step(found, shop)
    said = [html.P([html.B("Next: "), do], className="next")] if do else []
    ways: list[Any]
    if first is None and said:
        ways = [dcc.Link("To the logs", href="/logs", className="button primary")]
        return html.Div([*said, html.Div(ways, className="acts no-print")], className="start")
    if first is None:
        nothing = "Nothing that could be worked out asks for a look." if found.gaps else "Nothing asks for a look."
        return html.Div(html.P(nothing, className="start"))
    ways = [dcc.Link(f"See it on {first.page}", href=_way(first, shown, past=past), className="button primary")]
    life = shown.lives.get(first.key)
    if life is not None and shown.reviewed is None and life.state == register.OPEN:
        ways.append(html.A("Give it to someone", href=f"#{_place(first.key)}", className="button"))
    return html.Div([*said, html.Div(ways, className="acts no-print")], className="start")


def _way(one: Sentence, shown: WeekShown, *, past: bool) -> str:
    """Where a finding is looked at; of a past week with the weeks up to its end, not up to today."""
    page = one.link.partition("?")[0]
    if not past or page not in OF_DAYS:
        return one.link
    last = shown.review.last_day
    return of_days(one.link, last - timedelta(weeks=WEEKS, days=-1), last)


def findings(shown: WeekShown, shop: Shop, *, past: bool = False) -> html.Section:
    """At most seven sentences, each with the state of what is done about it; it opens for its life and the way on."""
    found = shown.review
    told = with_notes(sentences_findings.week(found, shop), shown.notes)
    told = [replace(one, link=_way(one, shown, past=past)) for one in told]
    rows: list[Any] = [parts.finding("question", gap) for gap in sentences.gaps(found)]
    rows += [_row(one, shown, shop) for one in told if one.state not in QUIET]
    quiet = [one for one in told if one.state in QUIET]
    settled = not found.due and "due" not in found.gaps
    if quiet or found.known or shown.gauges or settled:
        lines: list[Any] = [html.Li(_quietly(one)) for one in quiet]
        if any("stream" in one.lead for one in quiet):
            lines.append(html.Li("A series is one measurement of one model at one stage, in time order."))
        if resting := every(shown.gauges, shop):
            lines.append(html.Li(resting))
        if found.known:
            lines.append(html.Li(sentences_week.known(found, shop)))
        if settled:
            last = "" if len(found.actions) else " No action was written last week."
            lines.append(html.Li(["Nothing is over or due.", last, dcc.Link("What was decided", href="/book")]))
        rows.append(html.Ul(lines, className="quiet small"))
    right = "grey: the centre line; black: where the average runs, 13 weeks"
    return parts.sheet("What to know", right, rows or html.P("Nothing to report yet."))


def _quietly(one: Sentence) -> list[Any]:
    text = f"{one.lead}{one.rest}"
    return [parts.mark(one.state, one.word, light=True), " ", dcc.Link(text, href=one.link) if one.link else text]


def _place(key: str) -> str:
    """The id of an opened row: a link that leads there opens it."""
    return "matter-" + "".join(letter if letter.isalnum() else "-" for letter in key)


def _row(one: Sentence, shown: WeekShown, shop: Shop) -> Any:
    spark = parts.sparkline(one.spark, one.picture) if one.spark else None
    life = shown.lives.get(one.key)
    if life is None:
        return parts.finding(
            one.state,
            html.B(one.lead),
            _capital(f"{_rest(one)} {one.why}".strip()),
            spark=spark,
            link=one.link,
            link_words=one.page,
            words=one.word,
        )
    now = shown.review.last_day
    text = [
        html.P(html.B(one.lead), className="say"),
        html.P(f"{_capital(_rest(one))} {one.why}".strip(), className="why"),
    ]
    head = html.Summary(
        [
            parts.mark(one.state, one.word),
            html.Div(text, className="text"),
            html.Div(spark, className="spark"),
            standing(life, shown),
        ],
        className="finding",
    )
    way = dcc.Link(f"See it on {one.page}", href=one.link, className="button")
    today = desk.here().today() if shown.reviewed is None else now
    body = deeds.opened(life, shop, today, way) if shown.reviewed is None else html.Div(way, className="opened")
    return html.Details([head, html.Div(body, id=_place(one.key))], className="matter-row")


def _rest(one: Sentence) -> str:
    """What stands behind the lead where that is a line of its own: no comma or colon, no lone full stop."""
    rest = one.rest.lstrip(",;: ").strip()
    return "" if rest == "." else rest


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def standing(life: Entry, shown: WeekShown) -> html.Div:
    """How far a matter has come, who has it and by when."""
    shop = desk.here().snapshot().shop
    now = sentences.local(shop, shown.as_of).date()  # as Book counts its days
    alarm = " alarm" if deeds.alarms(life) else ""
    by = f", by {numbers.day(life.due, now)}" if life.due else ""
    who = f"{life.owner}{by}" if life.owner else "nobody has it yet" if life.waits else ""
    moved = sentences_book.moved(life, shop)[0] if life.state in (register.CHECKED, register.CLOSED) else ""
    return html.Div(
        [
            html.Span(sentences_book.state(life, now), className=f"standing{alarm}"),
            deeds.life(life),
            html.Span(moved or who, className="small"),
        ],
        className="go",
    )


def due(shown: WeekShown, shop: Shop) -> html.Section:
    """What is over its day or due within the week to come, over first; the rest stands in Book."""
    found = shown.review
    told = sentences_book.due(found.due, shop, found.last_day)
    body: list[Any] = [
        html.Div([html.Div([html.B(what), html.P(who, className="small")])], className="action")
        for what, who in told[:DUE_SHOWN]
    ]
    left = len(told) - DUE_SHOWN
    if left > 0:
        body.append(dcc.Link(f"{numbers.count(left)} more in Book", href="/book"))
    over = sum(bool(one.over) for one in found.due)
    end = numbers.day(found.last_day + timedelta(weeks=1))
    right = f"{numbers.count(over)} over, {numbers.count(len(found.due) - over)} by {end}"
    return parts.sheet("Due", right if told else "", body)
