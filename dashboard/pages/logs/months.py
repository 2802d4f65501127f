"""Logs on file, a line a month: which count, which are newer editions of others, what each adds, changes and drops."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl
from dash import dcc, html

from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import shared as sentences
from ingest.verbs.compare import changed_cells

PATH = "/logs"
MOST = 60  # logs of a month in full


def sheet(asked: pl.DataFrame) -> html.Section:
    """The months, the newest first; each opens in place to its logs."""
    snapshot = desk.here().snapshot()
    logs = snapshot.table("logs")
    if logs.is_empty():
        return parts.sheet("Loaded logs", "", html.P("None yet.", className="small"))
    told = _told(snapshot, logs, asked)
    shop = snapshot.shop
    months = [_month(str(month), rows, shop) for (month,), rows in told.group_by("month", maintain_order=True)]
    return parts.sheet(
        "Loaded logs", "rows read = accepted + changed + already held + set aside; a month opens to its logs", months
    )


def _told(snapshot: Any, logs: pl.DataFrame, asked: pl.DataFrame) -> pl.DataFrame:
    """A row a log, newest month first: the columns of tables.LOGS, month (as 2026-11), ask, newer (names of newer
    editions), older (the latest log it is an edition of), adds, changes, drops against that.
    """
    last = (
        snapshot.table("visits", "log_id", "started_at", "finished_at")
        .group_by("log_id")
        .agg(pl.coalesce("started_at", "finished_at").max().alias("last"))
    )
    ask = asked.group_by("log_id").agg(pl.len().alias("ask"))
    pairs = snapshot.table("editions").filter("holds")
    names = dict(logs.select("log_id", "name").iter_rows())
    newer = (
        pairs.group_by("older")
        .agg(pl.col("newer").last())
        .with_columns(newer_name=pl.col("newer").replace_strict(names, default=""))
    )
    before = pairs.unique("newer", keep="last", maintain_order=True).with_columns(
        older_name=pl.col("older").replace_strict(names, default="")
    )
    told = logs.join(last, on="log_id", how="left").join(ask, on="log_id", how="left")
    told = told.join(newer.rename({"older": "log_id"}).select("log_id", "newer", "newer_name"), on="log_id", how="left")
    told = told.join(
        before.select("older", "older_name", "adds", "changes", "drops", log_id="newer"), on="log_id", how="left"
    )
    zone = snapshot.shop.shop.timezone
    month = pl.coalesce("last", "loaded_at").dt.convert_time_zone(zone).dt.strftime("%Y-%m")
    told = told.with_columns(month=month, ask=pl.col("ask").fill_null(0))
    return told.sort("month", "loaded_at", "name", descending=[True, True, True])


def _month(month: str, rows: pl.DataFrame, shop: Any) -> html.Details:
    year, number = month.split("-")
    name = f"{numbers.MONTHS[int(number) - 1]} {year}"
    many = f"{numbers.count(len(rows))} {'log' if len(rows) == 1 else 'logs'}"
    ask = int(rows["ask"].sum())
    waits = [html.Span([parts.picture("question"), f" {numbers.count(ask)} ask"], className="ask-count")] if ask else []
    summary = html.Summary(
        [html.B(name), html.Span(many), html.Span(f"{numbers.count(int(rows['rows_read'].sum()))} rows read"), *waits]
    )
    columns = [
        ("name", "Log"),
        ("when", "Loaded", "wide-only"),
        ("edition", "Edition"),
        ("read", "Rows read", "n"),
        ("accepted", "Accepted", "n"),
        ("changed", "Changed", "n wide-only"),
        ("held", "Already held", "n wide-only"),
        ("aside", "Set aside", "n"),
        ("cells", "Cells set aside", "n wide-only"),
        ("over", "Passed over", "n wide-only"),
        ("id", "Begins", "wide-only"),
    ]
    lines = [_log(row, shop) for row in rows.head(MOST).iter_rows(named=True)]
    more = [html.P(f"and {numbers.count(len(rows) - MOST)} more", className="small")] if len(rows) > MOST else []
    return html.Details([summary, parts.plain_table(lines, columns), *more], className="month")


def _log(row: dict[str, Any], shop: Any) -> dict[str, Any]:
    return {
        "name": row["name"],
        "when": numbers.clock(sentences.local(shop, row["loaded_at"])),
        "edition": _edition(row),
        "read": numbers.count(row["rows_read"]),
        "accepted": numbers.count(row["accepted"]),
        "changed": numbers.count(row["changed"]),
        "held": numbers.count(row["already_held"]),
        "aside": numbers.count(row["set_aside"]),
        "cells": numbers.count(row["cells_set_aside"]),
        "over": numbers.count(row["passed_over"]),
        "id": html.Code(row["log_id"][:8]),
    }


def changed(pair: str) -> html.Section:
    """The cells that a newer edition changed, in the words they were typed in."""
    newer, _, older = pair.partition(":")
    snapshot = desk.here().snapshot()
    names = dict(snapshot.table("logs", "log_id", "name").iter_rows())
    cells = desk.ask(_changed, folder=str(desk.here().folder), newer=newer, older=older)
    if cells.is_empty():
        none = "No cell differs between the two, or one of them was taken out."
        return parts.sheet("What it changed", "", parts.empty_state(none, "All logs", PATH))
    rows = [
        {
            "serial": dcc.Link(row["serial"], href=addresses.address("/logs/instrument", serial=row["serial"])),
            "stage": snapshot.shop.stage_name(row["stage"]),
            "what": row["column"].replace("_", " "),
            "before": html.Code(row["before"] or "empty"),
            "after": html.Code(row["after"] or "empty"),
            "line": numbers.count(row["line"]),
        }
        for row in cells.head(MOST).iter_rows(named=True)
    ]
    columns = [
        ("serial", "Instrument"),
        ("stage", "Stage"),
        ("what", "What"),
        ("before", "Was"),
        ("after", "Is now"),
        ("line", "Line", "n"),
    ]
    more = [html.P(f"and {numbers.count(len(cells) - MOST)} more", className="small")] if len(cells) > MOST else []
    back = html.P("Take the newer one out below, and the older one counts again as it did.", className="small")
    title = f"What {names.get(newer, newer)} changed of {names.get(older, older)}"
    return parts.sheet(title, f"{numbers.count(len(cells))} cells", [parts.plain_table(rows, columns), *more, back])


def _changed(snapshot: Any, *, folder: str, newer: str, older: str) -> pl.DataFrame:
    return changed_cells(snapshot, folder=Path(folder), newer=newer, older=older)


def _edition(row: dict[str, Any]) -> Any:
    """Of which log it is a newer edition, or to which one it gives way."""
    if row["older"]:
        words = f"of {row['older_name']}: adds {row['adds']}, changes {row['changes']}, drops {row['drops']}"
        way = addresses.address(PATH, changed=f"{row['log_id']}:{row['older']}")
        return [words, " ", dcc.Link("what it changed", href=way)]
    return f"gives way to {row['newer_name']}" if row["newer"] else ""
