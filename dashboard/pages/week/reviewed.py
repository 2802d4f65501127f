"""Saying that a week was reviewed: it is kept as it is shown, and may be taken back on the same day."""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard import parts
from dashboard.address import address
from dashboard.desk import desk
from dashboard.pages.week import shown as week_shown
from dashboard.pages.week.shown import WeekShown
from dashboard.sentences import shared as sentences
from dashboard.sentences import week as sentences_week
from ingest.shopfiles.shop import Shop

SAY, BACK, SAID, ON, WHO = "week-say-reviewed", "week-take-back", "week-reviewed-said", "week-on", "week-who"


def line(shown: WeekShown, shop: Shop) -> html.P | None:
    """Under the headline of a reviewed week: by whom and when, and where what came later stands."""
    said = shown.reviewed
    if said is None:
        return None
    told = [sentences_week.reviewed(said.who, said.at, shop), " "]
    if said.lines_since:
        told.append(sentences_week.written_since(said.lines_since))
    book = dcc.Link("Book, as it stands now", href="/book")
    anew = dcc.Link("the week by what is on file now", href=address("/", week=shown.review.week, anew=1))
    return html.P([*told, " ", book, ", or ", anew, "."], className="small")


def since(then: WeekShown, now: WeekShown) -> html.P:
    """Of a reviewed week told anew: what has changed since it was reviewed."""
    said = sentences_week.since(then.review, now.review)
    back = dcc.Link("As it was reviewed", href=address("/", week=then.review.week))
    return html.P([said, " ", back, "."], className="small")


def sheet(shown: WeekShown, **week: date) -> html.Section:
    """The button that ends the review, or takes it back that day; and the paper, of a named `week` or the last one."""
    said = shown.reviewed
    today = said is not None and sentences.local(desk.here().snapshot().shop, said.at).date() == desk.here().today()
    form: list[Any] = []
    if said is None:
        words = "Whoever looks at this week later sees it as it is now, with what was decided by then."
        form = [
            html.P(words, className="small"),
            html.Div(parts.who_field(WHO, "Reviewed by"), className="ruled"),
            html.Button("The week is reviewed", id=SAY, className="button primary", n_clicks=0),
        ]
    elif today:
        form = [
            html.Div(parts.who_field(WHO, "Taken back by"), className="ruled"),
            html.Button("Take that back", id=BACK, className="button", n_clicks=0),
        ]
    ways = [
        html.A("Print the weekly review", href=address("/papers/week", **week), target="_blank", className="button"),
        html.A("on Letter", href=address("/papers/week", letter=1, **week), target="_blank", className="small"),
    ]
    return parts.sheet(
        "Reviewed",
        "",
        [
            *form[:-1],
            html.Div([*form[-1:], *ways], className="acts"),
            html.P(id=SAID, className="small", role="status"),
            dcc.Store(id=ON, data=shown.review.week.isoformat()),
        ],
        className="no-print",
    )


def connect(app: Dash) -> None:
    """The sheet's callback."""
    for button in (SAY, BACK):
        app.callback(
            Output(SAID, "children", allow_duplicate=True),
            Output("book-again", "search", allow_duplicate=True),
            Input(button, "n_clicks"),
            State(WHO, "value"),
            State(ON, "data"),
            State("book-again", "search"),
            prevent_initial_call=True,
        )(pressed)


def pressed(clicks: int | None, who: str | None, week: str, search: str | None) -> tuple[Any, Any]:
    """One of the two buttons."""
    if not clicks:
        return no_update, no_update
    wrong = write(str(ctx.triggered_id), who or "", date.fromisoformat(week))
    if wrong:
        return wrong, no_update
    return "Written into the book.", address("", week=week, at=desk.here().snapshot().book_sequence)


def write(button: str, who: str, week: date) -> str:
    """Keep the week, or take that back; '' once it stands in the book, else what is missing."""
    name = who.strip()
    if not name:
        return "Say who reviewed it: the book keeps who wrote what and when."
    (week_shown.keep if button == SAY else week_shown.take_back)(week, name)
    return ""
