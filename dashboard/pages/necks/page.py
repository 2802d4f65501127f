"""Necks: what came lot by lot, what bow goes with, where the differences sit, and what the talk with a supplier
needs.
"""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import Dash, dcc, html

from analysis.studies.necks import bow, lots, necks
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages import days, planning
from dashboard.pages import period as periods
from dashboard.pages.held import held
from dashboard.pages.necks import after_rest, suppliers
from dashboard.pages.necks.goes import differences, first_measure, what_goes
from dashboard.pages.necks.strips import plans_in_words, strips
from dashboard.pages.necks.talk import starting, talk
from dashboard.sentences import after_rest as sentences_rest
from dashboard.sentences import bow as sentences_bow
from dashboard.sentences import neck_gauge, shared
from dashboard.sentences import necks as sentences_necks
from dashboard.sentences import suppliers as sentences_suppliers
from dashboard.sentences import talk as sentences_talk
from ingest.shopfiles.shop import Shop

PATH, NAME = "/necks", "Necks"
SUPPLIER, MODEL, GOES = "necks-supplier", "necks-model", "necks-goes"
SINCE, UNTIL = "necks-since", "necks-until"
ALL = "all"


def layout(
    supplier: str | None = None, model: str | None = None, goes: str | None = None, lot: str | None = None, **more: str
) -> Any:
    """The page as its address asks for it; `from`, `to`: the lots that came in these days."""
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    found = desk.ask(necks.by_lot)
    if found.is_empty():
        empty = parts.empty_state(sentences_necks.none_yet(desk.ask(lots.elsewhere), shop), "Load a log", "/logs")
        return parts.page(
            parts.page_head("No incoming neck to judge yet.", "Lots stand here once receiving logs are loaded."), empty
        )
    name = desk.ask(bow.neck_bow)
    found = found.filter(pl.col("characteristic") == name)
    models = sorted({one for text in found["models"].to_list() for one in text.split(", ")})
    supplier = addresses.chosen(supplier, found["supplier"].unique().to_list(), None)
    model = addresses.chosen(model, models, None)
    measure = addresses.chosen(goes, bow.MEASURES, None) or first_measure(shop)
    seen = found.filter(pl.col("supplier") == supplier) if supplier else found
    seen = seen.filter(pl.col("models").str.split(", ").list.contains(model)) if model else seen
    one_lot = lot if lot and lot in seen["lot"].to_list() else None
    seen = seen.filter(pl.col("lot") == one_lot) if one_lot else seen
    if seen.is_empty():
        seen = found
    period = periods.read(more)
    every = newest_first(seen, shop)
    rows = [row for row in every if period.holds(sentences_necks.received(row, shop))]
    fields = _filters(found, models, (supplier, model, measure), period)
    if not rows:
        newest, oldest = (sentences_necks.received(every[k], shop) for k in (0, -1))
        said = f"On file are lots from {numbers.day(oldest)} {oldest.year} to {numbers.day(newest)} {newest.year}."
        rest = addresses.address(PATH, supplier=supplier, model=model)
        none = parts.empty_state("Other days have some.", "All days", rest)
        return parts.page(parts.page_head(f"No lot came {period.words()}.", said), fields, none)
    only = " Suppliers, what goes with bow and where necks differ are of all days." if period else ""
    beside = held("Supplier by supplier", suppliers.beside, shop, name, supplier)
    rested = held("After straightening and the rest", after_rest.sheet, shop, supplier)
    return parts.page(
        parts.page_head(*_head(rows, shop, name, supplier, only)),
        fields,
        *([_of_one(one_lot, supplier)] if one_lot else []),
        held("Lots", strips, rows, shop, name),
        *([rested] if rested is not None else []),
        *([beside] if beside is not None else []),
        held("Lot by lot", _table, rows, shop, name),
        parts.row(
            "75",
            held("What goes with bow", what_goes, shop, measure, rows),
            held("Where necks differ", differences, name, model, rows),
        ),
        held("For the talk", talk, rows, shop, supplier),
        held(planning.NAME, planning.suppliers, shop, name, model),
    )


def _of_one(lot: str, supplier: str | None) -> html.P:
    """From one lot to all that was read of its instruments, and to all lots."""
    readings = addresses.address("/logs/readings", lot=lot, supplier=supplier)
    every = dcc.Link("All lots", href=addresses.address(PATH, supplier=supplier))
    return html.P([parts.to_readings(readings, f"All readings of lot {lot}"), " ", every], className="beside")


def _head(rows: list[dict[str, Any]], shop: Shop, name: str, supplier: str | None, only: str) -> tuple[str, str]:
    """Headline and what stands under it: the lot to speak of, else the supplier whose necks come more bowed."""
    said = sentences_necks.headline(rows, shop)
    leads = after_rest.leading(supplier, shop) or suppliers.leading(name, supplier, shop)
    air = sentences_suppliers.of_air(suppliers.followed(name), rows, shop, name)
    spoken = sentences_necks.foremost(rows) is not None
    first, then = (said, leads) if spoken or not leads else (leads, said)
    told = [then, air, _under(rows, shop, name) + only]
    return first, " ".join(text for text in told if text)


