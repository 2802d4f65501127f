"""What necks do after straightening, supplier by supplier, in words: for the Necks page and the neck packet; pure
functions, nothing computed here.

Where a paper goes to one supplier the others are `the shop's other suppliers`, and no name of theirs stands in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.methods.stretches import Size
from analysis.studies.necks.after_rest import AfterRest
from analysis.studies.necks.sent_back import SentBack
from dashboard import numbers
from dashboard.address import address
from dashboard.sentences.necks import FEW
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop

DAYS = 72  # hours from which on they are told as days
HOW = (
    "Bow read after the rest less what straightening left, of necks that did nothing but rest between, {air}like "
    "models held against like and days against days. Intervals take lots, not necks, as independent."
)


def more_back(one: AfterRest) -> bool:
    """Do lots of a supplier that lie apart come back farther than the others', towards how they came?"""
    return one.apart is not None and one.apart.off.mean * one.incoming > 0


def foremost(found: Sequence[AfterRest]) -> AfterRest | None:
    """The supplier whose latest lots come back by most; None without one."""
    some = [one for one in found if more_back(one) and one.lasts]
    return max(some, key=lambda one: abs(one.apart.off.mean) if one.apart else 0.0, default=None)


def headline(one: AfterRest, shop: Shop, sent: SentBack | None) -> str:
    """`Sierra's necks come back by 0.050 mm (0.049 to 0.052) after straightening, five lots since SI-04: 10 in a
    hundred more of them are sent back to it.`
    """
    if one.apart is None:
        return ""
    more = f": {_hundred(sent)} more of them are sent back to it" if sent is not None and sent.shares.low > 0 else ""
    return f"{one.supplier}'s necks {_moved(one, shop, 'come', 'go')} after straightening, {_which(one)}{more}."


def told(one: AfterRest, shop: Shop, who: str = "its", others: str = "those of the shop's other suppliers") -> str:
    """`25 h after straightening its necks have come back by 0.050 mm (0.049 to 0.052), five lots since SI-04; ...`."""
    when = f"{_hours(one)} after straightening {who} necks"
    few = " Few necks." if one.necks < FEW else ""
    if one.apart is None:
        stand = f"stand {_size(one.change, shop, one.characteristic, sign=True)} from where it left them"
        lots = f"{numbers.in_words(one.lots)} {'lot' if one.lots == 1 else 'lots'}"
        return f"{when} {stand} ({lots}, {numbers.count(one.necks)} necks); no lots are shown to lie apart.{few}"
    usual = _size(one.apart.others, shop, one.characteristic, sign=True)
    lots = f"{numbers.in_words(one.apart.others_lots)} {'lot' if one.apart.others_lots == 1 else 'lots'}"
    before = f" Its lots before: {_size(one.before, shop, one.characteristic, sign=True)}." if one.before else ""
    return (
        f"{when} have {_moved(one, shop, 'come', 'gone')}, {_which(one)}, {numbers.count(one.necks_apart)} necks; "
        f"{others} {usual} ({lots} of the same days).{before}{few}"
    )


def sent_back(sent: SentBack, shop: Shop, *, money: bool = True) -> str:
    """What that went with in send-backs, of these lots and of the others' at the same mix, and the work of the more."""
    of = sent.shares
    counts = (
        f"Of the judged instruments of these lots {numbers.of(of.found, of.n)} came back to straightening, of the "
        f"others of the same models and weeks {numbers.of(of.other_found, of.other_n)}"
    )
    few = " Few instruments." if min(of.n, of.other_n) < FEW else ""
    if of.low <= 0 <= of.high:
        return f"{counts}: no difference is shown ({numbers.span(100 * of.low, 100 * of.high, 1)} in a hundred).{few}"
    if of.high < 0:
        return f"{counts}: {numbers.plain(-100 * of.more, 1)} in a hundred fewer.{few}"
    work = ""
    if sent.minutes:
        each = of.n * sent.minutes / 60
        hours, low, high = (each * share for share in (of.more, of.low, of.high))
        rate = shop.shop.labour_per_hour
        worth = f", {numbers.money(hours * rate, shop.shop.currency)} of labour" if rate and money else ""
        work = (
            f", {numbers.plain(hours, 0 if hours >= 10 else 1)} hours of work "
            f"({numbers.span(low, high, 0 if hours >= 10 else 1)}){worth}"
        )
    return (
        f"{counts}: {_hundred(sent)} more ({numbers.span(100 * of.low, 100 * of.high, 0)}), "
        f"some {numbers.count(round(of.n * of.more))} send-backs{work}.{few}"
    )


def asked(one: AfterRest, shop: Shop) -> tuple[str, str]:
    """What is asked of the supplier: why, and what is to be said."""
    why = f"Necks of {_which(one)} {_moved(one, shop, 'come', 'go')} within {_hours(one)} after they were straightened"
    what = (
        f"what was other about them from lot {one.names[0]} on (wood, drying, time between drying and shaping, rods), "
        "and from which lot on they stay straight"
    )
    return f"{why}, as the lots of others do not.", what


def how(followed: bool) -> str:
    """How it was worked out."""
    return HOW.format(air="at the same air, " if followed else "")


