"""The week in at most seven findings, and its headline: shared by page, paper and command line."""

from dataclasses import replace

from analysis.review import MatterSeen, Review
from dashboard import numbers
from dashboard.sentences import after_rest, leaving, not_passed, silent, unread
from dashboard.sentences.came_back import came_back
from dashboard.sentences.coarse import coarse, is_coming
from dashboard.sentences.ended import back
from dashboard.sentences.going_with import apart, both_ways, candidate_words
from dashboard.sentences.matters import chance, check, line, moved, name, unshown
from dashboard.sentences.on_hold import on_hold
from dashboard.sentences.returned import returned
from dashboard.sentences.shared import UNSAID, Sentence, lot, steady, thin
from dashboard.sentences.wider import wider
from ingest.shopfiles.shop import Shop

MOST = 7  # sentences of a week
MOST_MATTERS = 4


def headline(found: Review, shop: Shop) -> str:
    """The week in one sentence, what was not read before it."""
    missing = unread.first(found.unread, shop)
    return f"{missing} {_headline(found)}" if missing else _headline(found)


def _headline(found: Review) -> str:
    if silent.is_silent(found.silent, found.week):
        return silent.NOTHING
    parts = []
    moved = len(found.matters)
    away = [one for one in found.matters if not one.matter.to_target]
    for some, words in ((away, "moved"), ([one for one in found.matters if one.matter.to_target], "to target")):
        if some:
            parts.append(_things(some, words, alone=len(some) == moved or words == "moved"))
    doubtful = len(found.lots)
    if doubtful:
        parts.append(f"{numbers.in_words(doubtful)} neck {'lot is' if doubtful == 1 else 'lots are'} in doubt")
    if len(found.wider):
        parts.append(f"{numbers.in_words(len(found.wider))} {'spreads' if len(found.wider) == 1 else 'spread'} wider")
    if len(found.not_passed):
        parts.append(not_passed.in_short(found))
    out = leaving.in_short(found)
    if out:
        parts.append(out)
    unsaid = UNSAID & found.gaps.keys()
    if unsaid:
        parts.append("not all of this week could be worked out")
    elif not parts and found.unshown:
        return "Nothing is shown to have moved."
    elif not parts:
        return "Everything that can be judged ran true." if found.steady else "Too few readings to say yet."
    rest = "the rest ran true" if moved or doubtful else "nothing moved"
    text = ", ".join(parts) + (f", and {rest}" if found.steady and not unsaid else "")
    return text[0].upper() + text[1:] + "."


def _things(some: list[MatterSeen], words: str, *, alone: bool) -> str:
    """`three things moved, one of them new`; `two came nearer to target`, which need not be said to be things."""
    n, new = len(some), sum(one.new for one in some)
    things = f"{'new ' if new == n else ''}{'thing' if n == 1 else 'things'} " if alone else "new " if new == n else ""
    told = f"{numbers.in_words(n)} {things}{'moved' if words == 'moved' else 'came nearer to target'}"
    return told + (f", {numbers.in_words(new)} of them new" if 0 < new < n else "")


QUIET = ("steady", "question", "thin")  # findings that ask for nothing


def foremost(found: Review, shop: Shop) -> Sentence | None:
    """The finding to look at first; None where nothing asks for a look. A slight move is told and asks for none; one to
    the target asks for a look where nothing else does.
    """
    if silent.is_silent(found.silent, found.week):
        return None  # what moved before it is not of this week
    back = {one.matter.key for one in found.matters if one.matter.stands_back}
    asks = [one for one in week(found, shop) if one.state not in QUIET and one.key not in back]
    near = {one.matter.key for one in found.matters if one.matter.to_target}
    return next((one for one in asks if one.key not in near), asks[0] if asks else None)


def first(found: Review, shop: Shop) -> str:
    """The largest finding as the page's headline, and whether anybody has taken it; else the week in a sentence."""
    one = foremost(found, shop)
    if one is None:
        return headline(found, shop)
    lead = one.lead.rstrip(".")
    matter = next((each.matter for each in found.matters if each.matter.key == one.key), None)
    if matter is not None and matter.state == "open" and not chance(matter):
        return f"{lead}. Nobody has taken it yet."
    if matter is not None and matter.state == "action" and matter.owner:
        by = f", by {numbers.day(matter.due, found.last_day)}" if matter.due else ""
        return f"{lead}. {matter.owner} has it{by}."
    return f"{lead}."


