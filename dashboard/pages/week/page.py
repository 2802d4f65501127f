"""Week: the manager's weekly review, in the order of its agenda."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from dash import Dash, dcc, html

from analysis.methods.problems import UnusableData
from analysis.review import Review
from analysis.studies.week.arrived import review_week
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.desk import desk, looking_back
from dashboard.pages.book import deeds
from dashboard.pages.held import held
from dashboard.pages.week import findings, reviewed, sheets
from dashboard.pages.week import shown as week_shown
from dashboard.pages.week.shown import WeekShown
from dashboard.sentences import findings as sentences_findings
from dashboard.sentences import silent
from dashboard.sentences import week as sentences_week
from ingest.shopfiles.shop import Shop

PATH, NAME = "/", "Week"
DECIDE = "week-decide"  # where the decision is written


def layout(week: str | None = None, anew: str = "", **_address: str) -> Any:
    """The review of the week that holds the day `week`: as it was reviewed, else as it stood at its end; by default the
    last whole one. `anew`: by what is on file now, also where it was reviewed.
    """
    shop = desk.here().snapshot().shop
    try:
        asked = looking_back.asked(_day(week))
    except UnusableData as problem:
        nothing = parts.empty_state(told(problem), "The last whole week", PATH)
        return parts.page(parts.page_head("No such week.", "Nothing was logged in it."), nothing)
    try:
        then = week_shown.kept(asked.first or desk.ask(review_week))
        if then is not None and not anew:
            return _laid_out(then, shop, asked, None)
        with desk.as_it_stood(asked.end):
            return _laid_out(week_shown.of_page(asked.first), shop, asked, then)
    except UnusableData as problem:
        return parts.page(
            parts.page_head("No week to review yet.", "The week stands here once a log is loaded."),
            parts.empty_state(told(problem), "Load a log", "/logs"),
        )


def _laid_out(shown: WeekShown, shop: Shop, asked: looking_back.Asked, then: WeekShown | None) -> html.Div:
    found, past = shown.review, asked.end is not None
    stood = [f" {sentences_week.stood(found)}"] if asked.end and shown.reviewed is None else []
    ends = reviewed.sheet(shown, **({"week": found.week} if asked.first or shown.reviewed else {}))
    first = sentences_findings.first(found, shop)
    whole = sentences_findings.headline(found, shop)
    stands = _held("bench", lambda *two: sheets.bench(*two, as_of=shown.as_of), found, shop)
    under = [*([whole, " "] if whole != first else []), sentences_week.under(found), *stood]
    return parts.page(
        parts.page_head(first, under),
        *(_awaited(found) if asked.first is None else []),
        reviewed.since(then, shown) if then is not None else reviewed.line(shown, shop),
        findings.next_step(shown, shop, past=past),
        html.P(sheets.between(others(found, asked.latest)), className="small no-print"),
        _held("", lambda *_: findings.findings(shown, shop, past=past), found, shop),
        *(
            [_held("due", lambda *_: findings.due(shown, shop), found, shop)]
            if found.due or "due" in found.gaps
            else []
        ),
        deeds.place(),
        _held("weeks", sheets.normal, found, shop),
        parts.row("75", _held("outside", sheets.outside, found, shop), _held("shipped", sheets.shipped, found, shop)),
        parts.row("75", _held("actions", sheets.acted, found, shop), stands)
        if len(found.actions) or "actions" in found.gaps
        else stands,
        _held("arrived", sheets.arrived, found, shop),
        parts.row("75", decide(found), ends) if shown.reviewed is None else ends,
    )


def _awaited(found: Review) -> list[Any]:
    """Weeks since the one under review that are over by the clock and of which nothing was read."""
    later = silent.asked_of(week_shown.awaited_since(found))
    return [parts.ask([html.B(short), rest]) for short, rest in later]


SHEETS = {  # a part of the review -> the sheet that shows it
    "arrived": "Did the data arrive?",
    "weeks": "Is it a normal week?",
    "": "What to know",
    "due": "Due",
    "outside": "As set, outside limits",
    "shipped": "Shipped outside, or without final",
    "actions": "Actions so far: did it move?",
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


def decide(found: Review) -> html.Section:
    """One decision, one owner, one date; it goes into the bench book and onto the paper."""
    said = found.decision or {}
    due = said.get("due")
    form = deeds.decide(
        str(said.get("text", "")),
        str(said.get("owner", "")),
        due if isinstance(due, date) else None,
        key=f"{deeds.NEW}-{found.week}",
    )
    right = "goes into the bench book and onto the paper"
    return parts.sheet("Decision of the week", right, form, className="no-print", id=DECIDE)


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
    """The page's callbacks; those of its forms are Book's."""
    reviewed.connect(app)
