"""What was not read, above each page that it touches: said before anything is shown as good."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from analysis.studies.story.unread import unread
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import unread as words


def strip(page: str) -> Any:
    """A line for each thing a page needs and no log tells, the first few open; nothing where all was read."""
    if page not in words.TOUCHES:
        return None
    shop = desk.here().snapshot().shop
    rows = desk.ask(unread)
    told, later = words.first_and_later(rows, shop, page)
    if not told and not later:
        return None
    shown: list[Any] = [html.P(one) for one in told[: words.MOST]]
    rest = [*told[words.MOST :], *later]
    if rest:
        many = numbers.count(len(rest))
        more = (
            f"and {many} more" if shown else "One thing is not read" if many == "1" else f"{many} things are not read"
        )
        shown.append(html.Details([html.Summary(more), *(html.P(one) for one in rest)]))
    if words.in_logs(rows, page):
        shown.append(dcc.Link("Say in Logs what the columns are", href="/logs", className="small"))
    return html.Section(
        [parts.picture("question"), html.Div(shown)], className="unread", **parts.aria(label="What was not read")
    )
