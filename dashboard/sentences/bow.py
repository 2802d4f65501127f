"""What goes with bow, what it cost and where the differences sit, in words: for the Necks page, the neck packet and the
command line; pure functions, nothing computed here.
"""

from __future__ import annotations

from analysis.methods.variance_split import Split
from analysis.studies.necks.bow import TENTH, Goes, Limit, LotCost
from dashboard import numbers
from dashboard.sentences.necks import FEW, length
from ingest.shopfiles.shop import Shop

BENT = 0.05  # p of a straight line below which the curve is told
GOES = {
    "minutes": "all paid minutes of the instrument",
    "straightening": "minutes at neck straightening",
    "send_backs": "send-backs of the instrument",
    "rejected": "rejects and seconds",
}


def per_tenth(goes: Goes, shop: Shop, key: str, *, money: bool = True) -> str:
    """`Each tenth of a millimetre more bow goes with 1.9 more minutes (0.6 to 3.1), 1.13 EUR (0.37 to 1.88).`

    key : of the characteristic that bow is.
    """
    low, high, few = goes.slope_low, goes.slope_high, f" {_seen(goes)}"
    if goes.measure in ("minutes", "straightening"):
        rate = shop.shop.labour_per_hour / 60
        code = shop.shop.currency
        worth = numbers.with_unit(numbers.plain(goes.slope * rate, 2), code)
        cash = f", {worth} ({numbers.span(low * rate, high * rate, 2)}) of labour" if rate and money else ""
        minutes = (
            f"{numbers.plain(goes.slope, 1)} more minutes"
            if goes.slope >= 0
            else f"{numbers.plain(-goes.slope, 1)} minutes less"
        )
        said = f"{minutes} ({numbers.span(low, high, 1)}){cash}"
    else:
        what = "send-backs" if goes.measure == "send_backs" else "rejects and seconds"
        many = f"{numbers.plain(100 * abs(goes.slope), 1)} {'more' if goes.slope >= 0 else 'fewer'} {what}"
        said = f"{many} in a hundred necks ({numbers.span(100 * low, 100 * high, 1)})"
    if goes.bends < BENT and goes.levels:
        return f"{_bent(goes, shop, key)}{few}"
    sure = "" if low > 0 or high < 0 else " The interval holds zero: nothing is shown yet."
    return f"Each tenth of a millimetre more bow goes with {said}.{sure}{few}"


def _bent(goes: Goes, shop: Shop, key: str) -> str:
    """What the most bowed necks stand at beyond straight ones, where a straight line would tell less than the curve."""
    counted, unit = _counted(goes.measure)
    told = [
        f"{length(shop, key, level.bow)} goes with {numbers.signed(counted * level.more, 1)} {unit} "
        f"({numbers.span(counted * level.low, counted * level.high, 1)})"
        for level in goes.levels[-2:]
    ]
    return f"What goes with bow bends: beyond straight necks (under {length(shop, key, TENTH)}) {', '.join(told)}."


def _counted(measure: str) -> tuple[float, str]:
    """What one of a measure is told as."""
    if measure in ("minutes", "straightening"):
        return 1.0, "minutes"
    return 100.0, "send-backs in a hundred" if measure == "send_backs" else "rejects and seconds in a hundred"


def lot_cost(cost: LotCost, lot: str, measure: str, shop: Shop, *, money: bool = True) -> str:
    """`With the bow of lot MP-2291 went 43 minutes at neck straightening beyond straight necks (25 to 61)`."""
    words = {
        "minutes": "paid minutes",
        "straightening": "minutes at neck straightening",
        "send_backs": "send-backs",
        "rejected": "rejects and seconds",
    }[measure]
    few = ", few" if cost.necks < FEW else ""
    over = f"over its {numbers.count(cost.necks)} judged necks{few}"
    if cost.low <= 0 <= cost.high:
        span = numbers.span(cost.low, cost.high, 0)
        return f"With the bow of lot {lot} went {span} {words} beyond straight necks, {over}: not told from none yet."
    rate = shop.shop.labour_per_hour / 60
    worth = numbers.with_unit(numbers.plain(cost.total * rate, 0), shop.shop.currency)
    paid = rate and money and measure in ("minutes", "straightening")
    cash = f", {worth} ({numbers.span(cost.low * rate, cost.high * rate, 0)}) of labour" if paid else ""
    return (
        f"With the bow of lot {lot} went {numbers.plain(cost.total, 0)} {words} beyond straight necks "
        f"({numbers.span(cost.low, cost.high, 0)}){cash}, {over}."
    )


def _seen(goes: Goes) -> str:
    return (
        f"{numbers.count(goes.n)} necks of {numbers.count(goes.lots)} lots, compared within a model and within who "
        "straightened them."
    )


def where_it_stops(found: list[Limit], shop: Shop, key: str) -> str:
    """The limit at which the next tenth stops paying."""
    paying = [limit for limit in found if limit.pays]
    if not paying:
        return (
            "No tighter limit is shown to pay: no tenth of a millimetre is shown to cost more than sending the neck "
            "back and receiving another."
        )
    last = min(paying, key=lambda limit: limit.limit)
    return (
        f"Sending back necks with {length(shop, key, last.limit - TENTH)} to {length(shop, key, last.limit)} would "
        "still pay: each takes "
        f"{numbers.plain(last.minutes, 1)} minutes more than a straight one ({numbers.span(last.low, last.high, 1)}; "
        f"{numbers.count(last.necks)} necks{', few' if last.necks < FEW else ''}). Below that the next tenth is not "
        "shown to pay."
    )


def split(found: Split, of_gauge: float | None) -> tuple[list[tuple[str, float]], str]:
    """Rows of the chart of shares, and the sentence under it. The gauge's part, where it is known, sits inside one
    lot.
    """
    group, batch, within = found.shares
    part = min(of_gauge**2, 1.0) * within if of_gauge is not None else None
    rows = [("between suppliers", group)] if found.groups > 1 else []
    rows.append(("between lots of one supplier", batch))
    rows.append(("between necks of one lot", within - (part or 0.0)))
    if part is not None:
        rows.append(("the gauge", part))
    largest = max(rows, key=lambda row: row[1])
    fixed = "Suppliers are taken as these very ones. " if found.fixed and found.groups > 1 else ""
    if any(value < 0 for value in (found.group, found.batch)):
        fixed += "A part that came out below zero stands as none. "
    many = "supplier" if found.groups == 1 else "suppliers"
    seen = (
        f"{numbers.count(found.n)} necks, {numbers.count(found.batches)} lots, {numbers.in_words(found.groups)} {many}."
    )
    few = " Few lots: the shares are rough." if found.batches < 10 else ""
    return rows, f"Most of the differences sit {largest[0]}. {fixed}{seen}{few}"
