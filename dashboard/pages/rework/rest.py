"""Rework below the flow: faults, savings, how far a fault travels, other outcomes, stage by stage, where on the
instrument.
"""

from __future__ import annotations

import polars as pl
from dash import html

from analysis.studies.rework import rework
from analysis.studies.rework.pareto import pareto
from analysis.studies.rework.returns import returns
from analysis.studies.rework.savings import what_if
from analysis.studies.rework.yields import stage_yields
from analysis.studies.story.scope import Scope
from dashboard import numbers, parts
from dashboard.charts.savings import Saving
from dashboard.charts.savings import savings as savings_chart
from dashboard.charts.shares import BarRow
from dashboard.charts.shares import pareto as bars
from dashboard.desk import desk
from dashboard.sentences import rework as sentences_rework
from ingest.shopfiles.shop import Shop

BARS, MOST, LINES = 8, 8, 12  # bars, faults, and lines of a table; then the rest in one line or in a count


def faults(shop: Shop, scope: Scope) -> html.Section:
    """Faults by count, with their uncertainty."""
    found = desk.ask(pareto, scope=scope, by="fault", of="count")
    shown = [
        BarRow(row["name"] or "no fault named", row["value"], row["low"], row["high"], key=row["name"])
        for row in found.head(BARS).iter_rows(named=True)
    ]
    rest = found.slice(BARS)
    if len(rest):
        shown.append(
            BarRow(
                f"All others, {numbers.count(len(rest))} faults", float(rest["value"].sum()), None, None, others=True
            )
        )
    say = sentences_rework.faults(found)
    chart = parts.graph(parts.both(bars, shown), say, "rework-faults")
    total = int(found["count"].sum())
    many = f"{numbers.count(total)} {'send-back' if total == 1 else 'send-backs'}"
    return parts.sheet(
        "Faults that came back", f"{many}, first fault of each; line: 95 % interval", [chart, html.P(say)]
    )


def savings(shop: Shop, scope: Scope) -> html.Section:
    """What each change would save."""
    found = desk.ask(what_if, scope=scope)
    if float(desk.ask(rework.flows, scope=scope).total["minutes"].sum()) <= 0:
        none = "No work on what came back is on file yet: what a change would save cannot be said."
        return parts.sheet("What removing it would save", "", parts.empty_state(none))
    if found.rows.is_empty():
        return parts.sheet(
            "What removing it would save", "", parts.empty_state("Too few send-backs to say what a change would save.")
        )
    worth = [row for row in found.rows.iter_rows(named=True) if row["minutes"] > 0]
    if not worth:
        none = "None of the changes looked at would save work: what each saves in send-backs it costs elsewhere."
        return parts.sheet("What removing it would save", "", parts.empty_state(none))
    rows = [
        Saving(
            sentences_rework.change(row, shop),
            row["minutes"] / 60,
            row["minutes_low"] / 60,
            row["minutes_high"] / 60,
            numbers.hours_of(row["minutes"]) + sentences_rework.money(row["cost"], shop),
        )
        for row in worth
    ]
    say = sentences_rework.savings(worth[0], shop)
    chart = parts.graph(parts.both(savings_chart, rows), say, "rework-savings")
    labour = shop.shop.labour_per_hour
    at = f", at {numbers.money(labour, shop.shop.currency)} an hour" if labour else ""
    right = f"over the weeks shown{at}"
    note = sentences_rework.savings_note(len(worth))
    return parts.sheet("What removing it would save", right, [chart, html.P(say), html.P(note, className="small")])


def travels(shop: Shop, scope: Scope) -> html.Section:
    """How many stages a fault travels before it is caught."""
    found = desk.ask(rework.travels, scope=scope)
    rows = []
    by_fault = found.group_by("fault").agg(
        pl.len().alias("n"), pl.col("stages").mean(), pl.col("minutes").median(), pl.col("days").median()
    )
    for row in by_fault.sort("n", "fault", descending=[True, False]).head(MOST).iter_rows(named=True):
        rows.append(
            {
                "fault": row["fault"] or "no fault named",
                "n": numbers.count(row["n"]),
                "stages": numbers.plain(row["stages"], 1),
                "work": numbers.hours_of(row["minutes"]),
                "days": numbers.plain(row["days"], 1),
            }
        )
    columns = [
        ("fault", "Fault"),
        ("n", "n", "n"),
        ("stages", "Stages, mean", "n"),
        ("work", "Work between, median", "n"),
        ("days", "Days, median", "n"),
    ]
    body = (
        parts.plain_table(rows, columns)
        if rows
        else html.P("No fault whose causing visit is on file.", className="small")
    )
    return parts.sheet("How far a fault travels", "from the visit that caused it to the one that caught it", body)


