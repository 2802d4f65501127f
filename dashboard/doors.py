"""What comes in by the web and is not as our pages send it: a readable answer with status 400.

An address is read by its page's type, a callback is held against what the app knows of it. An error nobody expected is
one line for the person, with its traceback in store/program.log; nothing is told of the machine.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html import escape
from typing import Any

import flask
from dash import Dash, set_props
from werkzeug.exceptions import BadRequest, HTTPException

from dashboard import address, faults, kept, parts
from dashboard.desk import desk as counter
from dashboard.pages import addresses

CALLBACKS = "/_dash-update-component"
NOTICE = "notice"  # in the frame: what went wrong while a page was in use
SURROGATE = re.compile(rb"\\u[dD][89a-fA-F]")
LONGEST = 20_000  # characters of a value that is typed or chosen
NUMBERS = {"n_clicks", "n_intervals", "n_submit", "n_blur"}
TEXTS = {"pathname", "search", "href", "hash"}
TICKS = "logs-work-tick"  # the boxes of pages
UPLOADS = {"contents", "filename"}
OBJECTS = {"clickData", "hoverData", "selectedData", "relayoutData"}
ANSWERS = {
    400: "This address or request cannot be read",
    401: "Nobody is signed in",
    403: "That is not open to you",
    404: "There is no such page",
    405: "That cannot be done here",
    413: "That is more than fits through this door",
    415: "That is no request of our pages",
}


def connect(app: Dash, desk: counter.Desk) -> None:
    """Guards the app: addresses and callbacks before they are answered, errors after."""

    def look() -> None:
        if flask.request.is_json:
            try:
                flask.request.get_json(silent=True)  # kept for whoever asks for it
            except RecursionError:
                raise BadRequest("It holds brackets within brackets without end.") from None
            if _half_letters(flask.request.get_data(cache=True)):
                raise BadRequest("It holds halves of letters, which no text can.")
        if flask.request.path == CALLBACKS:
            problem = wrong_callback(app.callback_map, flask.request.get_json(silent=True))
            if problem:
                raise BadRequest(problem)
        elif flask.request.method == "GET":
            try:
                address.read(addresses.of(flask.request.path), flask.request.args.to_dict(flat=False))
            except address.BadAddress as wrong:
                raise BadRequest(f"{wrong}.") from None

    def refused(problem: HTTPException) -> flask.Response:
        said = problem.description if isinstance(problem, BadRequest) and problem.__cause__ is None else ""
        return page(problem.code or 400, said or "")

    def failed(fault: Exception) -> Any:
        if isinstance(fault, HTTPException):
            return refused(fault)
        if faults.loud:
            raise fault
        if isinstance(fault, counter.EXPECTED):
            return page(503, f"{fault}")
        if flask.request.path.startswith("/_dash-component-suites"):  # files of libraries, which raise what they like
            return page(404, "")
        return page(500, f"{faults.kept(fault, desk.folder, f'page: {flask.request.method} {flask.request.path}')}.")

    app.server.before_request(look)
    app.server.register_error_handler(HTTPException, refused)
    app.server.register_error_handler(Exception, failed)


def _half_letters(data: bytes) -> bool:
    """Does a request write half of a surrogate pair, which no file and no database takes?"""
    if not SURROGATE.search(data):
        return False
    try:
        json.dumps(json.loads(data), ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return True
    except (ValueError, RecursionError):  # said by whoever reads it
        return False
    return False


def of_callbacks(desk: counter.Desk) -> Callable[[Exception], Any]:
    """What a callback that failed becomes: a line in the frame, and nothing changes on the page."""

    def told(fault: Exception) -> None:
        if faults.loud or isinstance(fault, HTTPException):
            raise fault
        line = f"{fault}" if isinstance(fault, counter.EXPECTED) else faults.kept(fault, desk.folder, "callback")
        set_props(NOTICE, {"children": parts.ask(f"{line}. Nothing was changed on this page."), "hidden": False})

    return told


def page(status: int, said: str, *, home: str = "/") -> flask.Response:
    """A small page that says what is wrong, and the way back."""
    back = {"/": "Back to Week", "/card": "Back to Card"}.get(home, "Sign in")
    title = ANSWERS.get(status, "This page cannot be shown")
    text = (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>Truerun</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<script src="/assets/scheme.js"></script>'
        '<link rel="stylesheet" href="/assets/tokens.css"><link rel="stylesheet" href="/assets/page.css"></head>'
        f'<body><main class="page"><h1>{escape(title)}.</h1><p>{escape(said)}</p>'
        f'<p><a href="{home}">{back}</a></p></main></body></html>\n'
    )
    return flask.Response(text, status=status, mimetype="text/html")


def wrong_callback(known: dict[str, Any], body: Any) -> str:
    """Why a callback's request cannot be answered, '' where it can: it must be one our pages send.

    known : Dash's callback_map, output -> what the callback takes.
    """
    if not isinstance(body, dict) or not isinstance(body.get("output"), str):
        return "This is no request of our pages."
    callback = known.get(body["output"])
    if callback is None or "callback" not in callback:
        return "No page has such a callback."
    for name, declared in (("inputs", "inputs"), ("state", "state")):
        given = body.get(name, [])
        if not isinstance(given, list) or len(given) != len(callback[declared]):
            return f"The {name} of this callback are not those of the page."
        for one, wanted in zip(given, callback[declared], strict=True):
            several = one if isinstance(one, list) else [one]
            if isinstance(one, list) != ('["ALL' in str(wanted["id"])):
                return f"The {name} of this callback are not those of the page."
            if not all(_is_for(item, wanted) for item in several):
                return f"The {name} of this callback are not those of the page."
    changed = body.get("changedPropIds", [])
    if not isinstance(changed, list) or not all(isinstance(item, str) for item in changed):
        return "What changed is not told as our pages tell it."
    if not _files_whole(body):
        return "Files and their names do not come in pairs."
    return (
        ""
        if callback.get("no_output") or _outputs_fit(body)
        else "The outputs of this callback are not those of the page."
    )


def _is_for(given: Any, wanted: dict[str, Any]) -> bool:
    """Is this the input declared, with a value of its kind?"""
    if not isinstance(given, dict) or given.get("property") != wanted["property"]:
        return False
    if isinstance(given.get("id"), dict):
        if not str(wanted["id"]).startswith("{") or not all(isinstance(v, str | int) for v in given["id"].values()):
            return False
    elif given.get("id") != wanted["id"]:
        return False
    if wanted["property"] == "data":
        return kept.fits(str(wanted["id"]), given.get("value"))
    if wanted["property"] == "value":
        return _chosen(given.get("value"), several=TICKS in str(wanted["id"]))
    return _of_its_kind(wanted["property"], given.get("value"))


def _chosen(value: Any, *, several: bool) -> bool:
    """What is typed or chosen is a text; what is ticked among boxes a list of them."""
    if value is None:
        return True
    texts = value if several else [value]
    return isinstance(texts, list) and all(isinstance(each, str) and len(each) <= LONGEST for each in texts)


def _of_its_kind(name: str, value: Any) -> bool:
    if value is None:
        return True
    if name in NUMBERS:
        return isinstance(value, int) and not isinstance(value, bool)
    if name in TEXTS:
        return isinstance(value, str) and len(value) <= LONGEST and (name != "pathname" or value.startswith("/"))
    if name in OBJECTS:
        points = value.get("points", []) if isinstance(value, dict) else None
        return isinstance(points, list) and all(isinstance(point, dict) for point in points)
    if name in UPLOADS:
        return isinstance(value, list) and all(isinstance(v, str) for v in value)
    return True


def _files_whole(body: dict[str, Any]) -> bool:
    """Has every dropped file its name?"""
    given = [one for name in ("inputs", "state") for one in body.get(name, []) if isinstance(one, dict)]
    counts = {one["property"]: len(one.get("value") or []) for one in given if one.get("property") in UPLOADS}
    return len(set(counts.values())) < 2


def _outputs_fit(body: dict[str, Any]) -> bool:
    """Does the list of outputs name those of the callback's key?"""
    outputs, key = body.get("outputs"), str(body["output"])
    wanted = key.strip(".").split("...") if key.startswith("..") else [key]
    if isinstance(outputs, list) != key.startswith(".."):
        return False
    several = outputs if isinstance(outputs, list) else [outputs]
    if len(several) != len(wanted):
        return False
    for given, told in zip(several, wanted, strict=True):
        if isinstance(given, list):
            if not told.startswith("{"):
                return False
            continue
        if not isinstance(given, dict) or "id" not in given or not isinstance(given.get("property"), str):
            return False
        if isinstance(given["id"], str) and told.rpartition(".")[0] != given["id"]:
            return False
    return True
