"""What first play tests say: instruments of the last weeks with something to do, the newest first."""

from __future__ import annotations

from datetime import timedelta

from dash import dcc, html

from analysis.studies.room.play_test import advice
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import cautions
from dashboard.sentences import play_test as words
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

SHOWN = 10


def sheet(shop: Shop, weeks: int) -> html.Section | None:
    """The sheet of play tests; None where none was read at several frets in these weeks."""
    since = desk.here().snapshot().as_of - timedelta(weeks=weeks)
    said = [one for one in desk.ask(advice) if one.taken_at >= since]
    if not said:
        return None
    newest = sorted(said, key=lambda one: one.taken_at, reverse=True)
    rows = [
        {
            "serial": dcc.Link(
                one.serial, href=addresses.address("/logs/instrument", serial=one.serial), className="serial"
            ),
            "model": one.model,
            "when": numbers.day(sentences.local(shop, one.taken_at)),
            "says": words.says(shop, one),
            "do": words.to_do(shop, one),
            "stage": shop.stage_name(one.stage) if one.stage else "",
        }
        for one in newest[:SHOWN]
    ]
    columns = [
        ("serial", "Instrument"),
        ("model", "Model", "wide-only"),
        ("when", "Played", "wide-only"),
        ("says", "What its notes say"),
        ("do", "What to do"),
        ("stage", "Look at", "wide-only"),
    ]
    left = len(newest) - SHOWN
    more = [html.P(f"and {numbers.count(left)} more", className="small")] if left > 0 else []
    note = (
        "All strings of an instrument speak together, held against what is usual for its model and what specs ask of "
        "a fret. Told where it is likelier than not; measure before you cut."
    )
    mind = cautions.beside(shop, [one.stage for one in newest[:SHOWN]])
    right = "tuning, bridge, nut or one fret, from the notes of first play tests"
    return parts.sheet("Play test", right, [parts.plain_table(rows, columns), *more, html.P(note, className="small"),
                                              html.P(mind, className="caution")])  # fmt: skip
