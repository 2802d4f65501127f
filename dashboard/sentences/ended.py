"""What had moved and has ended: said once, and no headline any more."""

from collections.abc import Sequence
from datetime import date

from analysis.review import Review
from analysis.studies.matters.records import Matter
from dashboard import numbers
from dashboard.sentences import shared, shares_moved
from dashboard.sentences.going_with import candidate_words
from dashboard.sentences.matters import by, whose
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop


def back(found: Review, shop: Shop) -> Sentence | None:
    """What has ended of late, as a finding."""
    if not found.back:
        return None
    told: dict[str, list[Matter]] = {}
    for one in found.back:
        told.setdefault(whose(one, shop), []).append(one)
    first, *more = (
        text
        for several in told.values()
        for text in _several(several, shop, found.last_day, at=len({tuple(one.stages) for one in several}) > 1)
    )
    return Sentence("steady", "back", first, "".join(f" {one}" for one in more), "", "/book", "Book")


def _several(several: Sequence[Matter], shop: Shop, now: date, *, at: bool) -> list[str]:
    """What has one name, the name said once where the stage is the same, and what reads the same once."""
    each = list(dict.fromkeys(ended(one, shop, now, at=at) for one in several))
    name = "" if at else f"{whose(several[0], shop)}: "
    rest = (one.removeprefix(name) for one in each[1:])
    return [*each[:1], *(f"{one[:1].upper()}{one[1:]}" for one in rest)]


def ended(matter: Matter, shop: Shop, now: date, *, at: bool = False) -> str:
    """`Action on HERON-OM: back since 11 Sep. It had moved up 0.12 mm (0.11 to 0.13), since about 24 Aug.`; with what
    was named for it, `back since 11 Sep, with neck lot NH104`.

    at : say at which stage, since another has the same name.
    """
    began = numbers.day(shared.local(shop, matter.began_at or matter.opened_at), now)
    had = f" It had moved {by(matter, shop)}, since about {began}." if matter.characteristics else ""
    had = had or shares_moved.had_been(matter, began)
    stages = numbers.listed([shop.stage_name(stage).lower() for stage in matter.stages]) if at else ""
    where = f" at {stages}" if stages else ""
    return f"{whose(matter, shop)}{where}: {since(matter, shop, now)}{_with(matter, shop)}.{had}"


def _with(matter: Matter, shop: Shop) -> str:
    """`, with damper air (+17 %RH)`: what it moved together with; nobody is named."""
    named = [candidate_words(one, shop) for one in matter.moves_with.named if not one.of_people]
    return f", with {' or '.join(dict.fromkeys(named))}" if named else ""


def since(matter: Matter, shop: Shop, now: date) -> str:
    """`back since 11 Sep`."""
    return f"back since {numbers.day(shared.local(shop, matter.back_since or matter.opened_at), now)}"


def on_drift(several: Sequence[Matter], shop: Shop, now: date) -> str:
    """What has ended while a chart of it is open still, under the headline of Drift; '' for nothing."""
    if not several:
        return ""
    more = f" {numbers.in_words(len(several) - 1, capital=True)} more came back too." if len(several) > 1 else ""
    return f"{ended(several[0], shop, now)} A chart of it is open still.{more}"
