"""What had moved and has ended: said once, and no headline any more."""

from datetime import date

from analysis.review import Review
from analysis.studies.matters.records import Matter
from dashboard import numbers
from dashboard.sentences import shared
from dashboard.sentences.matters import by, name
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop


def back(found: Review, shop: Shop) -> Sentence | None:
    """What has ended of late, as a finding."""
    if not found.back:
        return None
    first, *more = (ended(one, shop, found.last_day) for one in found.back)
    return Sentence("steady", "back", first, "".join(f" {one}" for one in more), "", "/book", "Book")


def ended(matter: Matter, shop: Shop, now: date) -> str:
    """`Action on HERON-OM: back since 11 Sep. It had moved up 0.12 mm (0.11 to 0.13), since about 24 Aug.`"""
    began, end = (
        numbers.day(shared.local(shop, when or matter.opened_at), now) for when in (matter.began_at, matter.back_since)
    )
    had = f" It had moved {by(matter, shop)}, since about {began}." if matter.characteristics else ""
    return f"{name(matter, shop)}: back since {end}.{had}"
