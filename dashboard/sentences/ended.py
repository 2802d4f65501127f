"""What had moved and has ended: said once, and no headline any more."""

from collections.abc import Sequence
from datetime import date

from analysis.review import Review
from analysis.studies.matters.records import Matter
from dashboard import numbers
from dashboard.sentences import shared, shares_moved
from dashboard.sentences.matters import by, whose
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop


def back(found: Review, shop: Shop) -> Sentence | None:
    """What has ended of late, as a finding."""
    if not found.back:
        return None
    names = [whose(one, shop) for one in found.back]
    first, *more = (
        ended(one, shop, found.last_day, at=names.count(what) > 1) for one, what in zip(found.back, names, strict=True)
    )
    return Sentence("steady", "back", first, "".join(f" {one}" for one in more), "", "/book", "Book")


def ended(matter: Matter, shop: Shop, now: date, *, at: bool = False) -> str:
    """`Action on HERON-OM: back since 11 Sep. It had moved up 0.12 mm (0.11 to 0.13), since about 24 Aug.`

    at : say at which stage, since another has the same name.
    """
    began = numbers.day(shared.local(shop, matter.began_at or matter.opened_at), now)
    had = f" It had moved {by(matter, shop)}, since about {began}." if matter.characteristics else ""
    had = had or shares_moved.had_been(matter, began)
    stages = numbers.listed([shop.stage_name(stage).lower() for stage in matter.stages]) if at else ""
    where = f" at {stages}" if stages else ""
    return f"{whose(matter, shop)}{where}: {since(matter, shop, now)}.{had}"


def since(matter: Matter, shop: Shop, now: date) -> str:
    """`back since 11 Sep`."""
    return f"back since {numbers.day(shared.local(shop, matter.back_since or matter.opened_at), now)}"


def on_drift(several: Sequence[Matter], shop: Shop, now: date) -> str:
    """What has ended while a chart of it is open still, under the headline of Drift; '' for nothing."""
    if not several:
        return ""
    more = f" {numbers.in_words(len(several) - 1, capital=True)} more came back too." if len(several) > 1 else ""
    return f"{ended(several[0], shop, now)} A chart of it is open still.{more}"
