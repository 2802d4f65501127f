"""Single instruments that lie far from their stream, on page Drift."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
from dash import dcc, html

from analysis.studies.drift import states
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.desk import desk
from dashboard.pages.drift.asked import KEY, Asked, of_models
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

SHOWN_ODD = 12


def odd_instruments(rows: pl.DataFrame, asked: Asked, stages: list[str], shop: Shop, now: datetime) -> html.Section:
    """Single readings beyond four sigma, newest first, by serial; what is far out because its stream moved stands
    apart.
    """
    found = of_models(desk.ask(states.odd), asked.models, shop)
    since = (now - timedelta(weeks=asked.weeks)).astimezone(UTC)
    found = found.filter(pl.col("stage").is_in(stages), pl.col("taken_at") >= since).sort("taken_at", descending=True)
    if not rows.is_empty():
        found = found.join(rows.select(*KEY, "began_at"), on=KEY, how="left", maintain_order="left")
        shifted = found.filter(pl.col("taken_at") >= pl.col("began_at"))
        found = found.filter((pl.col("taken_at") < pl.col("began_at")).fill_null(True))
    else:
        shifted = found.clear()
    n = found["serial"].n_unique()
    right = "one reading beyond four times the usual spread of its series; listed, opens no signal"
    apart = [html.P(sentences_drift.part_of_a_shift(len(shifted)), className="small")] if len(shifted) else []
    if found.is_empty():
        return parts.sheet("Odd instruments", right, [html.P("None in these weeks.", className="small"), *apart])
    lines = [
        {
            "serial": dcc.Link(
                row["serial"], href=address("/logs/instrument", serial=row["serial"]), className="serial"
            ),
            "what": sentences_drift.stream_name(shop, row, stage=len(stages) > 1),
            "value": sentences.amount(shop, row["characteristic"], row["value"]),
            "far": numbers.signed(row["sigmas"], 1),
            "day": numbers.day(sentences.local(shop, row["taken_at"]), now),
        }
        for row in found.iter_rows(named=True)
    ]
    columns = [
        ("serial", "Serial"),
        ("what", "What"),
        ("value", "Reading", "n"),
        ("far", "Sigma off the centre line", "n wide-only"),
        ("day", "Taken", "n"),
    ]
    many = "instrument" if n == 1 else "instruments"
    say = (
        f"{numbers.in_words(n, capital=True)} {many} in these weeks. Look at the instrument before the gauge, and "
        "at the gauge before the bench."
    )
    rest = lines[SHOWN_ODD:]
    more = [parts.behind(parts.plain_table(rest, columns), f"{numbers.count(len(rest))} more readings")] if rest else []
    return parts.sheet(
        "Odd instruments",
        right,
        [html.P(say, className="small"), parts.plain_table(lines[:SHOWN_ODD], columns), *more, *apart],
    )
