"""What a neck packet asks of its supplier, and by when."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from analysis.studies.necks import lots
from dashboard import numbers
from dashboard.sentences import necks as sentences_necks
from dashboard.sentences import suppliers as sentences_suppliers
from dashboard.sentences import talk as sentences_talk
from ingest.shopfiles.shop import Shop

ANSWER_IN = timedelta(days=14)  # what is asked for by when, unless the talk agrees on another day
ASKED = 3  # lots of which each is asked by itself
NAMED = 12  # older ones that are named in one line
Row = dict[str, Any]


def asked(
    rows: list[Row],
    shop: Shop,
    told_of: dict[str, str],
    day: date,
    *,
    whole: str = "",
    took: dict[str, str] | None = None,
    rested: tuple[str, str] | None = None,
) -> list[str]:
    """What is asked of the supplier, and by when: two weeks from the day the packet tells of.

    told_of : by lot what moved with it in the shop; whole : how all its necks stand beside the others', where they come
    more bowed; took : by lot that stands apart what it took at the bench; rested : where they come back after
    straightening, why and what is to be said.
    """
    doubtful = [row for row in rows if row["verdict"] == lots.REJECT]
    apart = [row for row in rows if row not in doubtful and _is_apart(row, told_of)]
    until = f"by {numbers.day(day + ANSWER_IN)}"
    asks = [
        f"Lot {row['lot']}: {sentences_necks.outside(row)} outside{sentences_suppliers.would_be(row)}"
        f"{sentences_necks.on_limit(row)}, {sentences_necks.in_lot(row)}{_still(row)}{sentences_talk.in_sample(row)}. "
        f"Measure the kept necks together, "
        f"then agree, {until}, what happens to the lot: used, sorted or returned."
        for row in doubtful[:ASKED]
    ]
    if len(doubtful) > ASKED:
        asks.append(f"The same for {_older(doubtful[ASKED:])}.")
    if doubtful:
        asks.append(f"Say, {until}, what changed at your end between the lots that were taken and those that were not.")
    asks += [
        f"Lot {row['lot']}, {sentences_necks.outside(row)} outside{sentences_suppliers.would_be(row)}: "
        f"{_apart(row, shop, told_of, (took or {}).get(row['lot'], ''))}. Say, {until}, what "
        "was other about it at your end (wood, drying, tools, storing, transport), and whether more of it is to come."
        for row in apart[:ASKED]
    ]
    if len(apart) > ASKED:
        asks.append(
            f"The same for {_older(apart[ASKED:])}, which {'stands' if len(apart) == ASKED + 1 else 'stand'} apart."
        )
    if whole:
        asks.append(
            f"{whole} That is all lots alike, not one alone. Say, {until}, what is other about these necks as a rule "
            "(wood, drying, tools, storing, transport), and from which lot on they come straighter."
        )
    if rested:
        asks.append(f"{rested[0]} Say, {until}, {rested[1]}.")
    if not doubtful and not apart and not whole and not rested:
        asks.append("Nothing is asked for these lots; keep what is done now.")
    asks.append(
        "Agree in writing: what is measured and how, in which state, the limit, the sample and the plan, and from "
        "which day."
    )
    return asks


def _older(rows: list[Row]) -> str:
    """Older lots by name, so that the supplier knows which; many as a number and the newest of them."""
    shown = [row["lot"] or "without a number" for row in rows[:NAMED]]
    if len(rows) == 1:
        return f"the older lot {shown[0]}"
    more = f"; {numbers.count(len(rows) - NAMED)} more in the table" if len(rows) > NAMED else ""
    return f"{numbers.in_words(len(rows))} older lots ({numbers.listed(shown)}{more})"


def _is_apart(row: Row, told_of: dict[str, str]) -> bool:
    return bool(row["apart"] or row["more_outside"]) or row["lot"] in told_of


def _apart(row: Row, shop: Shop, told_of: dict[str, str], took: str) -> str:
    """How far a lot stands from the others of its supplier, and what moved with it in the shop."""
    said = []
    if row["off"] is not None and row["others"]:
        said.append(f"its mean is {sentences_necks.from_others(row, shop)}")
    if row["more_outside"]:
        said.append("more than chance puts there among the lots measured")
    if row["lot"] in told_of:
        said.append(f"{told_of[row['lot']]} moved together with it")
    return "; ".join([*said, took] if took else said)


def _still(row: Row) -> str:
    told = sentences_necks.still_outside(row)
    return f", {told}" if told else ""
