"""The weekly review on paper: the agenda of the Week page, the charts of open matters, and lines to write on; no tech
is named.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date
from typing import Any

import polars as pl

from analysis.review import Review, review
from analysis.studies.story.seen_again import untold
from analysis.studies.week.arrived import review_week
from analysis.studies.week.leaving import NO_FINAL
from dashboard import numbers
from dashboard.charts.normal_week import WeeksView, normal_week
from dashboard.charts.shares import shares
from dashboard.charts.stream.chart import stream
from dashboard.desk import desk, looking_back
from dashboard.pages.week.shown import WeekShown, awaited_since, kept, told
from dashboard.papers.paper import Paper, computed_from
from dashboard.sentences import book as sentences_book
from dashboard.sentences import calls as calls_words
from dashboard.sentences import came_back, cautions, findings, leaving, play_test, silent, unread
from dashboard.sentences import necks as sentences_necks
from dashboard.sentences import shared as sentences
from dashboard.sentences import week as sentences_week
from dashboard.sentences.gauges import every, with_notes
from ingest.shopfiles.shop import Shop

# rows that leave room for all else on three pages
LOTS, WAYS_BACK, SETTLED, OUTSIDE, ACTIONS = 2, 4, 3, 5, 3
SHIPPED = 60  # serials, for whoever pulls the instruments: a whole page of them
PLAYED = 4  # things that play tests say; the others stand on Drift
INNER = 126  # px of a stream chart between its rails
FIRST_OF_MONTH = (
    7  # a week that begins by then is the month's first: what became of the tool's own calls is told once a month
)
ROOM = {False: 780, True: 712}  # px for charts and their words on an A4 and on a Letter page, what came back under them
WORDS = 34  # px of the line over a chart, and the gap under it
SLIPS = 3  # readings that may be mistyped
LONGEST, DECIDED = 100, 240  # characters of a line, and of the decision; the whole stands on Week and in the bench book
EXPLAINS = (
    0.1  # of the spread of its readings: below it the air is not told of; among many rows a few stand out by chance
)
COLUMN = 380  # px of the wider of two columns


def paper(*, week: date | None = None, letter: bool = False) -> tuple[str, str]:
    """The review of one week (its first day; None: the last whole one) as a name for its file and its HTML; of a week
    that was reviewed, as it was shown then. UnusableData without any reading.
    """
    shown = kept(week or desk.ask(review_week)) or told(week)
    found = shown.review
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    of = computed_from(replace(snapshot, as_of=shown.as_of, version=shown.version, book_sequence=shown.book))
    made = Paper(f"Weekly review, week of {_long(found.week)}", shop.shop.name, of, letter=letter)
    charts = _charts(made, shown)
    gaps = dict(found.gaps)
    air = _air(shown, shop)
    before, behind = unread.first_and_later(found.unread, shop)
    sheets = {
        "unread": before,
        "unread_later": behind,
        "arrived": {
            "missing": [
                *(silent.asked_of(awaited_since(found)) if week is None else []),
                *silent.asked_of(found.silent),
                *sentences_week.missing(found, shop),
            ],
            "waiting": sentences_week.waiting(found),
        },
        "mistyped": sentences_week.mistyped(found),
        "slips": sentences_week.slips(found, shop)[:SLIPS],
        "slips_left": max(0, len(found.slips) - SLIPS),
        "normal": _normal(made, found, shop),
        "findings": [
            (replace(one, why=_in_hand(one, shown, shop)), made.mark(one.state), made.drawing(one.spark, one.picture))
            for one in with_notes(findings.week(found, shop), shown.notes)
        ],
        "gauges": every(shown.gauges, shop),
        "known": sentences_week.known(found, shop),
        "calls": calls_words.calls(shown.calls) if shown.calls and found.week.day <= FIRST_OF_MONTH else "",
        "gaps": defaultdict(str, {part: f"{why[:1].upper()}{why[1:]}." for part, why in gaps.items()}),
        "undone": sentences.gaps(found),
        "owed": sentences_book.due(found.due, shop, found.last_day)[:ACTIONS],
        "charts": charts,
        "undrawn": _undrawn(found, len(charts)),
        "outside": _outside(made, found, shop),
        "shipped": [(serial, _short(what, DECIDED)) for serial, what in sentences_week.shipped(found, shop)],
        "rework": {"rows": [], "costed": False, "total": "", "left": 0} if "flows" in gaps else _rework(shown, shop),
        "lots": [_lot(row, shop) for row in found.lots.head(LOTS).iter_rows(named=True)],
        "settling": _settling(found, shop),
        "air": air,
        "actions": [
            (_short(row["text"]), row["verdict"], *sentences_book.action(row, shop))
            for row in found.actions.tail(ACTIONS).iter_rows(named=True)
        ],
        "bench": sentences_week.on_the_bench(found),
        "oldest": sentences_week.oldest(found, shop),
        "lost": sentences_week.lost(found, desk.ask(untold)),
        "untold": sentences_week.came_back_untold(found, desk.ask(untold)),
        "played": [(one.serial, play_test.line(shop, one)) for one in shown.played[:PLAYED]],
        "mind": cautions.beside(shop, [one.stage for one in shown.played[:PLAYED]]),
        "played_left": max(0, len(shown.played) - PLAYED),
    }
    held = found.decision or {}
    due = held.get("due")
    first, whole = findings.first(found, shop), findings.headline(found, shop)
    return f"weekly-review-{found.week.isoformat()}", made.html(
        "week.html",
        headline=first,
        whole=whole if whole != first else "",
        under=sentences_week.under(found),
        nothing_shipped=sentences_week.nothing_shipped(found, shop),
        no_lot=sentences_week.no_lot(found, shop),
        apart=sentences_necks.lots_apart(found.apart_lots.rows(named=True), shop),
        most_shipped=SHIPPED,
        late=sentences_week.LATE if leaving.shipped(found, NO_FINAL) else "",
        as_of=numbers.clock(sentences.local(shop, shown.as_of)),
        version=shown.version,
        reviewed=sentences_week.reviewed(shown.reviewed.who, shown.reviewed.at, shop) if shown.reviewed else "",
        decision=_short(str(held.get("text") or ""), DECIDED),
        owner=held.get("owner") or "",
        due=numbers.weekday(due) if isinstance(due, date) else "",
        **sheets,
    )


def _in_hand(one: sentences.Sentence, shown: WeekShown, shop: Shop) -> str:
    """What stands behind a finding, and who has its matter in hand."""
    life = shown.lives.get(one.key)
    now = sentences.local(shop, shown.as_of).date()
    return f"{one.why} {_short(sentences_book.in_hand(life, shop, now))}".strip() if life is not None else one.why


def since_reviewed(day: date) -> str:
    """What has changed of the week that holds a day since it was reviewed, in one line; '' where it was not."""
    asked = looking_back.asked(day)
    then = kept(asked.first)
    if then is None:
        return ""
    with desk.as_it_stood(asked.end):
        now: Review = desk.ask(review, week=asked.first)
    by = (
        sentences_week.reviewed(then.reviewed.who, then.reviewed.at, desk.here().snapshot().shop)
        if then.reviewed
        else ""
    )
    return f"Week of {_long(then.review.week)}: {by.partition(';')[0]}. {sentences_week.since(then.review, now)}"


def _long(week: date) -> str:
    return numbers.long_day(week).partition(" ")[2]


def _short(text: str, most: int = LONGEST) -> str:
    """A text of so many characters at most, cut between words."""
    return text if len(text) <= most else text[: most - 3].rsplit(" ", 1)[0].rstrip(",;: ") + " ..."


def _normal(made: Paper, found: Review, shop: Shop) -> list[dict[str, Any]]:
    """Three figures on the range of the weeks before."""

    def share(x: float | None) -> str:
        return numbers.share(x, 100)

    columns = (("finished", numbers.count), ("never_sent_back", share), ("signals_opened", numbers.count))
    cells = []
    for (name, figure, say), (column, write) in zip(sentences.normal(found, shop), columns, strict=False):
        values = [float("nan") if v is None else float(v) for v in found.weeks[column].to_list()]
        low, high = found.usual.get(column, (None, None))
        view = WeeksView(
            values, low, high, "" if low is None else write(low).strip(), "" if high is None else write(high).strip()
        )
        drawn: Any = ""
        if len(values) > 1:  # one week alone is a figure, not a chart
            drawn = made.chart(
                normal_week(view, width=made.inner // 3 - 18),
                f"{name}: {figure}. {say}",
                phone=normal_week(view, narrow=True),
            )
        cells.append({"name": name, "figure": figure, "say": say, "chart": drawn})
    return cells


def _charts(made: Paper, shown: WeekShown) -> list[dict[str, Any]]:
    """The largest open matters as stream charts, as many as there is room for."""
    drawn: list[dict[str, Any]] = []
    room = ROOM[made.letter]
    for one in shown.drawn:
        figure = stream(one.view, width=made.inner, inner=INNER)
        room -= int(figure["layout"]["height"]) + WORDS
        if drawn and room < 0:
            break
        drawn.append(
            {
                "name": one.name,
                "n": f"{numbers.count(one.n)} {'reading' if one.n == 1 else 'readings'}",
                "also": one.also,
                "chart": made.chart(figure, one.said, phone=stream(one.view, narrow=True)),
            }
        )
    return drawn


def _undrawn(found: Review, drawn: int) -> str:
    left = sum(not one.matter.only_some for one in found.matters) - drawn
    return f"{numbers.in_words(left, capital=True)} more {'is' if left == 1 else 'are'} on Drift." if left else ""


def _outside(made: Paper, found: Review, shop: Shop) -> dict[str, Any] | None:
    """As set outside limits, n of N; the largest shares where there are more than fit."""
    if found.outside.is_empty():
        return None
    rows = sentences_week.outside_rows(found, shop, OUTSIDE)
    say = sentences_week.outside(found)
    left = found.outside.filter(pl.col("characteristic") != "any").height - len(rows)
    return {
        "chart": made.chart(shares(rows, width=COLUMN), say, phone=shares(rows, narrow=True)),
        "say": say,
        "left": f"The {left} smallest are left out." if left else "",
    }


def _rework(shown: WeekShown, shop: Shop) -> dict[str, Any]:
    found, total = shown.review, shown.total
    ways = found.flows.head(WAYS_BACK)
    rows = [came_back.way_back(found, shop, total, row) for row in ways.iter_rows(named=True)]
    return {
        "rows": rows,
        "costed": bool(total["minutes"]),
        "total": came_back.all_of_it(found, total, shop),
        "left": max(len(found.flows) - WAYS_BACK, 0),
    }


def _lot(row: dict[str, Any], shop: Shop) -> dict[str, str]:
    n, agreed = row["n"], row["agreed_limit"]
    return {
        "lot": row["lot"],
        "what": sentences.characteristic(shop, row["characteristic"]),
        "of": numbers.of(round(row["outside"] * n), n),
        "range": numbers.share_range(row["outside_low"], row["outside_high"], n),
        "few": "few" if n < sentences_week.FEW else "",
        "agreed": sentences.amount(shop, row["characteristic"], agreed) if agreed is not None else "",
        "verdict": {"reject": "bring to the supplier"}.get(row["verdict"], ""),
    }


def _settling(found: Review, shop: Shop) -> list[dict[str, str]]:
    """What the rest surely moves, by as much as its figure shows: the largest against its spread first, small samples
    last.
    """
    sure = found.settling.filter((pl.col("low") > 0) | (pl.col("high") < 0), pl.col("sd") > 0)
    order = sure.sort(
        pl.col("n") < sentences_week.FEW, -(pl.col("mean").abs() / pl.col("sd")), "model", "characteristic", "position"
    )
    rows = [
        sentences_week.settled(row, shop)
        for row in order.unique(["model", "characteristic"], maintain_order=True).iter_rows(named=True)
    ]
    return [row for row in rows if row["mean"][0] in f"+{numbers.MINUS}"][:SETTLED]


def _air(shown: WeekShown, shop: Shop) -> list[dict[str, str]]:
    """What goes with the humidity some hours before by more than its interval, and by a tenth of its spread or more;
    the most first.
    """
    slopes = shown.air
    if slopes.is_empty():
        return []
    order = slopes.filter((pl.col("low") > 0) | (pl.col("high") < 0), pl.col("share_explained") >= EXPLAINS).sort(
        -pl.col("share_explained"), "model", "characteristic", "position"
    )
    rows = [
        sentences_week.with_the_air(row, shop)
        for row in order.unique(["model", "characteristic"], maintain_order=True).iter_rows(named=True)
    ]
    return [row for row in rows if row["mean"][0] in f"+{numbers.MINUS}"][:SETTLED]
