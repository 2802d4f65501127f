"""Matters in words: what one cause moved, by how much, since when, what it moves together with, what would tell two
apart, what to look at first, and how sure it is that anything moved. Outside Bench nobody is named.
"""

from collections.abc import Sequence
from datetime import date, datetime

from analysis.review import MatterSeen, Review
from analysis.studies.drift.streams import KEY
from analysis.studies.matters import records
from analysis.studies.matters.records import Matter, Planned
from dashboard import numbers
from dashboard.address import address
from dashboard.charts import sparkline
from dashboard.sentences import moving_on, shared, shares_moved
from dashboard.sentences.going_with import apart, both_ways, together
from dashboard.sentences.shared import Sentence
from dashboard.sentences.since import since
from ingest.shopfiles.shop import Shop

NAMED_MODELS, NAMED_POSITIONS = 3, 2
LONG_NAMES = 60  # characters of several models together, from which on their number is told
NEARER = "nearer"  # its first words say to what
TO_TARGET = "Somebody's practice, or a change that took."  # where nothing else is named
SLOWLY = "A slow drift, not one step: as of what wears or creeps."
BARELY = 2.6  # half-widths of its interval (5 standard errors): a smaller size was found because chance made it large
CHANCES = ((0.5, "half of such signals or more are"), (records.MUCH, "a third to a half of such signals are"))


def moved(seen: MatterSeen, shop: Shop, now: date, *, at: bool = False) -> Sentence:
    """What moved, by how much, since when, what it moves together with and what to do.

    at : say at which stage, since another matter of the week has the same name.
    """
    matter = seen.matter
    main = matter.main
    key = matter.characteristics[0] if matter.characteristics else str(main["characteristic"])
    if not key:
        return shares_moved.share(seen, shop, now, chance(matter))
    size = matter.size
    way = "up" if (size or 0.0) >= 0 else "down"
    what = _what(matter, key, shop)
    where = models(matter, shop)
    if at and matter.stages:
        where += f" at {numbers.listed([shop.stage_name(stage).lower() for stage in matter.stages])}"
    began = matter.began_at or matter.opened_at
    day = numbers.day(shared.local(shop, began), now)
    share = (
        f", {numbers.share(matter.share_of_tolerance, 100)} of its tolerance"
        if matter.share_of_tolerance is not None
        else ""
    )
    lead = f"{what} on {where} {moved_word(matter)} {way} {moving_on.by_now(matter)}{_size(matter, key, shop)}"
    if matter.to_target:
        lead += " to its target" if not matter.only_some else " to its target for some who set it"
    elif matter.only_some:
        lead += " for some who set it, not for all"
    else:
        lead += of_one(matter, shop)
    words = [
        _new(matter) if seen.new else "",
        to_target(matter),
        SLOWLY if matter.slow else "",
        between(matter, shop, now),
        _planned(matter.planned, shop, key, now) if matter.planned else together(matter.moves_with, shop),
        over_all(matter, shop),
        before_it(matter, shop),
        shares_moved.brought(seen, shop, now),
        "" if matter.planned else both_ways(matter.moves_with),
        "" if matter.planned else apart(matter.tell_apart, shop),
        check(matter),
        off_base(matter),
        chance(matter),
    ]
    values = [value for value in seen.line if value is not None]
    light = max(0, (seen.light_from or 0) - (len(seen.line) - len(values)))
    spark = sparkline.stream_spark(values, light_from=None if matter.to_target else light) if values else None
    page = "Bench" if matter.only_some else "Drift"
    link = address(f"/{page.lower()}", **{name: main[name] for name in KEY})
    picture = f"Running average of {what} on {where}, {way} since about {day}"
    why = " ".join(word for word in words if word)
    return Sentence(
        "take" if matter.to_target else f"moved-{way}",
        NEARER if matter.to_target else f"drifts {way}" if matter.slow else f"moved {way}",
        lead,
        f"{share}, {moving_on.since(matter, shop, now)}.",
        why,
        link,
        page,
        spark,
        picture,
        matter.key,
    )


