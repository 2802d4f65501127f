"""Which requests may be answered of the shop as it stood, while newer logs are being worked out."""

from __future__ import annotations

from contextlib import suppress
from urllib.parse import urlsplit

import flask

from dashboard import doors
from dashboard.desk.desk import patient

OF_FIGURES = {  # addresses that may wait for newer logs: pages of figures, and the rows behind a number of theirs
    "/",
    "/drift",
    "/capability",
    "/rework",
    "/necks",
    "/bench",
    "/book",
    "/against",
    "/gauges",
    "/logs/readings",
    "/logs/visits",
}


def look() -> None:
    """A page of figures is shown as it stood while newer logs are being worked out; Logs, papers and tables are not."""
    frame_or_page = flask.request.path in OF_FIGURES or flask.request.path == "/_dash-layout"
    patient.set(frame_or_page or (flask.request.path == doors.CALLBACKS and _page_in_use() in OF_FIGURES))


def _page_in_use() -> str:
    """The page that a callback is about: the one it opens, else the one it comes from."""
    body = None
    with suppress(RecursionError):  # refused by whoever reads it next
        body = flask.request.get_json(silent=True)
    given = body.get("inputs") if isinstance(body, dict) else None
    for one in given if isinstance(given, list) else []:
        if isinstance(one, dict) and (one.get("id"), one.get("property")) == ("_pages_location", "pathname"):
            return str(one.get("value"))
    return urlsplit(flask.request.headers.get("Referer", "")).path
