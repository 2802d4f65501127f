"""What a matter moves together with, and what would tell two such things apart. Outside Bench nobody is named."""

from analysis.studies.matters import records
from analysis.studies.matters.records import Candidate, MovesWith, TellApart
from dashboard import numbers
from ingest.shopfiles.shop import Shop

PEOPLE_DIFFER = "differs between people at this bench"  # outside Bench nobody is named
NO_BENCH = ", not with a bench"
LEAST_AIR = 0.5  # % RH or degrees: a smaller change is not told as a number


def together(found: MovesWith, shop: Shop, *, people: bool = False) -> str:
    """What a shift moves together with; never called its cause. Outside Bench nobody is named."""
    if not found.named:
        if not found.looked_at:
            return "Too few readings since then to see what it moves together with."
        if len(found.candidates) == 1:
            return "The one thing looked at does not stand out."
        looked = f"among the {numbers.in_words(len(found.candidates))} things looked at"
        if found.fits is None:
            return f"Nothing stands out {looked}."
        words = candidate_words(found.fits, shop, people=people)
        fits = "that people differ at this bench" if words == PEOPLE_DIFFER else words
        return f"Nothing stands out for sure {looked}; {fits} would fit."
    names = list(dict.fromkeys(candidate_words(one, shop, people=people) for one in found.named))
    if len(names) == 1:
        if names[0] == PEOPLE_DIFFER:
            return "It differs between people at this bench."
        air = all(one.factor in (records.HUMIDITY, records.TEMPERATURE) for one in found.named)
        return f"Moves together with {names[0]}{NO_BENCH if air else ''}."
    if PEOPLE_DIFFER in names:
        others = " or ".join(name for name in names if name != PEOPLE_DIFFER)
        return f"It {PEOPLE_DIFFER}, or moves together with {others}: these cannot be told apart."
    return f"Moves together with {names[0]}; {' and '.join(names[1:])} cannot be told apart."


def candidate_words(one: Candidate, shop: Shop, *, people: bool = False) -> str:
    """`neck lot MP-2291`, `damper air (+6 %RH, 48 h before)`, `the change of 3 Nov: new saddle blanks`."""
    if one.of_people:
        if not people:
            return PEOPLE_DIFFER
        if one.factor == records.SET_BY:
            return f"who set it ({one.level})"
        return f"who worked at {shop.stage_name(one.stage)} ({one.level})"
    if one.on is not None:
        return f"the change of {numbers.day(one.on)}: {one.level}"
    if one.factor in (records.HUMIDITY, records.TEMPERATURE):
        return _air(one)
    if one.factor == records.KIND:
        since = "and not with others of the same days" if one.beside else "from their first on"
        return f"{'readings' if one.level.startswith('typed in ') else 'sheets'} {one.level}, {since}"
    words = {
        records.LOT: "neck lot",
        records.WEEKDAY: "",
        records.STRING_SET: "strings",
        records.SHEET: "the rows of sheet",
        records.SET_WITH: "what was set with gauge",
    }
    return f"{words.get(one.factor, one.factor)} {one.level}".strip()


def _air(one: Candidate) -> str:
    change = one.change or 0.0
    damp = one.factor == records.HUMIDITY
    if abs(change) < LEAST_AIR:
        return "humidity" if damp else "temperature"
    unit = "%RH" if damp else "°C"
    before = f", {one.lag_hours}{numbers.NBSP}h before" if one.lag_hours else ""
    sign = numbers.MINUS if change < 0 else "+"
    word = ("damper", "drier") if damp else ("warmer", "colder")
    return f"{word[change < 0]} air ({sign}{abs(change):.0f}{numbers.NBSP}{unit}{before})"


def both_ways(found: MovesWith) -> str:
    """What to do where it goes with a kind of sheet; '' where it does not."""
    kinds = [one for one in found.named if one.factor == records.KIND]
    if not kinds:
        return ""
    if kinds[0].beside:
        return "Measure some instruments both ways: who writes these may have a gauge, a tool or a way of their own."
    return "Measure some instruments both ways: with these came perhaps another gauge, step or way of writing."


def apart(pairs: list[TellApart], shop: Shop) -> str:
    """What would tell two candidates apart: which instruments to measure, or whose work to look at."""
    for pair in pairs:
        this, other = (candidate_words(one, shop) for one in (pair.this, pair.other))
        if this == other:
            continue
        mine, theirs = _one(pair.this, shop), _one(pair.other, shop)
        many = pair.only_this + pair.only_other
        seen = f"only {many} since then" if many else "there is none since then"
        whole, lot = (pair.other, pair.this) if pair.this.factor == records.LOT else (pair.this, pair.other)
        outside = pair.only_this if lot is pair.this else pair.only_other  # of another supplier, under the same name
        if lot.factor == records.LOT and whole.factor == records.SUPPLIER and not outside:
            return f"Instruments with {_one(whole, shop)} and not {_one(lot, shop)} would tell: {seen}."
        return f"Instruments with {mine} and not {theirs}, or the other way round, would tell: {seen}."
    return ""


def _one(one: Candidate, shop: Shop) -> str:
    return "this person's work" if one.of_people else candidate_words(one, shop)
