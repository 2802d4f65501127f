"""What was not read, above each page that it touches: said before anything is shown as good; what takes nothing from
the week stands below it.
"""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from analysis.studies.story.unread import unread
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import unread as words


def strip(page: str) -> Any:
    """A line for each thing a page needs and no log tells, the first few open; nothing where all was read."""
    told, _ = _told(page)
    if not told:
        return None
    shown: list[Any] = [html.P(one) for one in told[: words.MOST]]
    if rest := told[words.MOST :]:
        shown.append(
            html.Details([html.Summary(f"and {numbers.count(len(rest))} more"), *(html.P(one) for one in rest)])
        )
    if words.waiting(desk.ask(unread), page):
        shown.append(dcc.Link("Answer in Logs", href="/logs", className="small"))
    elif words.in_logs(desk.ask(unread), page):
        shown.append(dcc.Link("Say in Logs what the columns are", href="/logs", className="small"))
    return html.Section(
        [parts.picture("question"), html.Div(shown)], className="unread", **parts.aria(label="What was not read")
    )


def behind(page: str) -> Any:
    """What was not read and takes nothing from this week: below the page, as on the paper."""
    _, later = _told(page)
    if not later:
        return None
    shown: list[Any] = [html.P(one) for one in later]
    if words.causes_missing(desk.ask(unread)):
        shown.append(dcc.Link("Say in Logs what the columns are", href="/logs", className="small"))
    return html.Section(
        [parts.picture("question"), html.Div(shown)],
        className="unread besides",
        **parts.aria(label="What was not read besides"),
    )


def _told(page: str) -> tuple[list[str], list[str]]:
    if page not in words.TOUCHES:
        return [], []
    return words.first_and_later(desk.ask(unread), desk.here().snapshot().shop, page)
