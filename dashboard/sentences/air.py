"""Where the air takes wood, what goes with it, and what no pair shows of the rest, in words."""

from analysis.studies.matters.records import Matter
from analysis.studies.room.wood import Wood
from dashboard import numbers
from dashboard.sentences import matters as of_matters
from dashboard.sentences import shared
from dashboard.sentences.going_with import together
from ingest.shopfiles.shop import Shop

BY_CHANCE, MANY = 0.05, 20  # what 95 % intervals leave out, and series from which on that is said
MOVED = 0.5  # % of moisture; below it wood is not said to be on its way anywhere
JUDGED = "Charts of series whose baseline follows the air judge what it does not explain."
NOT_JUDGED = (
    "With air = true under [judging] in shop.toml, charts of series whose baseline follows the air judge what it does "
    "not explain."
)


def heading(found: Wood) -> str:
    """`The air of the last seven days (35 % RH, 21 °C) takes wood to 6.8 % of moisture, from 9.0 % ...: it dries.`"""
    share = f"{numbers.NBSP}%"
    air = f"{numbers.plain(found.now.rh, 0)}{share} RH, {numbers.plain(found.now.celsius, 0)}{numbers.NBSP}°C"
    said = f"The air of the last seven days on file ({air}) takes wood to {numbers.plain(found.now.moisture, 1)}{share}"
    if found.before is None:
        return f"{said} of moisture; thick wood is there after days to weeks."
    change = found.now.moisture - found.before.moisture
    way = "as before" if abs(change) < MOVED else "it dries" if change < 0 else "it takes up water"
    weeks = f"that of the four weeks before to {numbers.plain(found.before.moisture, 1)}{share}"
    return f"{said} of moisture, {weeks}: {way}. Thick wood follows after days to weeks."


def none(known: int, *, named: bool) -> str:
    """Nothing goes with the air: from day to day, and where no matter names it week by week."""
    if named:
        return (
            f"Of {numbers.count(known)} readings none is seen to follow the humidity from day to day by a tenth of its "
            "spread; what moves as slowly as the air cannot be told from another drift of the same weeks."
        )
    return (
        f"Of {numbers.count(known)} readings none is seen to follow the humidity by a tenth of its spread, from day to "
        "day or from week to week."
    )


def follow(clear: int, known: int, slow: int) -> str:
    """`2 of 27 follow the humidity from day to day. What moves together need not be a cause; ...`"""
    days = " from day to day" if slow else ""
    lead = f"{numbers.of_in_words(clear, known)} {'follow' if clear > 1 else 'follows'} the humidity{days}"
    if not clear:
        lead = f"None of {numbers.in_words(known)} is seen to follow the humidity{days} by a tenth of its spread"
    return f"{lead}. What moves together need not be a cause; no reading is corrected by this."


def slowly(slow: int, known: int, unsure: int) -> str:
    """What goes with the air only as slowly as that drifts itself; unsure: those that stand there since an open matter
    names the humidity, while their own interval holds 0.
    """
    one = slow == 1
    doubt = f" It holds 0 for {numbers.in_words(unsure)}, told since an open matter names the air." if unsure else ""
    return (
        f"{numbers.of_in_words(slow, known)} {'goes' if one else 'go'} with the humidity as slowly as that drifts "
        f"itself, from week to week: {'it' if one else 'they'} cannot be told from another drift of the same weeks. "
        f"The interval counts the slowness.{doubt}"
    )


def matter(found: Matter, shop: Shop) -> str:
    """`Open: Neck relief on WREN, since about 14 Sep. Moves together with drier air (...), not with a bench.`"""
    began = numbers.day(shared.local(shop, found.began_at or found.opened_at))
    return f"Open: {of_matters.name(found, shop)}, since about {began}. {together(found.moves_with, shop)}"


def across(n: int, rows: int, clear: int, shown: int) -> str:
    """What is left out since another bench lies between, of series with few pairs or none."""
    lead = f"In {numbers.in_words(rows)} series with few pairs or none another bench lies between: {numbers.count(n)} "
    lead += f"{'reading is' if n == 1 else 'readings are'} left out above. "
    if not clear:
        return f"{lead}The first final reading is not seen to differ from the last one that passed."
    many = "it" if rows == 1 else "all" if clear == rows else numbers.in_words(clear)
    chance = f" Some {numbers.in_words(round(BY_CHANCE * rows))} of so many would by chance." if rows >= MANY else ""
    largest = f" (the {numbers.in_words(shown)} clearest stand below)" if clear > shown else ""
    return (
        f"{lead}In {many}{largest} the first final reading differs from the last one that passed; how much of it the "
        f"rest did and how much the bench between, no reading tells.{chance}"
    )
