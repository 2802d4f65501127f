"""What the talk with a supplier needs in words: what the agreed plan does, what came of the last talk, what was set
aside and what is asked. Pure functions, nothing computed here.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.studies.necks.necks import PlanWords, SinceAgreed
from analysis.studies.necks.offers import Offer
from dashboard import numbers
from dashboard.sentences.necks import Row, length
from ingest.shopfiles.shop import Shop


def last_talk(found: SinceAgreed | None, shop: Shop, key: str) -> str:
    """What came of the last talk: before, since, and by how much."""
    if found is None:
        return (
            "No day on which limits were agreed lies between the lots on file, so nothing can be held against a before."
        )
    when = f"{numbers.day(found.day)} {found.day.year}"
    counts = (
        f"{numbers.of(*found.before)} necks outside in {numbers.in_words(found.lots_before)} lots before, "
        f"{numbers.of(*found.after)} in {numbers.in_words(found.lots_after)} since"
    )
    change = length(shop, key, found.change, sign=True)
    if found.low is None:
        return f"Since the talk of {when}: {counts}; mean bow of a lot {change}, too few lots for an interval."
    shown = shop.length_of(key)
    scale, digits = numbers.in_unit(1.0, "length", shown=shown), numbers.decimals_of("length", shown=shown) + 1
    span = numbers.span(found.low * scale, (found.high or 0.0) * scale, digits)
    sure = "" if found.low > 0 or (found.high or 0.0) < 0 else " No change is shown."
    return f"Since the talk of {when}: {counts}; mean bow of a lot {change} ({span}).{sure}"


def plan(words: PlanWords, shop: Shop) -> list[str]:
    """What the agreed plan lets through, and what measuring instead of counting would need."""
    at = {chance: numbers.share(share, 100) for chance, share in words.accepted_at.items()}
    what = shop.characteristic_name(words.characteristic).lower()
    told = [
        f"Agreed for {what}: of {words.sample} necks at most {words.accept} outside."
        if words.k is None
        else f"Agreed for {what}: {words.sample} necks measured; the mean at least {numbers.plain(words.k)} spreads "
        "inside the limit.",
        f"This plan lets through a lot with {at[0.5]} outside half of the time. A lot with {at[0.95]} outside passes "
        "nineteen times in twenty, "
        f"one with {at[0.1]} still passes one time in ten.",
    ]
    if words.lot and words.passes:
        often = ", ".join(
            f"with {numbers.count(bad)} outside ("
            f"{numbers.share(bad / words.lot, 100)}) in {numbers.share(chance, 100)}{'' if k else ' of cases'}"
            for k, (bad, chance) in enumerate(words.passes)
        )
        told.append(
            f"That is of lots far larger than the sample. Of {numbers.count(words.lot)} necks, the usual lot, one with "
            f"{numbers.count(words.accept or 0)} outside always passes; {often}."
        )
    if words.by_measurement is not None and words.k is None:
        told.append(
            f"By mean and spread instead of counting, {words.by_measurement.n} necks say as much, if a lot's bow "
            "follows a normal curve "
            "and its spread is its own."
        )
    return told


def offered(offer: Offer) -> str:
    """`of 50 necks at most 2 outside`, or by measurement; the agreed one says so."""
    how = (
        f"of {numbers.count(offer.sample)} necks at most {numbers.count(offer.accept or 0)} outside"
        if offer.k is None
        else f"{numbers.count(offer.sample)} necks measured, k = {numbers.plain(offer.k)}"
    )
    return f"{how} (agreed)" if offer.agreed else how


def in_sample(row: Row) -> str:
    """`; of the first 50 measured, by which the plan judges, 15`; nothing where the sample is all that was measured."""
    if row["sample"] is None or int(row["sample"]) >= int(row["n"]):
        return ""
    return (
        f"; of the first {numbers.count(row['sample'])} measured, by which the plan judges, "
        f"{numbers.count(row['bad_in_sample'])}"
    )


def set_aside(found: Sequence[tuple[str, int]]) -> str:
    """What was not counted, and of which lots. found : lot, how many."""
    many = sum(n for _, n in found)
    if not many:
        return "No reading of these necks was set aside as implausible."
    of = ", ".join(f"{lot or 'no lot named'}{f' ({n})' if n > 1 else ''}" for lot, n in found)
    one = many == 1
    return (
        f"{numbers.count(many)} {'reading' if one else 'readings'} of these necks could not be true as typed "
        f"(implausible) and {'was' if one else 'were'} set aside as {'a question' if one else 'questions'} to the "
        f"shop; not counted here: {of}."
    )


def more_than_came(row: Row) -> str:
    """A question: more necks measured than lots.csv says came."""
    return (
        f"Lot {row['lot']}: {numbers.count(row['n'])} necks are measured, and lots.csv says that "
        f"{numbers.count(row['quantity'])} came. Which is right? Until it is mended the lot is one of unknown size."
    )


def became_of(row: Row) -> str:
    """A question: what became of a lot that the plan does not take."""
    return f"What became of lot {row['lot']}: used, sorted or returned? Its disposition in lots.csv is empty."


def more(row: Row, plans: list[PlanWords]) -> str:
    """How many more necks the plan wants of a lot."""
    fits = [p for p in plans if p.characteristic == row["characteristic"] and p.supplier in ("", row["supplier"])]
    own = [p for p in fits if p.supplier] or fits
    return (
        f"measure {own[-1].sample - int(row['n'])} more" if own and own[-1].sample > int(row["n"]) else "measure more"
    )
