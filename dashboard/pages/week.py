"""Week: the manager's weekly review, in the order of its agenda."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl
from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.methods.problems import UnusableData
from analysis.review import Review, review
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.charts.normal_week import WeeksView, normal_week
from dashboard.charts.shares import ShareRow, shares
from dashboard.desk import desk, looking_back
from dashboard.pages.held import held
from dashboard.sentences import book as sentences_book
from dashboard.sentences import findings as sentences_findings
from dashboard.sentences import shared as sentences
from dashboard.sentences import week as sentences_week
from ingest.shopfiles.shop import Shop

PATH, NAME = "/", "Week"
DECISION, OWNER, DUE, WRITE, WRITTEN, HERE = (
    "week-decision",
    "week-owner",
    "week-due",
    "week-write",
    "week-written",
    "week-here",
)
DECIDE = "week-decide"  # where the decision is written
SHOWN = 12  # serials in a list; then a count


def layout(week: str | None = None, **_address: str) -> Any:
    """The review of the week that holds the day `week`, as it stood at its end; by default the last whole one."""
    shop = desk.here().snapshot().shop
    try:
        asked = looking_back.asked(_day(week))
    except UnusableData as problem:
        nothing = parts.empty_state(told(problem), "The last whole week", PATH)
        return parts.page(parts.page_head("No such week.", "Nothing was logged in it."), nothing)
    try:
        with desk.as_it_stood(asked.end):
            return _laid_out(desk.ask(review, week=asked.first), shop, asked)
    except UnusableData as problem:
        return parts.page(
            parts.page_head("No week to review yet.", "The week stands here once a log is loaded."),
            parts.empty_state(told(problem), "Load a log", "/logs"),
        )


def _laid_out(found: Review, shop: Shop, asked: looking_back.Asked) -> html.Div:
    under = [sentences_week.under(found), *([f" {sentences_week.stood(found)}"] if asked.end else [])]
    return parts.page(
        parts.page_head(sentences_findings.first(found, shop), [sentences_findings.headline(found, shop), " ", *under]),
        start(found, shop, asked),
        _held("", findings, found, shop),
        _held("due", due, found, shop),
        _held("arrived", arrived, found, shop),
        _held("weeks", normal, found, shop),
        parts.row("75", _held("outside", outside, found, shop), _held("shipped", shipped, found, shop)),
        parts.row("75", _held("actions", acted, found, shop), _held("bench", bench, found, shop)),
        decide(found, asked),
    )


SHEETS = {  # a part of the review -> the sheet that shows it
    "arrived": "Did the data arrive?",
    "weeks": "Is it a normal week?",
    "": "What to know",
    "due": "Due",
    "outside": "As set, outside limits",
    "shipped": "Shipped outside, or without final",
    "actions": "Last week's actions: did it move?",
    "bench": "On the bench",
}


def _held(part: str, make: Callable[[Review, Shop], Any], found: Review, shop: Shop) -> Any:
    gaps = [found.gaps[part]] if part in found.gaps else []
    return held(SHEETS[part], make, found, shop, gaps=gaps)


def _day(asked: str | None) -> date | None:
    try:
        return date.fromisoformat(asked) if asked else None
    except ValueError:
        return None


def told(problem: UnusableData) -> str:
    """A problem as a sentence."""
    text = str(problem)
    return f"{text[:1].upper()}{text[1:]}."


DUE_SHOWN = 3


def start(found: Review, shop: Shop, asked: looking_back.Asked) -> html.Div:
    """What to look at first, where the decision is written, and the weeks beside this one."""
    first = sentences_findings.foremost(found, shop)
    if first:
        lead: list[Any] = [dcc.Link(f"See it on {first.page}", href=first.link, className="button primary"), " "]
    else:
        lead = ["Nothing that could be worked out asks for a look. " if found.gaps else "Nothing asks for a look. "]
    write = html.Span(
        [
            dcc.Link("Give it to someone in Book", href="/book"),
            " or ",
            html.A("write down a decision", href=f"#{DECIDE}"),
        ]
    )
    return html.Div(
        [html.P([*lead, write], className="start"), html.P(_between(others(found, asked.latest)), className="small")],
        className="no-print",
    )


def arrived(found: Review, shop: Shop) -> html.Section:
    """Did the data arrive: rows per stage against the instruments that should have passed it."""
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
    lines: list[Any] = (
        [] if boxes else ["No instrument of this week has reached final inspection or ended before it yet. "]
    )
    asks: Any
    for short, usual in sentences_week.missing(found, shop)[:1]:
        lines += [html.B(short), f"{usual} "]
    if found.questions:
        lines += [html.B(sentences_week.waiting(found)), " on the logs loaded so far. "]
    if lines:
        asks = parts.ask([*lines, dcc.Link(f"{sentences_week.answer(found)} in Logs", href="/logs")])
    else:
        asks = html.P("Every stage that should have written has written, and no question waits.", className="small")
    return parts.sheet(
        "Did the data arrive?",
        "instruments of the week with a row at the stage",
        [html.Div(boxes, className="stages"), phone, asks],
    )


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


def findings(found: Review, shop: Shop) -> html.Section:
    """At most seven sentences, each with the way to its chart."""
    rows: list[Any] = [parts.finding("question", gap) for gap in sentences.gaps(found)]
    for one in sentences_findings.week(found, shop):
        spark = parts.sparkline(one.spark, one.picture) if one.spark else None
        rows.append(
            parts.finding(
                one.state,
                [html.B(one.lead), one.rest],
                one.why,
                spark=spark,
                link=one.link,
                link_words=one.page,
                words=one.word,
            )
        )
    if found.known:
        rows.append(html.P(sentences_week.known(found, shop), className="small"))
    return parts.sheet(
        SHEETS[""],
        "grey line: the edge; black: where the average runs, 13 weeks",
        rows or html.P("Nothing to report yet."),
    )


def outside(found: Review, shop: Shop) -> html.Section:
    """As set outside limits, n of N, from the first log on."""
    if found.outside.is_empty():
        return parts.sheet(
            "As set, outside limits",
            "",
            parts.empty_state("No final inspection of this week has a reading with limits."),
        )
    rows = [
        ShareRow(
            sentences.characteristic(shop, row["characteristic"], row["position"]),
            row["share"],
            row["low"],
            row["high"],
            numbers.of(row["outside"], row["n"]),
            key=f"{row['characteristic']}|{row['position']}",
        )
        for row in found.outside.filter(pl.col("characteristic") != "any").iter_rows(named=True)
    ]
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
            for row in found.outside.filter(pl.col("characteristic") != "any").iter_rows(named=True)
        ],
        [("name", "Reading"), ("of", "Outside", "n"), ("range", "95 % interval", "n")],
    )
    chart = parts.graph(parts.both(shares, rows), say, "week-outside", table)
    return parts.sheet(
        "As set, outside limits",
        "first final inspection, n of N, 95 % interval",
        [chart, html.P(say, className="small")],
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
    lines = []
    for serial, what in told[:SHOWN]:
        lines += [html.Dt(dcc.Link(serial, href=address("/logs/instrument", serial=serial))), html.Dd(what)]
    n = len(told)
    if not n:
        body: Any = html.P(sentences_week.nothing_shipped(found), className="small")
    else:
        more = [html.P(f"and {numbers.count(n - SHOWN)} more", className="small")] if n > SHOWN else []
        body = [
            html.Dl(lines, className="serials"),
            *more,
            html.P("A question to the shop first: a sheet may be late.", className="small"),
        ]
    return parts.sheet(
        "Shipped outside, or without final", f"{numbers.count(n)} {'serial' if n == 1 else 'serials'}", body
    )


def acted(found: Review, shop: Shop) -> html.Section:
    """Last week's actions: did the chart move?"""
    if found.actions.is_empty():
        body: Any = parts.empty_state(
            "No action is in the bench book yet. Write one down beside its signal on Drift.", "Open Drift", "/drift"
        )
    else:
        body = [_action(row, shop) for row in found.actions.iter_rows(named=True)]
    return parts.sheet("Last week's actions: did it move?", "", body)


