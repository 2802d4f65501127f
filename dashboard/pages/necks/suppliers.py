"""Suppliers beside each other on page Necks: how bowed their necks come at the same air, and what that takes."""

from __future__ import annotations

from typing import Any

from dash import html

from analysis.methods.problems import UnusableData
from analysis.studies.necks import air, costs, suppliers
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import suppliers as sentences
from ingest.shopfiles.shop import Shop


def of_characteristic(name: str) -> list[dict[str, Any]]:
    """Rows of `suppliers.supplier_rows` of one characteristic."""
    return [row for row in desk.ask(suppliers.supplier_rows).rows(named=True) if row["characteristic"] == name]


def followed(name: str) -> air.Followed:
    """How bow follows the air."""
    return desk.ask(air.of, characteristic=name)


def spent(name: str) -> costs.Costs | str:
    """What bow took at the bench, or why that cannot be told."""
    try:
        return desk.ask(costs.costs, characteristic=name)
    except UnusableData as problem:
        return str(problem)


def leading(name: str, supplier: str | None, shop: Shop) -> str:
    """The supplier shown to come more bowed than the others, or the one looked at where it is; '' without one."""
    rows = [row for row in of_characteristic(name) if supplier in (None, row["supplier"])]
    row = sentences.foremost(rows)
    if row is None:
        return ""
    found = spent(name)
    cost = None if isinstance(found, str) else found.suppliers.get(row["supplier"])
    measure = "" if isinstance(found, str) else found.measure
    return sentences.headline(row, shop, followed(name), cost, measure)


def of_one(rows: list[dict[str, Any]], shop: Shop, name: str, supplier: str, *, money: bool) -> list[str]:
    """One supplier beside all others, none of whom is named: bow, what it took, its lots that stand apart, the air.

    rows : of its lots, of `necks.by_lot`.
    """
    own = next((row for row in of_characteristic(name) if row["supplier"] == supplier), None)
    air_of = followed(name)
    told = [sentences.of_air(air_of, rows, shop, name)]
    if own is not None and own["off"] is not None:
        told.append(sentences.against_others(own, shop, air_of))
    found = spent(name)
    if own is not None and not isinstance(found, str):
        mine, far = found.suppliers.get(supplier), found.apart.get(supplier)
        if mine is not None:
            told.append(sentences.supplier_cost(mine, found.measure, shop, money=money))
        if far is not None:
            told.append(sentences.lots_cost(far, own["lots_apart"], found.measure, shop, money=money))
    return [text for text in told if text]


def beside(shop: Shop, name: str, supplier: str | None) -> html.Section | None:
    """All suppliers with their means and minutes, and who differs from whom; None with one supplier."""
    rows = of_characteristic(name)
    if len(rows) < 2:
        return None
    found = spent(name)
    known = None if isinstance(found, str) else found
    unit = shop.length_of(name)
    columns = [
        ("supplier", "Supplier", "whole"),
        ("lots", "Lots", "n wide-only"),
        ("n", "Necks", "n"),
        ("mean", f"Mean, {unit} (95 %)", "n wide-only"),
        ("off", "Against the others' (95 %)", "n"),
    ]
    if known is not None:
        columns += [("minutes", "Minutes a neck", "n wide-only"), ("hours", "Hours", "n")]
    if any(row["lots_apart"] for row in rows):
        columns.append(("apart", "Lots apart", "n"))
        columns += [("apart_hours", "Hours of these", "n wide-only")] if known is not None else []
    table = parts.plain_table(sentences.table_rows(rows, known, shop), columns, caption="Suppliers")
    pairs = [row for row in desk.ask(suppliers.pair_rows).rows(named=True) if row["characteristic"] == name]
    pairs = [row for row in pairs if supplier is None or supplier in (row["supplier"], row["other"])]
    air_of = followed(name)
    said = [sentences.pairs(pairs, shop), *_minutes(rows, found, supplier, shop, air_of)]
    dry = "" if air_of.usual is not None else "What the air did is not known: no humidity is on file. "
    how = (
        f"{dry}Means are of lots that do not stand apart, {sentences.at_air(air_of)}like models held against like; "
        "minutes like hands too, more or less than the others', over judged necks. Hours of lots apart are more "
        "than their supplier's other lots took. Intervals take lots, not necks, as independent; what goes with bow "
        "need not come of it."
    )
    body = [table, *(html.P(text) for text in said if text), html.P(how, className="small")]
    at = (
        f"at {numbers.plain(air_of.usual, 0)}{numbers.NBSP}%{numbers.NBSP}RH, " if air_of.shown and air_of.usual else ""
    )
    return parts.sheet("Supplier by supplier", f"{at}all models and days", body)


def _minutes(
    rows: list[dict[str, Any]], found: costs.Costs | str, supplier: str | None, shop: Shop, air_of: air.Followed
) -> list[str]:
    if isinstance(found, str):
        return [f"What it takes at the bench: {found}."]
    told = []
    for row in rows:
        mine, far = found.suppliers.get(row["supplier"]), found.apart.get(row["supplier"])
        if supplier not in (None, row["supplier"]):
            continue
        if mine is not None and sentences.more_bowed(row):
            cost = sentences.supplier_cost(mine, found.measure, shop)
            told.append(f"{row['supplier']}, {numbers.in_words(row['lots'])} lots: {cost[:1].lower()}{cost[1:]}")
        if far is not None:
            cost = sentences.lots_cost(far, row["lots_apart"], found.measure, shop)
            told.append(f"{row['supplier']}: {cost[:1].lower()}{cost[1:]}")
    return [*told, sentences.air_cost(found, air_of)]