def came_back(shop: Shop, scope: Scope) -> html.Section:
    """Returns: what came back after packing, and the work that took."""
    found = desk.ask(returns, scope=scope)
    say = sentences_rework.returned(found, shop)
    rows = [
        {
            "caused": sentences_rework.named(shop, row["caused_at"]),
            "fault": row["fault"] or "no fault named",
            "n": numbers.count(row["n"]),
            "work": numbers.hours_of(row["minutes"]),
            "cost": numbers.money(row["cost"], shop.shop.currency),
            "days": numbers.plain(row["days_out"], 1),
        }
        for row in found.group_by("caused_at", "fault")
        .agg(pl.len().alias("n"), pl.col("minutes", "cost").sum(), pl.col("days_out").median())
        .sort("minutes", "n", "caused_at", "fault", descending=[True, True, False, False])
        .head(LINES)
        .iter_rows(named=True)
    ]
    columns = [
        ("caused", "Caused at"),
        ("fault", "First fault"),
        ("n", "n", "n"),
        ("work", "Work", "n"),
        *([("cost", "Money", "n")] if shop.shop.labour_per_hour else []),
        ("days", "Days out, median", "n wide-only"),
    ]
    body = [parts.plain_table(rows, columns)] if rows else []
    return parts.sheet("Returns and what they cost", "after packing; in no other figure here", [*body, html.P(say)])


def answers(shop: Shop, scope: Scope) -> html.Section:
    """What nobody has confirmed."""
    found = desk.ask(rework.answers, scope=scope)
    rows = []
    summed = found.group_by("kind", "caused_at").agg(pl.col("count").sum(), pl.col("confirmed").sum())
    said = ""
    for row in summed.sort("kind", "count", "caused_at", descending=[False, True, False]).iter_rows(named=True):
        kind = sentences_rework.KINDS[row["kind"]]
        rows.append(
            {
                "kind": "" if kind == said else kind,
                "caused": sentences_rework.named(shop, row["caused_at"]) if row["caused_at"] else "unknown",
                "count": numbers.count(row["count"]),
                "sure": numbers.share(row["confirmed"] / row["count"], row["count"]),
            }
        )
        said = kind
    body = (
        parts.plain_table(
            rows[:LINES],
            [("kind", "What became of it"), ("caused", "Caused at"), ("count", "n", "n"), ("sure", "Confirmed", "n")],
        )
        if rows
        else html.P("Nothing was fixed on the spot, rejected, sold as a second or returned.", className="small")
    )
    return parts.sheet("Fixed on the spot, rejects, seconds, returns", "", body)


def stages(shop: Shop, scope: Scope) -> html.Section:
    """Each stage in figures."""
    rows = []
    found = desk.ask(stage_yields, scope=scope).filter(pl.col("instruments") > 0)
    n = int(found.select(pl.col("instruments").min()).item() or 0)  # one decimal rule a column: that of the fewest
    for row in found.iter_rows(named=True):
        rows.append(
            {
                "stage": shop.stage_name(row["stage"]),
                "n": numbers.count(row["instruments"]),
                "straight": numbers.share(row["yield_caught"], n),
                "s_range": numbers.share_range(row["yield_caught_low"], row["yield_caught_high"], n),
                "held": numbers.share(row["yield_caused"], n),
                "h_range": numbers.share_range(row["yield_caused_low"], row["yield_caused_high"], n),
                "minutes": numbers.hours_of(row["minutes"]),
            }
        )
    columns = [
        ("stage", "Stage"),
        ("n", "Instruments", "n"),
        ("straight", "Straight through here", "n"),
        ("s_range", "95 %", "n wide-only"),
        ("held", "Work that held", "n"),
        ("h_range", "95 %", "n wide-only"),
        ("minutes", "Work", "n wide-only"),
    ]
    note = (
        "Straight through here: the first visit passed. Work that held: nothing was sent back, fixed or rejected "
        "for a cause at this stage."
    )
    return parts.sheet(
        "Stage by stage",
        "judged instruments that came to the stage",
        [parts.plain_table(rows, columns), html.P(note, className="small")],
    )


def where(shop: Shop, scope: Scope) -> html.Section:
    """Where on the instrument faults lie."""
    found = desk.ask(rework.where_on, scope=scope)
    rows = [
        {
            "model": row["model"],
            "fault": row["fault"],
            "at": sentences_rework.at(row["fault_at"]),
            "n": numbers.count(row["count"]),
        }
        for row in found.sort("count", descending=True).head(LINES).iter_rows(named=True)
    ]
    columns = [("model", "Model"), ("fault", "Fault"), ("at", "Where"), ("n", "n", "n")]
    body = parts.plain_table(rows, columns) if rows else html.P("No fault names its place.", className="small")
    return parts.sheet("Where on the instrument", "string or string and fret, as written", body)
