"""Instruments that pile up on hold, as a finding of a week: how many, since when, and what they wait for."""

from __future__ import annotations

from analysis.review import Review
from dashboard import numbers
from dashboard.sentences import shared
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop


def on_hold(found: Review, shop: Shop) -> Sentence | None:
    """Of the stage at which most wait; None where few do."""
    if found.on_hold.is_empty():
        return None
    row = found.on_hold.row(0, named=True)
    lead = f"{numbers.count(row['count'])} instruments are on hold at {shop.stage_name(row['stage']).lower()}"
    first = numbers.day(shared.local(shop, row["first_at"]), found.last_day)
    new = f", {numbers.count(row['of_late'])} of them put there this week" if row["of_late"] < row["count"] else ""
    tried = f"; {numbers.count(row['tried'])} came there this week" if row["tried"] else ""
    why = f"Most with {row['fault']}." if row["fault"] else ""
    return Sentence("odd", "on hold", lead, f", the first since {first}{new}{tried}.", why)