def _new(matter: Matter) -> str:
    """Of what has just come out of chance, that its size is told by the days on which it looked large."""
    low, high, size = matter.size_low, matter.size_high, matter.size
    if size is None or low is None or high is None or matter.planned is not None or matter.few:
        return "New this week."
    return (
        "New this week: first sizes are often too large." if abs(size) < BARELY * (high - low) / 2 else "New this week."
    )


def moved_word(matter: Matter) -> str:
    """`moved`; of what goes on moving little by little `drifted slowly`."""
    return "drifted slowly" if matter.slow else "moved"


def to_target(matter: Matter) -> str:
    """What a move to the target may be, where neither a planned change nor anything else is named for it."""
    named = matter.planned is not None or matter.moves_with.named
    return TO_TARGET if matter.to_target and not named else ""


def by(matter: Matter, shop: Shop) -> str:
    """By how much a matter moved, of all its readings: `up 0.18 mm (0.15 to 0.21), 30 % of its tolerance`; of what
    creeps by now, and how it moves on.
    """
    key = matter.characteristics[0]
    way = "up" if (matter.size or 0.0) >= 0 else "down"
    share = matter.share_of_tolerance
    told = f", {numbers.share(share, 100)} of its tolerance" if share is not None else ""
    parts = f"{way} {moving_on.by_now(matter)}{_size(matter, key, shop)}{told}", moving_on.pace(matter, shop)
    return ("slowly " if matter.slow else "") + ", ".join(part for part in parts if part)


def whole(matter: Matter, shop: Shop, now: date) -> str:
    """How a matter is told where one of its series is looked at: all its readings taken together."""
    if not matter.characteristics or matter.size is None:
        return ""
    places = " and ".join(shop.stage_name(stage).lower() for stage in matter.stages[:2])
    at = f" at {places}" if len(matter.stages) in (1, 2) else f" at {numbers.in_words(len(matter.stages))} stages"
    told = (
        f"All readings of the matter together, on {models(matter, shop)}{at}: {by(matter, shop)}, "
        f"{since(matter, shop, now)}."
    )
    return " ".join(part for part in (told, SLOWLY if matter.slow else "", over_all(matter, shop)) if part)


def before_it(matter: Matter, shop: Shop) -> str:
    """Where the same instruments lay as usual before, which says where to look: in between, or at how they are read."""
    if not matter.usual_at or matter.planned is not None:
        return ""
    here, before = (shop.stage_name(stage).lower() for stage in (matter.stages[0], matter.usual_at))
    return f"The same instruments lay as usual at {before}: it came after that, or lies in how {here} reads them."


def why(matter: Matter, shop: Shop) -> str:
    """What a matter moves together with, and where its instruments lay as usual before."""
    return f"{together(matter.moves_with, shop)} {before_it(matter, shop)}".strip()


def whose(matter: Matter, shop: Shop) -> str:
    """Its name, and at how many of those who set it."""
    return f"{name(matter, shop)}{of_one(matter, shop)}"


def of_one(matter: Matter, shop: Shop) -> str:
    """` at one of four who set it`, where a size is theirs and not that of all readings; else ''."""
    named = matter.moves_with.named
    if matter.over_all is None or not named or not all(one.of_people for one in named) or matter.levels < 2:
        return ""
    return f" at one of {numbers.in_words(matter.levels)} who {_did(matter, shop)}"


def _did(matter: Matter, shop: Shop) -> str:
    first = matter.moves_with.named[0]
    return "set it" if first.factor == records.SET_BY else f"worked at {shop.stage_name(first.stage).lower()}"


def over_all(matter: Matter, shop: Shop) -> str:
    """`At one of four who set it 0.14 mm; over all of them 0.04 mm.`: the size is that of the readings that what is
    named has, while a series and its chart hold those of all; '' where the two are one.
    """
    if matter.over_all is None or not matter.characteristics or not matter.moves_with.named:
        return ""
    key = matter.characteristics[0]
    mine, every = (shared.amount(shop, key, abs(value)) for value in (matter.size or 0.0, matter.over_all))
    if mine == every:
        return ""
    if not numbers.is_some(every):
        every = f"less than {numbers.least(shared.quantity(shop, key), shown=shop.length_of(key))}"
    if not all(one.of_people for one in matter.moves_with.named) or matter.levels < 2:
        return f"With it {mine}; over all readings {every}."
    return f"At one of {numbers.in_words(matter.levels)} who {_did(matter, shop)} {mine}; over all of them {every}."


