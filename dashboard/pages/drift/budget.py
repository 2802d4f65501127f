"""What the budget of false signals buys, and what each kind of chart costs."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import html

from analysis.studies.drift.budget_buys import what_it_buys
from analysis.studies.drift.chart_kinds import WEEKS, chart_kinds
from analysis.studies.matters.calls import calls
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages.drift.seen import Seen
from dashboard.sentences import calls as sentences_calls
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop


def budget_sheet(seen: Seen, shop: Shop) -> html.Section | None:
    """How many instruments pass until a shift is seen in this stream, under this budget and under others; None without
    a chart of its own.
    """
    if shop.judging.budget is None:
        return None
    found = desk.ask(what_it_buys).filter(*[pl.col(name) == value for name, value in seen.key.items()])
    name, right = "What the budget buys", "instruments until a shift is seen, on average"
    if found.is_empty():
        return None
    rows = [
        {
            "budget": [f"{numbers.plain(row['budget'], 1)} a week", html.B(", as set") if row["now"] else ""],
            **{size: numbers.count(row[size]) for size in ("half_sigma", "one_sigma", "two_sigma")},
        }
        for row in found.sort("budget").iter_rows(named=True)
    ]
    sizes = (("half_sigma", "Half a spread", "n"), ("one_sigma", "One spread", "n"), ("two_sigma", "Two spreads", "n"))
    columns = [("budget", "False signals, whole shop"), *sizes]
    per_week = float(found["per_week"][0])
    sigma = sentences.amount(shop, str(seen.row["characteristic"]), seen.row["sigma"])
    say = (
        f"The usual spread of this series is {sigma}; {numbers.count(per_week)} instruments a week pass it. For "
        "readings that follow a normal curve."
    )
    kinds = kinds_table()
    return parts.sheet(name, right, [parts.plain_table(rows, columns), html.P(say, className="small"), *kinds])


def kinds_table() -> list[Any]:
    """What each kind of chart of the shop costs of the budget, what it opened, and how soon it sees a shift."""
    found = desk.ask(chart_kinds)
    if found.is_empty():
        return []

    def seen_after(row: dict[str, Any]) -> str:
        if row["seen_after"] is None or row["seen_weeks"] is None:
            return numbers.NONE
        weeks = row["seen_weeks"]
        lasts = f"{numbers.plain(weeks, 1)} weeks" if weeks >= 1 else f"{numbers.plain(5 * weeks, 1)} working days"
        return f"{numbers.count(row['seen_after'])} in {lasts}"

    rows = [
        {
            "kind": sentences_drift.KINDS[row["kind"]],
            "charts": numbers.count(row["charts"]),
            "allowed": numbers.plain(row["allowed"], 2),
            "expected": numbers.plain(row["allowed"] * WEEKS, 1),
            "opened": numbers.count(row["opened"]),
            "seen": seen_after(row),
        }
        for row in found.iter_rows(named=True)
    ]
    columns = [
        ("kind", "Chart"),
        ("charts", "Charts", "n"),
        ("allowed", "False ones allowed a week", "n"),
        ("expected", "That is in 13 weeks", "n"),
        ("opened", "Opened in 13 weeks", "n"),
        ("seen", "Sees three quarters of a spread after", "n"),
    ]
    say = (
        "All charts share one budget. Those over models cost a part of it and see a shift that is the same in many "
        "models long before any one of them does. What opened beyond what is allowed for mostly moved for a cause."
    )
    return [
        html.P("What each kind of chart costs and buys, whole shop", className="small"),
        parts.plain_table(rows, columns),
        html.P(say, className="small"),
        html.P(f"Did its own calls hold? {sentences_calls.calls(desk.ask(calls))}"),
    ]
