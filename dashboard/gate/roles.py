"""What each role may: every address, table, paper, callback and door of the program, in one place.

What stands in no line here is forbidden to everybody on the network, so that a new page is closed until somebody names
it. A callback is named by what it writes to and what sets it off: `drift-said < drift-write`.
"""

from __future__ import annotations

import re
from typing import Any

from ingest.access.people import BENCH, GUEST, MANAGER, TRAINER

NOBODY = "nobody"  # whoever has not signed in
M, T, B, G = (frozenset({role}) for role in (MANAGER, TRAINER, BENCH, GUEST))
ANYBODY = M | T | B | G | {NOBODY}
SIGNED = M | T | B | G
FRAME = M | T | G  # who sees pages of the frame at all
OWN = {"/papers/bench": "tech"}  # addresses of figures on one person: a bench may ask for its own tech only

ROUTES: dict[str, frozenset[str]] = {  # by Flask's rule
    "/sign-in": ANYBODY,
    "/sign-out": ANYBODY,
    "/enrol": ANYBODY,
    "/me": SIGNED,
    "/me/password": SIGNED,
    "/me/elsewhere": SIGNED,
    "/people": M,
    "/people/tablet": M,
    "/people/revoke": M,
    "/assets/<path:filename>": ANYBODY,  # styles, letters, scripts: the same for every shop
    "/_favicon.ico": ANYBODY,
    "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>": ANYBODY,
    "/_dash-layout": FRAME,
    "/_dash-dependencies": FRAME,
    "/_dash-update-component": FRAME,
    "/_reload-hash": FRAME,
    "/go": M | T,
    "/book/newest": M | T,
    "/papers/week": M | T | G,
    "/papers/necks": M | T,
    "/papers/bench": M | T | B,
    "/papers/shops": M,
    "/papers/traveller": M | T | B,
    "/papers/day-sheet": M | T | B,
    "/papers/sheet-csv": M | T | B,
    "/card": M | T | B,
    "/card/<name>": ANYBODY,  # its script and style
    "/card/benches": M | T | B,
    "/card/open": M | T | B,
    "/card/faults": M | T | B,
    "/card/judge": M | T | B,
    "/card/keep": M | T | B,
    "/card/undo": M | T | B,
    "/card/gauges": M | T | B,
    "/card/check": M | T | B,
    "/card/today": M | T | B,
    "/bring/<key>": M,
}
PAGES: dict[str, frozenset[str]] = {  # of the frame, by their path
    "/": M | T | G,
    "/drift": M | T,
    "/capability": M | T,
    "/rework": M | T,
    "/necks": M | T,
    "/bench": M | T,
    "/book": M | T,
    "/logs": M | T,
    "/logs/readings": M | T,
    "/logs/instrument": M | T,
    "/logs/visits": M | T,
    "/logs/correct": M,
    "/find": M | T,
    "/against": M | T,
    "/gauges": M | T,
    "/sheets": M | T,
    "/shops": M,
}
SAVED: dict[str, frozenset[str]] = {  # tables
    "readings": M | T,
    "questions": M | T,
    "capability": M | T,
    "book": M | T,
    "gauges": M | T,
    "shops": M,
}
CALLBACKS: dict[str, frozenset[str]] = {
    # the frame
    "_pages_content < _pages_location": FRAME,  # which page: PAGES
    "_pages_dummy < _pages_store": FRAME,
    "menu-name < _pages_location": FRAME,
    "shop-name < _pages_location": FRAME,
    # what is shown
    "_pages_location < drift-stage": M | T,
    "_pages_location < drift-by": M | T,
    "drift-body < drift-written": M | T,
    "drift-closer-place < drift-closer": M | T,
    "_pages_location < capability-when": M | T,
    "_pages_location < rework-model": M | T,
    "_pages_location < necks-supplier": M | T,
    "_pages_location < bench-tech": M | T,
    "_pages_location < against-what": M | T,
    "logs-progress < logs-tick": M | T,
    "logs-work-about < logs-work-rows": M | T,
    # entries in the book
    "drift-said < drift-write": M | T,
    "book-said < book-do": M | T,
    "cause-said < cause-do": M | T,
    "bench-agreed < bench-agree": M | T,
    "bench-signed < bench-sign": M | T,
    "bench-taken < bench-back": M | T,
    "bench-hand-said < bench-hand-set": M | T,
    # what the manager decides
    "week-reviewed-said < week-say-reviewed": M,
    "week-reviewed-said < week-take-back": M,
    "drift-proposal < drift-try": M,
    "logs-progress < logs-drop": M,
    "logs-progress < logs-again": M,
    "logs-progress < logs-unload": M,
    "logs-new-proposal < logs-new-drop": M,
    "logs-new-counts < logs-new-column": M,
    "logs-new-proposal < logs-new-write": M,
    "logs-new-back-said < logs-new-back": M,
    "logs-work < logs-work-decision": M,
    "logs-work < logs-work-accept": M,
    "logs-work < logs-work-undo": M,
    "logs-same-said < logs-same": M,
    "logs-said < logs-correct": M,
    "logs-correct-said < logs-correct-do": M,
}
ROUTER = "_pages_content < _pages_location"
ON_PEOPLE = {  # which part of an address says whose figures a page or table shows
    "/drift": ("tech",),
    "/logs/readings": ("tech",),
    "/save/readings": ("tech",),
    "/against": ("a_tech", "b_tech"),
    "/papers/bench": ("tech",),
    "/capability": ("by",),
    "/save/capability": ("by",),
}
_TYPE = re.compile(r'"type":\s*"([^"]+)"')


def callback_name(output: str, inputs: list[dict[str, Any]]) -> str:
    """The name of a callback as CALLBACKS has it. output : its key in Dash's callback_map.  inputs : as declared."""
    first = output.strip(".").split("...")[0]
    return f"{plain_id(first.rpartition('.')[0])} < {plain_id(str(inputs[0]['id'])) if inputs else ''}"


def plain_id(id: str) -> str:
    """An id as CALLBACKS has it: of one that is a pattern its type."""
    found = _TYPE.search(id)
    return found.group(1) if found else id


def of_page(path: str) -> frozenset[str]:
    """Who may see a page of the frame."""
    return PAGES.get(path.rstrip("/") or "/", frozenset())


def of_route(rule: str, path: str) -> frozenset[str]:
    """Who may knock at a route. rule : Flask's, '' of an address that none fits.  path : as it was asked for."""
    if rule in ("/", "/<path:path>"):
        return of_page(path)
    if rule == "/save/<name>":
        return SAVED.get(path.removeprefix("/save/").removesuffix(".xlsx"), frozenset())
    return ROUTES.get(rule, frozenset())


def is_known(rule: str, path: str) -> bool:
    """Is there such a page, table or door at all?"""
    return bool(of_route(rule, path))


def may_open(role: str, href: str) -> bool:
    """May a role follow a link? One that leads out of the program's own addresses is no question of roles."""
    path = href.split("?")[0].split("#")[0]
    if not path.startswith("/") or path.startswith("/assets/"):
        return True
    rule = "/save/<name>" if path.startswith("/save/") else path if path in ROUTES else "/<path:path>"
    return role in of_route(rule, path)