def unshown(found: Review, shop: Shop) -> Sentence | None:
    """Charts that left their limits where all readings since then do not show a move, as a finding."""
    if not found.unshown:
        return None
    lead, comma, rest = left_limits([name(seen.matter, shop) for seen in found.unshown]).partition(",")
    return Sentence("question", "watched", lead, comma + rest, "", "/book", "Book")


def left_limits(names: Sequence[str]) -> str:
    """`One chart has left its limits, and all readings since then do not show a move: Action treble on HERON-OM.`"""
    n = len(names)
    shown = [names[0], *(one[:1].lower() + one[1:] for one in names[1:NAMED_MODELS])]
    more = f" and {numbers.in_words(n - len(shown))} more" if n > len(shown) else ""
    left = "chart has left its limits" if n == 1 else "charts have left their limits"
    told = f"{numbers.in_words(n, capital=True)} {left}, and all readings since then do not show a move"
    return f"{told}: {'; '.join(shown)}{more}."


def name(matter: Matter, shop: Shop) -> str:
    """`Action treble on HERON-OM`."""
    key = matter.characteristics[0] if matter.characteristics else ""
    if not key:
        stage = shared.cause(shop, str(matter.main["stage"]))
        return f"Work that came back to {stage}{shares_moved.on_models(matter)}"
    return f"{_what(matter, key, shop)} on {models(matter, shop)}"


def _what(matter: Matter, key: str, shop: Shop) -> str:
    what = read_at(matter, _where(shop, key, [position for position in matter.positions if position]), shop)
    others = [read_at(matter, shared.characteristic(shop, one), shop) for one in matter.characteristics[1:]]
    return " and ".join([what, *(other[:1].lower() + other[1:] for other in others)])


def read_at(matter: Matter, words: str, shop: Shop) -> str:
    """What is named as it comes in by where it was read, where that was not at receiving: `Neck bow at rest`."""
    if not words.endswith(shared.INCOMING) or "receiving" in map(shop.roles.get, matter.stages):
        return words
    rested = [one for one in matter.stages if shop.roles.get(one) == "rest"]
    at = next(iter([*rested, *matter.stages]), "")
    return f"{words.removesuffix(shared.INCOMING)} at {shop.stage_name(at).lower()}" if at else words


def _where(shop: Shop, key: str, positions: list[str]) -> str:
    """`Action treble`, `Gap over fret 1 string 2 and string 3`; without them where all moved, or more than a few."""
    whole, item = shared.characteristic(shop, key), shop.by_characteristic.get(key)
    if not 0 < len(positions) < max(len(item.positions) if item else 0, 2) or len(positions) > NAMED_POSITIONS:
        return whole
    first, *more = (shared.characteristic(shop, key, one) for one in positions)
    return numbers.listed([first, *(one.removeprefix(whole).strip() for one in more)])


def models(matter: Matter, shop: Shop) -> str:
    """`HERON-OM`, `LARK-25 and WREN`, `ten models`; models that share a setup by their own names."""
    named = [one for key in matter.models or [str(matter.main["model"])] for one in shared.models_of(shop, key)]
    if len(named) > NAMED_MODELS or (len(named) > 1 and sum(map(len, named)) > LONG_NAMES):
        return f"{numbers.in_words(len(named))} models"
    return numbers.listed(named)


