"""Sheets to print and to fill: travellers, a bench's day sheet, an empty CSV, as the command `sheet` writes them."""

from __future__ import annotations

from typing import Any

from dash import Dash, html

from dashboard import address as addresses
from dashboard import parts
from dashboard.desk import desk
from ingest.shopfiles.shop import Shop

PATH, NAME = "/sheets", "Sheets"
SIZES = (("A4", ""), ("Letter", "1"))


def layout(serial: str = "", **_address: str) -> Any:
    """The page as its address asks for it."""
    shop = desk.here().snapshot().shop
    return parts.page(
        parts.page_head(
            "Sheets to write on at a bench.",
            "Made from shop.toml and the limits of today; a sheet says when it was made. What is written on paper is "
            "typed in later: the empty CSV loads as it is once it is filled.",
        ),
        parts.sheet("Travellers", "one an instrument, its serial as a code that scanners read", _travellers(serial)),
        parts.sheet("Day sheets and empty CSVs", "one a bench", _stages(shop)),
        html.P(["At a tablet none of these is needed: ", html.A("Card", href="/card"), "."], className="small"),
    )


def _travellers(serial: str) -> html.Form:
    words = "Serials, several with a comma between"
    field = parts.text_field(words, "sheets-serial", serial, name="serial", autoComplete="off", maxLength=400)
    ways = [
        html.Button(f"Print on {name}", type="submit", name="letter", value=letter, className="button")
        for name, letter in SIZES
    ]
    return html.Form(
        [field, html.Div(ways, className="acts")],
        action="/papers/traveller",
        method="get",
        target="_blank",
        className="no-print",
    )


def _stages(shop: Shop) -> html.Div:
    rows = [
        {"stage": shop.stage_name(one.key), **_ways(one.key)}
        for one in shop.stages
        if one.role not in ("rest", "repair")
    ]
    columns = [("stage", "Stage"), ("a4", "Day sheet"), ("letter", ""), ("csv", "To fill")]
    return parts.plain_table(rows, columns)


def _ways(stage: str) -> dict[str, Any]:
    def link(path: str, words: str, **about: str) -> html.A:
        return html.A(words, href=addresses.address(path, **about), target="_blank", className="button")

    return {
        "a4": link("/papers/day-sheet", "A4", stage=stage),
        "letter": link("/papers/day-sheet", "Letter", stage=stage, letter="1"),
        "csv": html.A("Empty CSV", href=addresses.address("/papers/sheet-csv", stage=stage), className="button"),
    }


def connect(app: Dash) -> None:
    """It asks nothing back: its ways are links and one form."""