def newest_first(found: pl.DataFrame, shop: Shop) -> list[dict[str, Any]]:
    """Rows of necks.by_lot by the day they came."""
    return sorted(
        found.iter_rows(named=True), key=lambda row: (sentences_necks.received(row, shop), row["lot"]), reverse=True
    )


def _under(rows: list[dict[str, Any]], shop: Shop, name: str) -> str:
    many = (
        f"{numbers.count(len(rows))} {'lot' if len(rows) == 1 else 'lots'}, "
        f"{numbers.count(sum(row['n'] for row in rows))} necks"
    )
    return (
        f"{shop.characteristic_name(name)} at receiving, first reading, the larger of the edges where two are read. "
        f"{many}. "
        f"{sentences_necks.linked(desk.ask(necks.parts))}{f' {shared.STARTING}' if starting(name) else ''}"
    )


def _filters(
    found: pl.DataFrame, models: list[str], chosen: tuple[str | None, str | None, str], period: periods.Period
) -> html.Div:
    supplier, model, measure = chosen
    every = [{"value": ALL, "label": "All"}]
    suppliers = [
        {"value": one, "label": one or "no supplier named"}
        for one in sorted(found["supplier"].unique().to_list())
        if one
    ]
    return parts.fields(
        parts.field("Supplier", SUPPLIER, supplier or ALL, every + suppliers),
        parts.field("Model", MODEL, model or ALL, every + [{"value": one, "label": one} for one in models]),
        parts.field(
            "Bow against",
            GOES,
            measure,
            [{"value": one, "label": words[:1].upper() + words[1:]} for one, words in sentences_bow.GOES.items()],
            style={"minWidth": "min(330px, 100%)"},
        ),
        *periods.fields(period, SINCE, UNTIL),
    )


def _table(rows: list[dict[str, Any]], shop: Shop, name: str) -> html.Section:
    unit = shop.length_of(name)
    plans = plans_in_words()
    rested = after_rest.by_lot()
    told = []
    for row in rows:
        href = addresses.address("/logs/readings", characteristic=name, supplier=row["supplier"], lot=row["lot"])
        words = sentences_necks.VERDICTS.get(row["verdict"] or "", ("", "no plan"))[1]
        measured = sentences_necks.VERDICTS.get(row["measured_verdict"] or "", ("", numbers.NONE))[1]
        told.append(
            {
                "lot": parts.to_readings(href, row["lot"] or "no lot named"),
                "supplier": row["supplier"],
                "day": numbers.day(sentences_necks.received(row, shop)),
                "n": f"{numbers.count(row['n'])}{', few' if row['few'] else ''}",
                "mean": sentences_necks.mean_at_air(row, shop),
                "sd": sentences_necks.sd(row, shop),
                "edges": sentences_necks.edges(row, shop),
                "rested": sentences_rest.of_lot(rested.get((row["supplier"], row["lot"])), shop),
                "ppk": sentences_necks.ppk(row),
                "outside": f"{sentences_necks.outside_in_table(row)}{sentences_suppliers.would_be(row)}",
                "expected": numbers.share(row["expected_outside"], row["n"]),
                "verdict": sentences_talk.more(row, plans) if row["verdict"] == lots.TOO_FEW else words,
                "measured": measured,
                "state": sentences_necks.state(row),
            }
        )
    columns = [
        ("lot", "Lot", "whole"),
        ("supplier", "Supplier", "wide-only"),
        ("day", "Came", "n wide-only"),
        ("n", "n", "n"),
        ("mean", f"Mean, {unit} (95 %)", "n"),
        ("sd", f"Spread, {unit} (95 %)", "n wide-only"),
        ("edges", "Edges, bass less treble", "n wide-only"),
        *([("rested", "Moved since straightening (95 %)", "n wide-only")] if rested else []),
        ("ppk", "Ppk (95 %)", "n wide-only"),
        ("outside", "Outside (95 %)", "n"),
        ("expected", "By mean and spread", "n wide-only"),
        ("verdict", "Plan by counting"),
        ("measured", "By measuring", "wide-only"),
        ("state", "Measured at", "wide-only"),
    ]
    table = parts.behind(
        parts.plain_table(told, columns, caption="Every lot with its figures"),
        f"The figures of {numbers.count(len(rows))} lots",
    )
    say = (
        "Ppk holds only for bow that follows a normal curve; beside it stands the count, which needs none. "
        f"{neck_gauge.gauge(rows[0])}"
    )
    return parts.sheet("Lot by lot", "against the purchase limits in force", [table, html.P(say, className="small")])


def connect(app: Dash) -> None:
    """The page's callbacks."""
    filters = {"supplier": SUPPLIER, "model": MODEL, "goes": GOES, "from": SINCE, "to": UNTIL}
    parts.filters_to_address(app, PATH, filters, everything=ALL, typed=days.FROM_TO)
