"""What stands beside the figures of Capability: what came in before it was set, next month at this pace, and limits
that no mark of the gauge can judge.
"""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import html

from analysis.studies.room.beside import Forecast, forecast, received
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

NAME = "Beside the figures"


def sheet(shop: Shop, characteristic: str | None, model: str | None) -> html.Section:
    """The sheet; what came in where a value was left at the stage that sets it."""
    said: list[Any] = [html.P(ahead(desk.ask(forecast)))]
    rows = desk.ask(received)
    rows = rows.filter(
        (pl.col("characteristic") == (characteristic or pl.col("characteristic")))
        & (pl.col("model") == (model or pl.col("model")))
    )
    if rows.height:
        table = parts.plain_table(
            [_line(row, shop) for row in rows.iter_rows(named=True)],
            [
                ("what", "Came in"),
                ("stage", "Stage"),
                ("n", "n", "n"),
                ("mean", "Mean, sd", "n"),
                ("out", "Outside", "n"),
            ],
        )
        said.append(parts.behind(table, f"What came in before it was set: {numbers.count(len(rows))} series"))
    return parts.sheet(NAME, "received apart from as set", said)


def ahead(found: Forecast | None) -> str:
    """`At this pace 4 % of next month's instruments lie outside as set: 12 of 301 in the last 28 days, ...`."""
    if found is None:
        return "Too few instruments in the last 28 days to look a month ahead."
    on = f" {numbers.count(found.on_limit)} more lie on a limit." if found.on_limit else ""
    at = " at the bench" if found.at_bench else ""
    return (
        f"At this pace {numbers.share(found.outside / found.n, found.n)} of next month's instruments lie outside at "
        f"least one limit as set{at} ({numbers.share_range(found.low, found.high, found.n)}, if nothing changes): "
        f"{numbers.of(found.outside, found.n)} in the last 28 days.{on}"
    )


def _line(row: dict[str, Any], shop: Shop) -> dict[str, Any]:
    kind, shown = sentences.quantity(shop, row["characteristic"]), shop.length_of(row["characteristic"])
    scale, digits = numbers.in_unit(1.0, kind, shown=shown), numbers.decimals_of(kind, shown=shown, mean=True)
    sd = f", {numbers.plain(scale * row['sd'], digits + 1)}" if row["sd"] is not None else ""
    share = numbers.share_range(row["share_low"], row["share_high"], row["n"])
    return {
        "what": f"{sentences.characteristic(shop, row['characteristic'], row['position'])}, {row['model']}",
        "stage": shop.stage_name(row["stage"]),
        "n": numbers.count(row["n"]),
        "mean": sentences.amount(shop, row["characteristic"], row["mean"], mean=True) + sd,
        "out": f"{numbers.of(row['outside'], row['n'])} ({share})" if row["outside"] is not None else numbers.NONE,
    }
