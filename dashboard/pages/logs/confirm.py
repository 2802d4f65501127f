"""Confirming a cause, a deed of one touch: beside each send-back that nobody confirmed, on the list of them and on the
instrument's story. It stands in the bench book and counts from then on; it can be taken back.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import polars as pl
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from analysis.studies.story.of_visits import CAUSED_BY
from dashboard import parts
from dashboard.desk import desk
from dashboard.sentences import rework as sentences_rework
from ingest.shopfiles.shop import Shop

DO, WHO, WHOSE, SAID, AGAIN = "cause-do", "cause-who", "cause-whose", "cause-said", "cause-again"
YES, OTHER, BACK = "yes", "other", "back"  # it is so | it is the place chosen above | taken back
ELSEWHERE = ("supplier", "handling")
GAP = "|"  # between the parts of a button's key


def form(shop: Shop) -> html.Div:
    """Above the list: who confirms, remembered by the browser, and whose it is where it is not theirs."""
    places = [*shop.bench_order, *ELSEWHERE]
    options = [{"value": place, "label": _name(shop, place)} for place in places]
    return html.Div(
        [
            html.Div(
                [
                    parts.who_field(WHO, "Confirmed by"),
                    parts.field("Not theirs? Then whose", WHOSE, None, options, clearable=True),
                ],
                className="pair",
            ),
            html.P(id=SAID, className="small", role="status"),
            dcc.Location(id=AGAIN, refresh="callback-nav"),
        ],
        className="no-print book-form",
    )


def _name(shop: Shop, place: str) -> str:
    text = sentences_rework.place(shop, place)
    return text[:1].upper() + text[1:]


def buttons(row: dict[str, Any], shop: Shop) -> list[Any]:
    """What can be said of one send-back (serial, caught_at, opened_at, caused_at, confirmed) with one touch."""
    key = GAP.join((row["serial"], row["caught_at"], row["opened_at"].isoformat()))

    def button(text: str, do: str, place: str = "") -> html.Button:
        what = {"type": DO, "key": key, "do": do, "place": place}
        return html.Button(text, id=what, className="button small no-print", n_clicks=0)

    if row["confirmed"]:
        return [" ", button("Take back", BACK)] if _by_hand(key) else []
    known = row["caused_at"] in shop.bench_order or row["caused_at"] in ELSEWHERE
    yes = [button(f"{_name(shop, row['caused_at'])}: confirm", YES, row["caused_at"])] if known else []
    return [" ", *yes, button("Not theirs", OTHER)]


def _by_hand(key: str) -> bool:
    serial, stage, at = key.rsplit(GAP, 2)
    said = desk.here().snapshot().lines(CAUSED_BY)
    same = [pl.col("serial") == serial, pl.col("stage") == stage, pl.col("opened_at") == datetime.fromisoformat(at)]
    mine = said.filter(*same).sort("sequence")
    return bool(len(mine)) and mine["text"][-1] != ""


def connect(app: Dash) -> None:
    """The callback of all these buttons."""
    app.callback(
        Output(SAID, "children"),
        Output(AGAIN, "search"),
        Input({"type": DO, "key": ALL, "do": ALL, "place": ALL}, "n_clicks"),
        State(WHO, "value"),
        State(WHOSE, "value"),
        State(AGAIN, "search"),
        prevent_initial_call=True,
    )(pressed)


def pressed(clicks: list[int | None], who: str | None, whose: str | None, search: str | None) -> tuple[Any, Any]:
    """One of the buttons: its word is written, and the list is laid anew."""
    asked = ctx.triggered_id
    if not isinstance(asked, dict) or not any(clicks):
        return no_update, no_update
    wrong = write(asked["key"], asked["do"], asked["place"], who=who or "", whose=whose or "")
    if wrong:
        return wrong, no_update
    trimmed = (search or "").partition("at=")[0].rstrip("?&")
    return "Written into the book.", f"{trimmed}{'&' if trimmed else '?'}at={desk.here().snapshot().book_sequence}"


def write(key: str, do: str, place: str, *, who: str, whose: str) -> str:
    """Write the word about one send-back; '' once it stands in the book, else what is missing."""
    if not who.strip():
        return "Say who confirms it: the book keeps who wrote what and when."
    if do == OTHER and not whose:
        return "Choose whose it is, above the list."
    counter = desk.here()
    said = {YES: place, OTHER: whose, BACK: ""}[do]
    if said and said not in {*counter.snapshot().shop.bench_order, *ELSEWHERE}:
        return f"No stage {said!r} in shop.toml."
    serial, stage, at = key.rsplit(GAP, 2)
    about: dict[str, Any] = {"serial": serial, "stage": stage, "opened_at": datetime.fromisoformat(at)}
    counter.write_entry(CAUSED_BY, said, who=who.strip(), **about)
    return ""
