"""What necks do after straightening, on page Necks and in the packet."""

from __future__ import annotations

from typing import Any

from dash import html

from analysis.methods.problems import UnusableData
from analysis.studies.necks import after_rest, sent_back
from dashboard import parts
from dashboard.desk import desk
from dashboard.pages.necks.suppliers import followed
from dashboard.sentences import after_rest as sentences
from ingest.shopfiles.shop import Shop


def found() -> list[after_rest.AfterRest]:
    """What every supplier's necks do; none where no neck was read again after the rest."""
    try:
        return desk.ask(after_rest.by_supplier)
    except UnusableData:
        return []


def leading(supplier: str | None, shop: Shop) -> str:
    """The supplier whose latest lots come back, or the one looked at where its do; '' without one."""
    one = sentences.foremost([one for one in found() if supplier in (None, one.supplier)])
    return "" if one is None else sentences.headline(one, shop, desk.ask(sent_back.by_supplier).get(one.supplier))


def by_lot() -> dict[tuple[str, str], dict[str, Any]]:
    """Rows of `after_rest.lot_rows` by supplier and lot."""
    return {(row["supplier"], row["lot"]): row for row in desk.ask(after_rest.lot_rows).iter_rows(named=True)}


def of_one(supplier: str, shop: Shop, *, money: bool) -> list[str]:
    """One supplier's necks beside all others, none of whom is named, and what came back of them."""
    own = next((one for one in found() if one.supplier == supplier), None)
    if own is None:
        return []
    back = desk.ask(sent_back.by_supplier).get(supplier)
    said = [sentences.told(own, shop), *([sentences.sent_back(back, shop, money=money)] if back is not None else [])]
    return [*said, sentences.how(followed(own.characteristic).shown)]


def asks(supplier: str, shop: Shop) -> tuple[str, str] | None:
    """What is asked of a supplier whose latest lots come back: why and what; None where they do not."""
    one = sentences.foremost([one for one in found() if one.supplier == supplier])
    return None if one is None else sentences.asked(one, shop)


def sheet(shop: Shop, supplier: str | None) -> html.Section | None:
    """All suppliers, or the one looked at; None where no neck was read again after the rest."""
    every = found()
    if not every:
        return None
    sent = desk.ask(sent_back.by_supplier)
    unit = shop.length_of(every[0].characteristic)
    columns = [
        ("supplier", "Supplier", "whole"),
        ("lots", "Lots", "n wide-only"),
        ("n", "Necks", "n wide-only"),
        ("change", f"Moved since straightening, {unit} (95 %)", "n"),
    ]
    if any(one.apart for one in every):
        columns += [
            ("apart", "Lots that lie apart", ""),
            ("by", f"These, {unit}", "n"),
            ("others", "The others' of the same days", "n wide-only"),
            ("back", "Of these sent back to straightening", "n wide-only"),
        ]
    told = [one for one in every if supplier == one.supplier or (supplier is None and one.apart)]
    said = []
    for one in told:
        said.append(sentences.told(one, shop, f"{one.supplier}'s", "the other suppliers'"))
        if one.supplier in sent:
            said.append(sentences.sent_back(sent[one.supplier], shop))
    if not told:
        said.append("No supplier's lots are shown to move after straightening otherwise than the others'.")
    table = parts.plain_table(sentences.table_rows(every, sent, shop), columns, caption="After straightening")
    how = html.P(sentences.how(followed(every[0].characteristic).shown), className="small")
    return parts.sheet(
        "After straightening and the rest", "all models and days", [table, *(html.P(text) for text in said), how]
    )
