"""How what creeps moves on, in words: `by now`, and how much further each week, or since when no further."""

from datetime import date

from analysis.studies.matters.records import Matter
from dashboard import numbers
from dashboard.sentences import shared
from dashboard.sentences.since import since as since_it_began
from ingest.shopfiles.shop import Shop

DIGITS = 2  # that a week's part is written with, at least
FINEST = 4  # decimals


def by_now(matter: Matter) -> str:
    """`by now ` before the size of what moves on, or did; else ''."""
    return "by now " if matter.creeping is not None else ""


def pace(matter: Matter, shop: Shop, now: date | None = None) -> str:
    """`0.012 mm a week more`, `0.02 mm a week less`, `no further since 6 Nov`; '' of what moved in one step, and of
    what may have come to rest or not.
    """
    one = matter.creeping
    if one is None or not matter.characteristics:
        return ""
    if one.rests_on is not None:
        return f"no further since {numbers.day(one.rests_on, now)}"
    if one.a_week_low * one.a_week_high <= 0:
        return ""
    more = "more" if one.a_week * (matter.size or 0.0) >= 0 else "less"
    return f"{_finely(abs(one.a_week), matter.characteristics[0], shop)} a week {more}"


def since(matter: Matter, shop: Shop, now: date) -> str:
    """`since about 27 May`; of what creeps `0.012 mm a week more since about 27 May`, of what came to rest `since about
    27 May and no further since 6 Nov`.
    """
    told, how = since_it_began(matter, shop, now), pace(matter, shop, now)
    if not how or matter.creeping is None:
        return told
    return f"{how} {told}" if matter.creeping.goes_on else f"{told} and {how}"


def _finely(value: float, key: str, shop: Shop) -> str:
    """An amount with so many decimals as show two digits of it, and at least those of its quantity."""
    kind, shown = shared.quantity(shop, key), shop.length_of(key)
    read = numbers.in_unit(value, kind, shown=shown)
    least = numbers.decimals_of(kind, shown=shown)
    enough = next((d for d in range(least, FINEST) if round(read, d) >= 10.0 ** (DIGITS - 1 - d)), FINEST)
    return numbers.with_unit(numbers.plain(read, enough), numbers.unit_of(kind, shown=shown))
