"""The gate: who is signed in behind each request, and whether the role may have what is asked for (`roles`).

It stands before every address of the program; on one machine alone there is none.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qs, quote

import flask
from dash import Dash

from dashboard import doors
from dashboard.desk import signed
from dashboard.desk.desk import Desk
from dashboard.gate import pages, roles
from dashboard.gate.network import Network
from ingest.access import sessions, trail

WHERE = {
    "/drift": "Drift",
    "/logs/readings": "readings",
    "/save/readings": "readings, saved",
    "/against": "Against",
    "/capability": "Capability",
    "/save/capability": "Capability, saved",
    "/papers/bench": "target card",
}
BY_TECH = "tech"  # of `by`: figures of all techs side by side


def connect(app: Dash, desk: Desk, network: Network | None) -> None:
    """Put the gate before every request; without a network whoever asks is the one at this machine."""
    if network is None:
        app.server.before_request(lambda: signed.use(None, desk.folder))
        return
    app.server.before_request(lambda: look(app, desk, network))
    app.server.after_request(_after)
    pages.connect(app.server, desk, network)


def look(app: Dash, desk: Desk, network: Network) -> flask.Response | None:
    """Let a request through (None), or the answer that it gets instead."""
    request = flask.request
    token = request.cookies.get(pages.cookie_name(network), "")
    found = sessions.look(desk.folder, token, now=datetime.now(UTC)) if token else None
    signed.use(found, desk.folder)
    role = found.role if found else roles.NOBODY
    rule = request.url_rule.rule if request.url_rule else ""
    may = roles.of_route(rule, request.path)
    asked, search = request.path, request.query_string.decode("utf-8", "replace")
    if request.path == doors.CALLBACKS and role in may:
        may, asked, search = _of_callback(app, request.get_json(silent=True))
    if role in may and found is not None and asked in roles.OWN and found.role == signed.BENCH:
        given = parse_qs(search).get(roles.OWN[asked], [])
        may = may if found.tech and given == [found.tech] else frozenset()
    if role not in may:
        return _refused(found)
    if found is not None:
        _note(asked, search)
    return None


def _of_callback(app: Dash, body: Any) -> tuple[frozenset[str], str, str]:
    """Who may set off a callback; the path and search of the page that it asks for, '' where it asks for none."""
    output = body.get("output") if isinstance(body, dict) else None
    known = app.callback_map.get(output) if isinstance(output, str) else None
    if known is None:  # no callback of ours: the doors say so
        return roles.FRAME, "", ""
    name = roles.callback_name(str(output), known["inputs"])
    may = roles.CALLBACKS.get(name, frozenset())
    if name != roles.ROUTER:
        return may, "", ""
    inputs = body.get("inputs")
    told = [one for one in inputs if isinstance(one, dict)] if isinstance(inputs, list) else []
    given = {str(one.get("property")): one.get("value") for one in told}
    path, search = given.get("pathname"), given.get("search")
    if not isinstance(path, str):
        return may, "", ""  # the doors say so
    path = f"/{path.strip('/')}"  # as Dash looks for its page: what it does not know is nobody's
    return may & roles.of_page(path), path, search if isinstance(search, str) else ""


def _refused(found: signed.Signed | None) -> flask.Response:
    """What somebody gets who may not: the way to sign in, or one line; nothing of what they asked for."""
    request = flask.request
    looks = request.method == "GET" and "text/html" in request.headers.get("Accept", "")  # a person, not a script
    if found is None and looks:
        to = request.full_path.rstrip("?") if request.path != "/" else ""
        return flask.redirect(f"/sign-in?to={quote(to, safe='')}" if to else "/sign-in", 303)  # type: ignore[return-value]
    status, said = (403, "This is not open to you.") if found else (401, "Sign in first.")
    if found is not None and not roles.is_known(request.url_rule.rule if request.url_rule else "", request.path):
        status, said = 404, ""
    if (
        (request.path.startswith("/card") and not looks)
        or request.path == doors.CALLBACKS
        or request.path.startswith("/_dash")
    ):
        answer = flask.jsonify({"problem": said})
        answer.status_code = status
        return answer
    said = "Whoever keeps the list of people can open it to you." if status == 403 else said
    return doors.page(status, said, home=pages.home(found) if found else "/sign-in")


def _note(asked: str, search: str) -> None:
    """A line of the trail where somebody's figures are asked for."""
    given = {name: values[-1] for name, values in parse_qs(search.removeprefix("?")).items()}
    key = asked.removesuffix(".xlsx").rstrip("/")
    for name in roles.ON_PEOPLE.get(key, ()):
        value = given.get(name, "")
        if name == "by":
            value = trail.EVERYBODY if value == BY_TECH else ""
        for tech in value.split(",") if value else ():
            signed.read_figures(tech, WHERE[key])


def _after(answer: flask.Response) -> flask.Response:
    """A line of the trail for a table or paper that somebody took away. What one person was shown stays in no browser
    for the next; what is the same for all may.
    """
    if flask.request.path.startswith(("/save/", "/papers/")) and answer.status_code == 200:
        signed.did("took away", flask.request.full_path.rstrip("?"))
    rule = flask.request.url_rule.rule if flask.request.url_rule else ""
    if roles.NOBODY not in roles.of_route(rule, flask.request.path) or rule.startswith(("/sign", "/enrol")):
        answer.headers["Cache-Control"] = "no-store"
    return answer
