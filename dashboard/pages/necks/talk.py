"""What is at hand for the talk with one supplier, and the packet."""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl
from dash import html

from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import neck_gauge
from dashboard.sentences import necks as sentences_necks
from dashboard.sentences import suppliers as sentences_suppliers
from ingest.shopfiles.shop import Shop


def talk(rows: list[dict[str, Any]], shop: Shop, supplier: str | None) -> html.Section:
    """What is at hand for the talk with one supplier, and the packet."""
    who = supplier or (sentences_necks.foremost(rows) or sentences_necks.largest(rows) or rows[0])["supplier"]
    own = [row for row in rows if row["supplier"] == who]
    row = sentences_necks.foremost(own) or own[0]
    agreed = agreed_on(row["characteristic"], who)
    settled, air = sentences_suppliers.air_when_measured(row)
    asks = [
        (
            agreed is not None,
            f"Limits agreed on {numbers.day(agreed)} {agreed.year}"
            if agreed
            else "Day the limits were agreed: not in specs.csv",
        ),
        (
            row["rh"] is not None and settled,
            f"Air when measured: {'humidity not on file' if row['rh'] is None else sentences_necks.state(row) + air}",
        ),
        (
            row["hours_acclimatised"] is not None,
            f"Hours in the room: {'on file' if row['hours_acclimatised'] is not None else 'not on file'}",
        ),
        (row["gauge_share"] is not None, neck_gauge.gauge(row).rstrip(".")),
        (
            row["n"] >= sentences_necks.FEW,
            f"{numbers.count(row['n'])} necks of lot {row['lot']} measured{', few' if row['few'] else ''}",
        ),
        (False, "Photographs with straightedge and scale, necks kept for measuring together: bring them"),
    ]
    lines = [html.P([parts.picture("take" if held else "question"), " ", text]) for held, text in asks]
    links = [
        html.A(
            "Print the neck packet",
            href=addresses.address("/papers/necks", supplier=who),
            target="_blank",
            className="button primary",
        ),
        html.A(
            "with money",
            href=addresses.address("/papers/necks", supplier=who, money=1),
            target="_blank",
            className="button",
        )
        if shop.shop.labour_per_hour
        else html.Span("Without money: labour_per_hour is not in shop.toml.", className="small"),
    ]
    half = (len(lines) + 1) // 2
    body = [parts.row("66", html.Div(lines[:half]), html.Div(lines[half:])), html.Div(links, className="acts no-print")]
    return parts.sheet(
        f"For the talk with {who or 'the supplier'}", "the packet names no other supplier and no person", body
    )


def starting(characteristic: str) -> bool:
    """Are limits of it starting values, agreed with nobody?"""
    specs = desk.here().snapshot().specs
    return bool((specs.starting & (specs.rows["characteristic"] == characteristic)).any())


def agreed_on(characteristic: str, supplier: str) -> date | None:
    """The last day on which limits that hold for a supplier's necks were agreed, of those in force; None where
    specs.csv has none.
    """
    snapshot = desk.here().snapshot()
    today = snapshot.as_of.astimezone(snapshot.shop.zone).date()
    in_force = pl.col("from_date").is_null() | (pl.col("from_date") <= today)
    rows = snapshot.specs.rows.filter(
        (pl.col("characteristic") == characteristic) & pl.col("supplier").is_in(["", supplier]) & in_force
    )
    return rows["agreed_on"].max()  # type: ignore[return-value]