def _size(matter: Matter, key: str, shop: Shop) -> str:
    """`0.18 mm (0.15 to 0.21)`, `about 0.2 mm` of few readings, `0.10 to 0.30 mm` where models differ."""
    size = abs(matter.size or 0.0)
    if matter.sizes is not None:
        low, high = (shared.amount(shop, key, abs(one)) for one in matter.sizes)
        if numbers.is_some(low):
            return f"{low} to {high}, model by model" if low != high else f"{low}, model by model"
    text = shared.amount(shop, key, size)
    if size and not numbers.is_some(text):
        return f"by less than {numbers.least(shared.quantity(shop, key), shown=shop.length_of(key))}"
    if matter.size_low is None or matter.size_high is None:
        return text
    if matter.few:
        return f"about {text}"
    quantity, shown = shared.quantity(shop, key), shop.length_of(key)
    ends = sorted(abs(one) for one in (matter.size_low, matter.size_high))
    if matter.size_low * matter.size_high < 0:
        ends = [matter.size_low, matter.size_high]
    first, last = (numbers.in_unit(one, quantity, shown=shown) for one in ends)
    digits = numbers.decimals_in(text, quantity, shown=shown)  # as the size itself is written
    if matter.size_low * matter.size_high > 0 and not numbers.is_some(numbers.plain(first, digits)):
        digits += 1  # an end written as nothing would say that it may not have moved
        text = numbers.with_unit(
            numbers.plain(numbers.in_unit(size, quantity, shown=shown), digits), numbers.unit_of(quantity, shown=shown)
        )
    if numbers.plain(first, digits) == numbers.plain(last, digits):
        return text
    return f"{text} ({numbers.span(first, last, digits)})"


def between(matter: Matter, shop: Shop, now: date) -> str:
    """`Began between 9 Nov and 12 Nov.`; nothing where that is the one day it is told to have moved since."""
    low, high = matter.began_low, matter.began_high
    if not isinstance(low, datetime) or not isinstance(high, datetime):
        return "When it began cannot be said yet."
    a, b = shared.local(shop, low), shared.local(shop, high)
    if a.date() == b.date():
        told = shared.local(shop, matter.began_at or matter.opened_at).date()
        return "" if told == a.date() else f"Began on {numbers.day(a, now)}."
    return f"Began between {numbers.day(a, now)} and {numbers.day(b, now)}."


def check(matter: Matter) -> str:
    """What this shop looks at first."""
    return f"Look first at {', then '.join(matter.check)}." if matter.check else ""


def off_base(matter: Matter) -> str:
    """That what it is held against had moved itself."""
    if not matter.base_moved or matter.moves_with.named:
        return ""
    return (
        "Its first readings, which it is held against, had moved too: take weeks that ran true as its limits "
        "(truerun limits --from DATE --to DATE)."
    )


def chance(matter: Matter) -> str:
    """What part of such signals is chance, where it is much and the readings leave doubt; else ''."""
    if not matter.may_be_chance:
        return ""
    much = next((words for least, words in CHANCES if 1 - matter.real >= least), "")
    return f"By the false signals that the shop allows, {much} chance: wait before acting on it alone." if much else ""


def _planned(one: Planned, shop: Shop, key: str, now: date) -> str:
    """A change made on purpose: done, and followed or not; by whom not is a matter for Bench."""
    aim = f", to {shared.amount(shop, key, one.target)}" if one.target is not None else ""
    told = f"Planned: {one.what} of {numbers.day(one.on, now)}{aim}."
    if one.followed and not one.not_followed_by:
        return f"{told} Done, and the benches followed."
    if one.followed:
        return f"{told} Done, and followed by most; who has not yet is on Bench."
    return f"{told} The readings have not followed."


def line(matter: Matter, shop: Shop, now: date) -> tuple[str, str]:
    """A matter on one line of a list: what moved, by how much and since when; and what it moves together with."""
    key = matter.characteristics[0] if matter.characteristics else ""
    if not key:
        return name(matter, shop), shares_moved.line(matter, shop, now)
    way = "up" if (matter.size or 0.0) >= 0 else "down"
    slowly = "slowly " if matter.slow else ""
    size = f"{moving_on.by_now(matter)}{_size(matter, key, shop)}"
    lead = f"{name(matter, shop)} {slowly}{way} {size} {moving_on.since(matter, shop, now)}"
    why = _planned(matter.planned, shop, key, now) if matter.planned else together(matter.moves_with, shop)
    return lead, " ".join(part for part in (to_target(matter), SLOWLY if matter.slow else "", why) if part)


def not_yet(matter: Matter, shop: Shop, now: date) -> str:
    """On Bench, of one person: a planned change that their readings do not follow; '' where none was planned."""
    if matter.planned is None or not matter.characteristics:
        return ""
    key, one = matter.characteristics[0], matter.planned
    aim = f" to {shared.amount(shop, key, one.target)}" if one.target is not None else ""
    what = _what(matter, key, shop)
    return f"{one.what} of {numbers.day(one.on, now)}: {what} set here has not followed{aim} yet."