def of_week(row: Mapping[str, Any], shop: Shop) -> Sentence:
    """In a week's review: whose necks are sent back oftener, and what they do. row : of `of_week.rested`."""
    lots = _since(int(row["lots"]), int(row["of_lots"]), str(row["first_lot"]))
    stage = shop.stage_name(shop.straightening[0]).lower() if shop.straightening else "straightening"
    size = _size(Size(abs(row["change"]), *_ends(row)), shop, row["characteristic"])
    usual = _size(Size(row["others"], -float("inf"), float("inf")), shop, row["characteristic"], sign=True)
    span = numbers.span(100 * row["low"], 100 * row["high"], 0)
    few = ", few instruments" if min(row["n"], row["other_n"]) < FEW else ""
    return Sentence(
        "came-back",
        "came back",
        f"More of {row['supplier']}'s necks than of others came back to {stage}",
        f": {numbers.of(row['found'], row['n'])} judged of {lots}, of the others of the same models and weeks "
        f"{numbers.of(row['other_found'], row['other_n'])}; {numbers.plain(100 * row['more'], 0)} in a hundred more "
        f"({span}){few}.",
        f"{numbers.count(round(row['hours']))}{numbers.NBSP}h after straightening these lots have come back by {size}; "
        f"the others' {usual}.",
        address("/necks", supplier=row["supplier"]),
        "Necks",
    )


def _ends(row: Mapping[str, Any]) -> tuple[float, float]:
    side = 1 if row["change"] >= 0 else -1
    low, high = sorted((side * row["change_low"], side * row["change_high"]))
    return low, high


def table_rows(found: Sequence[AfterRest], sent: Mapping[str, SentBack], shop: Shop) -> list[dict[str, Any]]:
    """Suppliers as cells of a table, those that come back farthest first."""
    told_of = []
    for one in sorted(found, key=lambda one: -abs(one.apart.off.mean if one.apart else 0.0)):
        shares = sent[one.supplier].shares if one.supplier in sent else None
        key = one.characteristic
        told_of.append(
            {
                "supplier": one.supplier,
                "lots": numbers.count(one.lots),
                "n": f"{numbers.count(one.necks)}{', few' if one.necks < FEW else ''}",
                "change": _size(one.change, shop, key, sign=True, unit=False),
                "apart": _which(one) if one.apart else "",
                "by": _size(one.apart.level, shop, key, sign=True, unit=False) if one.apart else "",
                "others": _size(one.apart.others, shop, key, sign=True, unit=False) if one.apart else "",
                "back": numbers.of(shares.found, shares.n) if shares else "",
            }
        )
    return told_of


def of_lot(row: Mapping[str, Any] | None, shop: Shop) -> str:
    """How far a lot's necks came back, as a cell: `+0.050 (0.047 to 0.053)`. row : of `after_rest.lot_rows`."""
    if row is None:
        return numbers.NONE
    if row["change_low"] is None:
        return _size(Size(row["change"], -float("inf"), float("inf")), shop, row["characteristic"], True, False)
    return _size(Size(row["change"], row["change_low"], row["change_high"]), shop, row["characteristic"], True, False)


def _moved(one: AfterRest, shop: Shop, come: str, go: str) -> str:
    """`come back by 0.050 mm (0.049 to 0.052)`, or `go on by` where they move away from how they came."""
    level = one.apart.level if one.apart else one.change
    side = 1 if level.mean >= 0 else -1
    ends = sorted((side * level.low, side * level.high))
    by = _size(Size(side * level.mean, ends[0], ends[1]), shop, one.characteristic)
    return f"{come} back by {by}" if level.mean * one.incoming > 0 else f"{go} on by {by}"


def _which(one: AfterRest) -> str:
    """`five lots since SI-04`, `all eight lots`, `lot SI-05`, `three lots from SI-03 to SI-05, not since`."""
    if one.lasts or len(one.names) in (1, one.lots):
        return _since(len(one.names), one.lots, one.names[0])
    return f"{numbers.in_words(len(one.names))} lots from {one.names[0]} to {one.names[-1]}, not since"


def _since(many: int, of: int, first: str) -> str:
    """The latest of a supplier's lots, many of so many."""
    if many == 1:
        return f"lot {first}"
    return f"all {numbers.in_words(many)} lots" if many == of else f"{numbers.in_words(many)} lots since {first}"


def _hours(one: AfterRest) -> str:
    if one.hours >= DAYS:
        return f"{numbers.in_words(round(one.hours / 24))} days"
    return f"{numbers.count(round(one.hours))}{numbers.NBSP}h"


def _hundred(sent: SentBack) -> str:
    return f"{numbers.plain(100 * sent.shares.more, 0)} in a hundred"


def _size(size: Size, shop: Shop, key: str, sign: bool = False, unit: bool = True) -> str:
    """`0.050 mm (0.049 to 0.052)`; without an interval where one lot leaves none."""
    shown = shop.length_of(key)
    scale, digits = numbers.in_unit(1.0, "length", shown=shown), numbers.decimals_of("length", shown=shown) + 1
    plain = (numbers.signed if sign else numbers.plain)(size.mean * scale, digits)
    text = numbers.with_unit(plain, shown) if unit else plain
    if abs(size.low) == float("inf"):
        return text
    return f"{text} ({numbers.span(size.low * scale, size.high * scale, digits)})"
