"""The readings behind a number, each with its instrument, its text as typed, its file and line."""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl
from dash import Dash, dcc, html

from analysis.studies.necks import lots
from analysis.studies.story.lookup import Behind, readings
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages.logs import correct
from dashboard.sentences import shared as sentences
from dashboard.tables import leaf
from ingest.shopfiles.shop import Shop

PATH, NAME = "/logs/readings", "Readings"
SHOWN = 36  # on a page


def layout(
    *,
    characteristic: str = "",
    position: str | None = None,
    model: str = "",
    stage: str = "",
    role: str = "",
    tech: str = "",
    supplier: str = "",
    lot: str = "",
    serials: str = "",
    outside: str = "",
    judged_from: str = "",
    judged_to: str = "",
    to: str = "",
    **more: str,
) -> Any:
    """The page as its address asks for it."""
    shop = desk.here().snapshot().shop
    asked = Behind(
        characteristic,
        position,
        model,
        stage,
        role,
        tech if shop.people.show != "none" else "",
        supplier,
        lot,
        day(more.get("from")),
        day(to),
        day(judged_from),
        day(judged_to),
        outside == "1",
        tuple(s for s in serials.split(",") if s),
    )
    found = desk.ask(readings, asked=asked)
    what = sentences.characteristic(shop, characteristic, position or "") if characteristic else "All readings"
    about = [
        part
        for part in (
            f"on {model}" if model else "",
            f"at {shop.stage_name(stage).lower()}" if stage else "",
            f"of lot {lot}" if lot else "",
            "outside limits" if asked.outside else "",
        )
        if part
    ]
    many = "reading" if len(found) == 1 else "readings"
    head = parts.page_head(
        f"{what} {' '.join(about)}".strip() + f": {numbers.count(len(found))} {many}.",
        "First-pass readings, the newest first.",
    )
    on_necks = []
    if lot and lot in desk.ask(lots.necks)["lot"].to_list():
        to_necks = addresses.address("/necks", lot=lot, supplier=supplier or None)
        on_necks = [html.P(dcc.Link(f"Lot {lot} on Necks", href=to_necks))]
    if found.is_empty():
        return parts.page(head, parts.empty_state("No reading fits what was asked.", "Open Drift", "/drift"))
    people = shop.people.show != "none"
    columns = [
        ("serial", "Instrument"),
        ("what", "Reading", "wide-only" if characteristic and position is not None else ""),
        ("value", "Value", "n"),
        ("raw", "As typed", "wide-only"),
        ("limits", "Limits", "n wide-only"),
        ("mark", "", "wide-only"),
        ("when", "Taken", "n wide-only"),
        *([("set_by", "Set by", "wide-only")] if people else []),
        ("gauge", "Gauge", "wide-only"),
        ("where", "File and line", "wide-only"),
    ]
    headings = correct.Headings(desk.here().snapshot().table("columns"))
    same = {
        "characteristic": characteristic,
        "position": position,
        "model": model,
        "stage": stage,
        "role": role,
        "tech": asked.tech,
        "supplier": supplier,
        "lot": lot,
        "serials": serials,
        "outside": outside,
        "judged_from": judged_from,
        "judged_to": judged_to,
        "to": to,
        "from": more.get("from"),
    }
    first, leaves = leaf(len(found), SHOWN, "readings", PATH, {**same, "page": more.get("page")})
    rows = [line(row, shop, headings) for row in found.slice(first, SHOWN).iter_rows(named=True)]
    href = addresses.address("/save/readings", **same)
    save = html.Div(html.A("Save all as CSV", href=href, className="button"), className="acts no-print")
    return parts.page(
        head,
        *on_necks,
        parts.sheet("Readings", "each opens its instrument", [parts.plain_table(rows, columns), *leaves, save]),
    )


def day(text: str | None) -> date | None:
    """A day of the address; None where it is no day."""
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        return None


def line(row: dict[str, Any], shop: Shop, headings: correct.Headings) -> dict[str, Any]:
    """One reading as a row of a table."""
    mark: Any = parts.mark("outside") if row["outside"] else ""
    flags = sentences.flag_words(row["flag"])
    asked, when = limits(shop, row), numbers.clock(sentences.local(shop, row["taken_at"]))
    marks = [mark, html.Span(f" {flags}", className="small")] if flags else [mark]
    serial = dcc.Link(
        row["serial"] or "no serial yet",
        href=addresses.address("/logs/instrument", serial=row["serial"]),
        className="serial",
    )
    by = row["set_by"] if shop.people.show != "none" else ""
    about = f"{when}, set by {by}" if by else when
    typed = ", ".join(filter(None, (f"asked {asked}" if asked else "", f"typed {row['raw']}")))
    return {
        "serial": [serial, parts.on_a_phone(about)],
        "what": sentences.characteristic(shop, row["characteristic"], row["position"]),
        "value": [value_of(shop, row), parts.on_a_phone(*marks, " ", typed, " ", correct.way(row, headings))],
        "raw": row["raw"],
        "limits": asked,
        "mark": marks if flags else mark,
        "when": when,
        "set_by": row["set_by"] or "not known",
        "gauge": row["gauge"],
        "where": [f"{row['file']}, line {row['line']} ", correct.way(row, headings)],
    }


def value_of(shop: Shop, row: dict[str, Any]) -> str:
    """The value; of one outside with as many digits as tell it from its limit."""
    key, value = row["characteristic"], row["value"]
    beyond = row["upper"] if row["upper"] is not None and value is not None and value > row["upper"] else row["lower"]
    told = row["outside"] and value is not None and beyond is not None
    return sentences.apart(shop, key, value, beyond)[0] if told else sentences.amount(shop, key, value)


def limits(shop: Shop, row: dict[str, Any]) -> str:
    """`2.10 to 2.70`, one side where only one is asked."""
    low, high = row["lower"], row["upper"]
    key, value = row["characteristic"], row["value"]
    if low is None and high is None:
        return ""
    low_words, high_words = (
        "" if end is None else sentences.apart(shop, key, value, end)[1] if row.get("outside")
        else sentences.amount(shop, key, end)
        for end in (low, high)
    )  # fmt: skip
    return (
        f"{low_words.partition(numbers.NBSP)[0]} to {high_words}"
        if low_words and high_words
        else f"at most {high_words}"
        if high_words
        else f"at least {low_words}"
    )


def saved(**asked: str) -> tuple[str, pl.DataFrame]:
    """Name and rows of the table a person saves: canonical units, unrounded."""
    shop = desk.here().snapshot().shop
    behind = Behind(
        asked.get("characteristic", ""),
        asked.get("position"),
        asked.get("model", ""),
        asked.get("stage", ""),
        asked.get("role", ""),
        asked.get("tech", "") if shop.people.show != "none" else "",
        asked.get("supplier", ""),
        asked.get("lot", ""),
        day(asked.get("from")),
        day(asked.get("to")),
        day(asked.get("judged_from")),
        day(asked.get("judged_to")),
        asked.get("outside") == "1",
        tuple(s for s in asked.get("serials", "").split(",") if s),
    )
    found = desk.ask(readings, asked=behind)
    return "readings.csv", found.drop("set_by", "tech") if shop.people.show == "none" else found


def connect(app: Dash) -> None:
    """Links only."""
