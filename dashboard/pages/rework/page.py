"""Rework: where work was caught and caused, what comes back most, what it costs and what removing it would save."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from dash import Dash, dcc, html

from analysis.studies.rework import rework
from analysis.studies.rework.yields import rolled_yields
from analysis.studies.story.calendar import first_day
from analysis.studies.story.scope import Scope
from analysis.studies.story.unread import unread
from analysis.studies.week.arrived import review_week
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages import days
from dashboard.pages.folds import Fold, folded
from dashboard.pages.held import held
from dashboard.pages.rework import lanes as rework_lanes
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
USUAL: tuple[dict[str, str], ...] = (
    {},
    *({"weeks": weeks} for weeks in ("13", "1", "52", ALL)),
)  # what is asked for next (dashboard.laid_ahead.py)


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
    last = desk.ask(review_week)
    if last is None:
        empty = parts.empty_state("No log is loaded yet.", "Load a log", "/logs")
        return parts.page(
            parts.page_head("No rework to show yet.", "It stands here once logs with outcomes are loaded."), empty
        )
    if _after(since, last):
        end, on_file = numbers.day(last + timedelta(days=6)), _periods(desk.ask(rework.first_week), last)
        return parts.page(
            parts.page_head("No work of these days is on file.", f"The last week on file ends {end}."),
            _filters(shop, model, family, _weeks(ALL, on_file, since, until), "count"),
            parts.empty_state("Other days have some.", "The latest weeks", PATH),
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
    usual = "minutes" if float(found.total["minutes"].sum()) > 0 else "count"  # no work on file yet: send-backs
    width = addresses.chosen(width, _widths(shop), usual) or usual
    straight, judged = desk.ask(rework.straight_through, scope=scope)
    rolled = desk.ask(rolled_yields, scope=scope, by=())
    back = [" (", dcc.Link("The latest weeks", href=PATH), ")"] if last < latest else []
    period = [_period(first, last, judged), *back]
    under = [*period, " ", sentences_rework.worth(found, shop), sentences_rework.straight(straight, judged, rolled)]
    within = _within(weeks, periods, (since, first, last))
    ends_unread = bool(judged) and rolled.height > 0 and rolled["never_sent_back"][0] is None
    if found.rows.is_empty() and ends_unread:
        say = sentences_rework.not_read(within, judged)
    else:
        say = sentences_rework.headline(found, shop, within, judged)
    head = parts.page_head(say, [*under, rework_weekly.since_when(shop, scope, last)])
    fields = _filters(shop, model, family, _weeks(weeks, periods, since, until), width)
    if found.rows.is_empty() and ends_unread:
        none = "Say in Logs which column tells the outcome, and what its words mean; then send-backs stand here."
        return parts.page(head, fields, parts.empty_state(none, "Logs", "/logs"))
    if found.rows.is_empty():
        none = (
            "No instrument was sent back in these weeks."
            if judged
            else "Work is judged at final inspection; none has reached it in these weeks."
        )
        return parts.page(head, fields, parts.empty_state(none, "Show all logs", addresses.address(PATH, weeks=ALL)))
    filters = {"model": model, "family": family, "weeks": weeks, "width": width if width != "minutes" else None}
    filters |= {"week": week, "from": since or None, "to": until or None, "open": more.get("open")}
    chosen = caused_at if caused_at in set(found.rows["caused_at"]) else None
    asked = {**filters, "caused_at": chosen, "caught_at": caught_at if chosen else None, "page": more.get("page")}

    def above() -> list[Any]:
        back = rework_lanes.send_backs
        return [
            held(rework_lanes.NAME, rework_lanes.sheet, shop, scope, width, filters),
            *([held("These send-backs", back, shop, scope, chosen, caught_at or "", asked)] if chosen else []),
            parts.row(
                "66",
                held("What removing it would save", rework_rest.savings, shop, scope),
                held("Faults that came back", rework_rest.faults, shop, scope),
            ),
            held("This week against the last twelve", rework_weekly.weekly, shop, scope, last),
        ]

    return parts.page(head, fields, folded(_folds(shop, scope, found), PATH, asked, above=above))


def _folds(shop: Shop, scope: Scope, found: rework.Flows) -> list[Fold]:
    return [
        Fold(
            "away",
            "Days away",
            sentences_rework.away(found),
            lambda: parts.sheet("Days away", "", html.P(sentences_rework.minutes(found))),
        ),
        Fold(
            "travels",
            "How far a fault travels",
            "stages, work and days between cause and catch, by fault",
            lambda: rework_rest.travels(shop, scope),
        ),
        Fold(
            "other",
            "Other than sent back",
            "fixed on the spot, rejects, seconds, returns",
            lambda: rework_rest.answers(shop, scope),
        ),
        Fold(
            "returns",
            "Returns and what they cost",
            "what came back after packing; in no other figure here",
            lambda: rework_rest.came_back(shop, scope),
        ),
        Fold(
            "stages",
            "Stage by stage",
            "straight through here, and work that held",
            lambda: rework_rest.stages(shop, scope),
        ),
        Fold(
            "where",
            "Where on the instrument",
            "string or string and fret, as written",
            lambda: rework_rest.where(shop, scope),
        ),
    ]


def _last(asked: str | None, latest: date, shop: Shop) -> date:
    """First day of the last week shown: that of the day asked for, else of the week under review."""
    try:
        return min(first_day(date.fromisoformat(asked), shop), latest) if asked else latest
    except ValueError:
        return latest


def _after(since: str, latest: date) -> bool:
    """Does a period of one's own begin after all that is on file?"""
    try:
        return bool(since) and date.fromisoformat(since) > latest + timedelta(days=6)
    except ValueError:
        return False


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
        days.field("From", SINCE, since),
        days.field("To", UNTIL, until),
    ]


def _within(weeks: str, periods: dict[str, str], own: tuple[str, date | None, date]) -> str:
    """`in 4 weeks`, `on all logs, 16 weeks`, `in the weeks of 5 Oct to 26 Oct`."""
    if own[0] and own[1] is not None:
        same = own[1] == own[2]
        return f"in the week of {numbers.day(own[1])}" if same else f"in the weeks of {numbers.days(own[1], own[2])}"
    return f"{'on' if weeks == ALL else 'in'} {periods[weeks][0].lower()}{periods[weeks][1:]}"


def _widths(shop: Shop) -> dict[str, str]:
    """What lanes may be as thick as; money only where the shop names what an hour costs."""
    return {key: words for key, words in WIDTHS.items() if key != "cost" or shop.shop.labour_per_hour}


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
        parts.field("Unit on this page", WIDTH, width, _choices(_widths(shop))),
    )


def connect(app: Dash) -> None:
    """The page's callbacks."""
    parts.filters_to_address(
        app,
        PATH,
        {"model": MODEL, "family": FAMILY, "weeks": WEEKS, "from": SINCE, "to": UNTIL, "width": WIDTH},
        everything=ALL,
        usual={"weeks": "4", "width": "minutes"},
        typed=days.FROM_TO,
    )
