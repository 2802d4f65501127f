"""Papers in the browser, to be read, saved or printed there: /papers/week?week=2026-11-09&letter=1."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import flask

from analysis.methods.problems import UnusableData
from dashboard.desk import desk, looking_back
from dashboard.papers import bench as card
from dashboard.papers import necks as packet
from dashboard.papers import sheet, shops
from dashboard.papers import week as weekly
from dashboard.papers.paper import Paper, computed_from
from ingest.terms.problems import Problem


def connect(server: flask.Flask) -> None:
    """The addresses of the papers."""
    server.add_url_rule("/papers/week", "paper-week", week)
    server.add_url_rule("/papers/necks", "paper-necks", necks)
    server.add_url_rule("/papers/bench", "paper-bench", bench)
    server.add_url_rule("/papers/shops", "paper-shops", several_shops)
    server.add_url_rule("/papers/traveller", "paper-traveller", traveller)
    server.add_url_rule("/papers/day-sheet", "paper-day-sheet", day_sheet)
    server.add_url_rule("/papers/sheet-csv", "paper-sheet-csv", sheet_csv)


def week() -> flask.Response:
    """The weekly review of the week that holds the day `week`, as it stood at its end; default the last whole one.
    `letter`: that size of paper.
    """
    asked, letter = flask.request.args.get("week", ""), bool(flask.request.args.get("letter"))
    try:
        day = date.fromisoformat(asked) if asked else None
    except ValueError:
        return problem(f"{asked!r} is no day; wanted one such as 2026-11-27.")
    try:
        looked = looking_back.asked(day)
        with desk.as_it_stood(looked.end):
            return flask.Response(weekly.paper(week=looked.first, letter=letter)[1], mimetype="text/html")
    except UnusableData as nothing:
        return _nothing(nothing)


def necks() -> flask.Response:
    """The neck packet of `supplier`; `money` for labour beside the minutes, `letter` for that size of paper."""
    asked = flask.request.args
    return _page(lambda letter: packet.paper(asked.get("supplier", ""), money=bool(asked.get("money")), letter=letter))


def bench() -> flask.Response:
    """The target card of `tech`, at `stage` where one is named; `letter` for that size of paper."""
    asked = flask.request.args
    return _page(lambda letter: card.paper(asked.get("tech", ""), stage=asked.get("stage", ""), letter=letter))


def several_shops() -> flask.Response:
    """What several shops together tell, where a place is known; `letter` for that size of paper."""
    return _page(lambda letter: shops.served(letter=letter))


def traveller() -> flask.Response:
    """A traveller for each `serial`, several with a comma between, a page each; `letter` for that size of paper."""
    serials = flask.request.args.get("serial", "").split(",")
    return _page(lambda letter: sheet.travellers(serials, letter=letter))


def day_sheet() -> flask.Response:
    """The day sheet of the bench at `stage`; `letter` for that size of paper."""
    stage = flask.request.args.get("stage", "")
    return _page(lambda letter: sheet.day_sheet(stage, letter=letter))


def _page(made: Callable[[bool], tuple[str, str]]) -> flask.Response:
    """A paper's page, made for letter size where that is asked for; one line where there is nothing to print."""
    try:
        _, html = made(bool(flask.request.args.get("letter")))
    except (UnusableData, Problem) as nothing:
        return _nothing(nothing)
    return flask.Response(html, mimetype="text/html")


def sheet_csv() -> flask.Response:
    """An empty CSV to fill at `stage`."""
    try:
        name, text = sheet.empty_csv(flask.request.args.get("stage", ""))
    except UnusableData as nothing:
        return _nothing(nothing)
    headers = {"Content-Disposition": f"attachment; filename={name}"}
    return flask.Response(text, mimetype="text/csv", headers=headers)


def _nothing(why: UnusableData | Problem) -> flask.Response:
    text = str(why)
    return problem(f"{text[:1].upper()}{text[1:]}.")


def problem(text: str) -> flask.Response:
    """A paper that says why there is none, and the way back."""
    snapshot = desk.here().snapshot()
    empty = Paper("Nothing to print", snapshot.shop.shop.name, computed_from(snapshot))
    return flask.Response(empty.html("problem.html", problem=text), status=404, mimetype="text/html")