def next_step(found: Review, shop: Shop) -> str:
    """What to do about the largest finding."""
    one = foremost(found, shop)
    if one is None:
        return silent.LOAD_IT if silent.is_silent(found.silent, found.week) else ""
    seen = next((each for each in found.matters if each.matter.key == one.key), None)
    if seen is None and one.state == "outside":
        return leaving.next_step(found, shop)
    if seen is None:
        return NEXT.get(one.state, "look at what stands behind it.")
    matter = seen.matter
    if matter.state == "done":
        return "see in Book whether its readings moved since it was done, then close it."
    if matter.state != "open":
        return f"{matter.action or 'an action is on its way'}{f' ({matter.owner})' if matter.owner else ''}."
    if chance(matter):
        return "see whether next week's readings say the same, before anybody acts on it."
    if matter.usual_at and not matter.moves_with.named:
        where = shop.stage_name(matter.stages[0]).lower()
        return f"measure ten of them again at {where} with another gauge, and give it to someone."
    if both_ways(matter.moves_with):
        return "measure ten of them both ways, as these sheets have it and as those before, and give it to someone."
    told = check(matter).removeprefix("Look first at ") or apart(matter.tell_apart, shop)
    if told.startswith("Instruments"):
        return f"{told[0].lower()}{told[1:]} Somebody has to take it."
    if told:
        return f"somebody looks at {told.rstrip('.')}."
    named = [candidate_words(each, shop) for each in matter.moves_with.named if not each.of_people]
    where = named[0] if named else "what wears or creeps there" if matter.slow else "its readings"
    return f"look at {where}, and give it to someone."


NEXT = {
    "in-doubt": "bring the lot to its supplier; the packet is written from Necks.",
    "came-back": "see which instruments came back, and confirm the cause.",
    "moved-up": "see on Bench whose readings they are, and look at tools and gauge of that stage.",
    "coarse": "judge no single instrument by this gauge, or get a finer one.",
}


def week(found: Review, shop: Shop) -> list[Sentence]:
    """At most seven sentences: what moved, lots in doubt, what was shipped outside (before all where it is many), what
    came back, coarse gauges, thin streams, and the rest."""
    if silent.is_silent(found.silent, found.week):
        return _of_before(found, shop)
    now = found.last_day
    order = sorted(found.matters, key=lambda one: one.matter.to_target)
    names = [name(one.matter, shop) for one in order]
    first_ones = list(zip(order, names, strict=True))[:MOST_MATTERS]
    many = [moved(one, shop, now, at=names.count(what) > 1) for one, what in first_ones]
    lots = [lot(row, shop) for row in found.lots.head(2).iter_rows(named=True)]
    out = [one for one in (leaving.leaving(found, shop),) if one]
    first, then = (out, []) if leaving.comes_first(found) else ([], out)
    refused, righted = not_passed.not_passed(found, shop)
    first, then = refused + first, righted + then
    grain = coarse(found, shop)
    coming = [grain] if grain and is_coming(found, shop) else []
    rested = [after_rest.of_week(row, shop) for row in found.rested.head(1).iter_rows(named=True)]
    waits = [one for one in (on_hold(found, shop), returned(found)) if one]
    if waits:  # what nobody else tells of: the last of four moves stands in Book
        many = many[: MOST_MATTERS - 1]
    behind = [*waits, *rested, *(one for one in (came_back(found, shop),) if one)]
    said = first + many + wider(found, shop) + coming + lots + then + behind
    quiet = (back(found, shop), None if coming else grain, unshown(found, shop), thin(found, shop), steady(found))
    tail = [one for one in quiet if one]
    room = MOST - len(tail[-1:])
    kept = (said + tail[:-1])[:room] + tail[-1:]
    left = len(order) - sum(one in many for one in kept)
    if left > 0 and kept:
        place = max((k for k, one in enumerate(kept) if one in many), default=0)
        last = kept[place]
        more = f" {numbers.in_words(left, capital=True)} more moved: see Book."
        kept[place] = replace(last, why=last.why + more)
    return kept


def _of_before(found: Review, shop: Shop) -> list[Sentence]:
    """Of a week of which nothing was read: what stands open from before it, as that and in one line."""
    if not found.matters:
        return []
    lead, colon, rest = silent.standing([line(one.matter, shop, found.last_day)[0] for one in found.matters]).partition(
        ":"
    )
    return [Sentence("question", "from before", lead, f"{colon}{rest}", "", "/book", "Book")]