def _action(row: dict[str, Any], shop: Shop) -> html.Div:
    about, told = sentences_week.action(row, shop)
    return html.Div(
        [
            html.Div([html.P(row["text"]), html.P(about, className="small")]),
            html.Div([html.B(row["verdict"]), html.P(told, className="small")]),
        ],
        className="action",
    )


def due(found: Review, shop: Shop) -> html.Section:
    """What is over its day or due within the week to come, over first; the rest stands in Book."""
    told = sentences_book.due(found.due, shop, found.last_day)
    if not told:
        body: Any = html.P(
            ["Nothing is over or due. What was decided stands in ", dcc.Link("Book", href="/book"), "."],
            className="small",
        )
    else:
        body = [
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


def bench(found: Review, shop: Shop) -> html.Section:
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
    words, serials = sentences_week.lost(found)
    links = [dcc.Link(s, href=address("/logs/instrument", serial=s), className="serial") for s in serials[:SHOWN]]
    gone = [html.P([f"{words}: ", *_between(links)], className="small")] if serials else []
    return parts.sheet(
        "On the bench", f"as of {numbers.day(sentences.local(shop, _as_of()))}", [parts.facts(*facts), *gone]
    )


def _as_of() -> datetime:
    return desk.here().snapshot().as_of


def _between(items: list[Any]) -> list[Any]:
    told: list[Any] = []
    for item in items:
        told += [", ", item] if told else [item]
    return told


def decide(found: Review, asked: looking_back.Asked) -> html.Section:
    """One decision, one owner, one date; it goes into the bench book and onto the paper."""
    held = found.decision or {}
    due = held.get("due")
    week = {"week": found.week} if asked.first else {}
    return parts.sheet(
        "Decision of the week",
        "goes into the bench book and onto the paper",
        [
            html.Div(
                [
                    parts.text_field("Decision", DECISION, str(held.get("text", ""))),
                    parts.text_field("Owner", OWNER, str(held.get("owner", ""))),
                    parts.text_field("By (year-month-day)", DUE, due.isoformat() if isinstance(due, date) else ""),
                ],
                className="ruled",
            ),
            html.Div(
                [
                    html.Button("Put in the bench book", id=WRITE, className="button primary"),
                    html.A(
                        "Print the weekly review",
                        href=address("/papers/week", **week),
                        target="_blank",
                        className="button",
                    ),
                    html.A(
                        "on Letter", href=address("/papers/week", letter=1, **week), target="_blank", className="small"
                    ),
                ],
                className="acts",
            ),
            html.P(id=WRITTEN, className="small", role="status"),
            dcc.Store(id=HERE, data=found.week.isoformat()),
        ],
        className="no-print",
        id=DECIDE,
    )


def others(found: Review, latest: date | None) -> list[Any]:
    """The ways to the weeks beside this one."""
    week = timedelta(weeks=1)
    links = []
    if len(found.weeks) > 1:
        links.append(
            dcc.Link(f"Week before, {numbers.day(found.week - week)}", href=address(PATH, week=found.week - week))
        )
    if latest is not None and found.week < latest:
        after = found.week + week
        links.append(
            dcc.Link(f"Week after, {numbers.day(after)}", href=address(PATH, week=after) if after < latest else PATH)
        )
    return links


def connect(app: Dash) -> None:
    """The page's callbacks."""
    app.callback(
        Output(WRITTEN, "children"),
        Input(WRITE, "n_clicks"),
        *(State(each, "value") for each in (DECISION, OWNER, DUE)),
        State(HERE, "data"),
        prevent_initial_call=True,
    )(write_decision)


def write_decision(clicks: int | None, decision: str | None, owner: str | None, due: str | None, week: str) -> Any:
    """Puts the decision into the bench book, or says what is missing."""
    if not clicks:
        return no_update
    if not (decision or "").strip() or not (owner or "").strip():
        return "A decision wants its words and an owner."
    try:
        by = date.fromisoformat((due or "").strip()) if (due or "").strip() else None
    except ValueError:
        return f"{due!r} is not a date; write it as 2026-11-27."
    words, name = str(decision).strip(), str(owner).strip()
    desk.here().write_entry("decision", words, who=name, owner=name, due=by, week=date.fromisoformat(week))
    return f"Written into the bench book: {words}"
