"""Card: the doors between a tablet at a bench and the counter, and the one document it loads.

It is no page of the frame: it needs the whole of a small screen, no chart library, and opens within a second on an old
phone. Everything that is judged, read or written is asked at `desk.cards`; the tablet only shows and types.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import flask

from analysis.methods.problems import UnusableData
from dashboard.desk import signed
from dashboard.desk.cards import CardDesk
from dashboard.desk.desk import EXPECTED, Desk
from ingest.shopfiles.shop import Shop

PATH, NAME = "/card", "Card"
HERE = Path(__file__).parent
LARGEST = 60_000  # bytes of one card
KINDS = {".js": "text/javascript", ".css": "text/css"}
FILES = {path.name: path for path in HERE.iterdir() if path.suffix in KINDS}
SHELL = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width,initial-scale=1">
<title>Card - Truerun</title>
<script src="/assets/scheme.js"></script>
<link rel="stylesheet" href="/assets/tokens.css"><link rel="stylesheet" href="/card/card.css">
</head><body><noscript>Card needs scripts; a day sheet to print does without: truerun sheet</noscript>
<div id="card" data-shop="{shop}" data-own="{own}"></div>
<script src="/card/waiting.js"></script><script type="module" src="/card/card.js"></script></body></html>"""


def connect(server: flask.Flask, desk: Desk, cautions: Callable[[str, Shop], list[str]]) -> None:
    """The addresses of Card. cautions : what to mind at a stage of a shop, by its key."""
    cards = CardDesk(desk)
    server.extensions["card"] = cards
    server.add_url_rule(PATH, "card", lambda: _shell(desk))
    server.add_url_rule(f"{PATH}/<name>", "card-file", _file)
    asks: dict[str, Callable[[dict[str, Any]], Any]] = {
        "benches": lambda _: cards.benches(),
        "open": lambda it: (
            cards.card(_text(it, "stage"), _text(it, "serial"), model=_text(it, "model"), tech=_text(it, "tech"))
            | {"cautions": cautions(_text(it, "stage"), cards.shop)}
        ),
        "faults": lambda it: cards.faults(_text(it, "stage")),
        "judge": lambda it: cards.judge(
            *(_text(it, name) for name in ("stage", "model", "characteristic", "position", "text", "gauge")),
            beside=it.get("beside", ()),
        ),
        "keep": cards.keep,
        "undo": lambda it: cards.undo(_text(it, "bench"), _text(it, "card")),
        "gauges": lambda _: cards.gauges(),
        "check": lambda it: cards.check(_text(it, "gauge"), _text(it, "text"), _text(it, "tech")),
        "today": lambda it: cards.today(_text(it, "bench")),
    }
    for name, ask in asks.items():
        server.add_url_rule(f"{PATH}/{name}", f"card-{name}", _door(ask), methods=["POST"])


def _door(ask: Callable[[dict[str, Any]], Any]) -> Callable[[], flask.Response]:
    def answer() -> flask.Response:
        if (flask.request.content_length or 0) > LARGEST:
            return _said("more than one card holds", 413)
        given = flask.request.get_json(silent=True)
        if not isinstance(given, dict):
            return _said("wanted a JSON object, as the page sends it", 400)
        try:
            return flask.jsonify(ask(_signed_for(given)))
        except UnusableData as why:
            return _said(str(why), 422)
        except EXPECTED as why:
            return _said(str(why), 503)

    return answer


def _said(why: str, status: int) -> flask.Response:
    first = why.split(" ", 1)[0]
    begun = why if "." in first or "/" in first else why[:1].upper() + why[1:]  # the name of a file stays as it is
    answer = flask.jsonify({"problem": f"{begun}."})
    answer.status_code = status
    return answer


def _text(given: dict[str, Any], name: str) -> str:
    value = given.get(name, "")
    return value[:200] if isinstance(value, str) else ""


def _shell(desk: Desk) -> flask.Response:
    if not desk.has_shop:
        return flask.Response("No shop here yet; begin on Logs.", status=404, mimetype="text/plain")
    shop = desk.shop_words()[0]
    own = escape(json.dumps(_own(desk)), quote=True)
    return flask.Response(SHELL.format(shop=escape(shop, quote=True), own=own), mimetype="text/html")


def _own(desk: Desk) -> dict[str, str]:
    """What Card need not ask: the tech who is signed in, or a tablet's one bench; nothing on one machine alone."""
    who = signed.here()
    if who is None:
        return {}
    if who.tablet:
        name = desk.snapshot().shop.stage_name(who.stage)
        return {"stage": who.stage, "bench": who.name, "tech": "", "name": name}
    return {"name": who.name, **({"tech": who.tech} if who.tech else {})}


def _signed_for(given: dict[str, Any]) -> dict[str, Any]:
    """What a tablet sends, at its own bench whatever it says, and under the tech that is signed in. UnusableData where
    a tablet asks for another bench's card.
    """
    who = signed.here()
    if who is None:
        return given
    if who.tablet:
        if given.get("stage", who.stage) != who.stage:
            raise UnusableData("this tablet is enrolled for another bench")
        return given | {"stage": who.stage, "bench": who.name}
    return given | {"tech": who.tech} if who.tech else given


def _file(name: str) -> flask.Response:
    path = FILES.get(name)
    if path is None:
        return flask.Response("There is no such file.", status=404, mimetype="text/plain")
    answer = flask.Response(path.read_bytes(), mimetype=KINDS[path.suffix])
    if name == "worker.js":
        answer.headers["Service-Worker-Allowed"] = PATH  # its scope is the page itself
    return answer
