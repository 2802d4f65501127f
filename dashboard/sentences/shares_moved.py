"""Weekly shares of send-backs that left their limits, in words: no reading moved, more or fewer came back."""

from datetime import date, timedelta

from analysis.review import MatterSeen
from analysis.studies.matters.records import Matter
from analysis.studies.people.catchers import Caught
from dashboard import numbers
from dashboard.address import address
from dashboard.sentences import rework, shared
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop

NAMED = 3  # models that are named in a line


def share(seen: MatterSeen, shop: Shop, now: date, chance: str) -> Sentence:
    """Since when how many came back where so many would be expected; chance: how likely it is that anything moved."""
    stage, value, size = (seen.matter.main[name] for name in ("stage", "value", "size"))
    assert isinstance(value, float)
    assert isinstance(size, float)
    more = "More" if size > 0 else "Fewer"
    lead = f"{more} came back to {shared.cause(shop, str(stage))}{on_models(seen.matter)}"
    rest = _when(seen.matter, shop, now, new=seen.new)
    counted, times = _instead(seen.matter)
    if counted:
        lead, rest = f"{lead} {rest}: {counted}", f"; {times}.{_others(seen.matter)}"
    else:  # a week kept before these were counted
        before = f"{numbers.share(value, 100)} of its instruments, {numbers.share(value - size, 100)} before"
        lead, rest = f"{lead} than its last weeks would give: {before}", f", {rest}."
    since = counted_from(seen.matter, shop)
    words = ["New this week." if seen.new else "", by_one(seen.caught, shop, now), chance]
    return Sentence(
        f"moved-{'up' if size > 0 else 'down'}",
        f"{more.lower()} came back",
        lead,
        rest,
        " ".join(word for word in words if word),
        address("/rework", caused_at=stage, model=one_model(seen.matter), **{"from": since, "to": now}),
        "Rework",
        key=seen.matter.key,
    )


def by_one(caught: Caught | None, shop: Shop, now: date) -> str:
    """Where one of several testers sends more back than before and the others do not; nobody is named here."""
    if caught is None:
        return ""
    others = "the other's" if caught.of == 2 else "the others'"
    testers = f"one of {numbers.in_words(caught.of)} at {shop.stage_name(caught.stage).lower()}"
    return (
        f"Of those that {testers} tried since the week of {numbers.day(caught.since, now)} "
        f"{_of(caught.back, caught.tried)} came back, before "
        f"{_of(caught.back_before, caught.tried_before)}; of {others} {_of(caught.others_back, caught.others_tried)}, "
        f"before {_of(caught.others_back_before, caught.others_tried_before)}: look first at how they judge, together."
    )


def brought(seen: MatterSeen, shop: Shop, now: date) -> str:
    """What came back more of the same cause as a move, and how much of it is of what the move touches."""
    if seen.brought is None:
        return ""
    more, counts = seen.brought.matter, seen.brought.touched
    when = numbers.day(counted_from(more, shop), now)
    new = shared.local(shop, more.opened_at).date() > now - timedelta(weeks=1) and not seen.new
    lead = "New this week: more" if new else "More"
    to = f"{shared.cause(shop, str(more.main['stage']))}{on_models(more)}"
    told = f"{lead} came back with it to {to} since the week of {when}"
    told += f": {_instead(more)[0]}"
    if counts.others_tried >= rework.FEW:
        mine, others = _of(counts.back, counts.tried), _of(counts.others_back, counts.others_tried)
        told += f"; of those it touches {mine}, of the others {others}"
    return f"{told}."


def on_models(matter: Matter) -> str:
    """` on Alba`, ` on Alba and Corso`, ` on four models`: where it is not of all models."""
    named = list(matter.models)
    if not named:
        return ""
    return f" on {numbers.listed(named) if len(named) <= NAMED else f'{numbers.in_words(len(named))} models'}"


def one_model(matter: Matter) -> str | None:
    """The one model that it is of; None: of several, or of all."""
    return matter.models[0] if len(matter.models) == 1 else None


def _others(matter: Matter) -> str:
    """Where single models rose: what the others did, ` On the other models 23 of 660 instruments (3.5 %) where some 27
    (4.1 %) would be expected.`
    """
    back, size, expected = (matter.main.get(f"others_{name}") for name in ("back", "instruments", "expected"))
    if not isinstance(back, int) or not isinstance(size, int) or not isinstance(expected, float) or not size:
        return ""
    return f" On {matter.main.get('other') or 'the other models'} {rework.instead(back, size, expected)}."


def _of(back: int, tried: int) -> str:
    return f"{numbers.of(back, tried)} ({numbers.share(back / tried, tried)})"


def counted_from(matter: Matter, shop: Shop) -> date:
    """The first day of the weeks that are counted."""
    return shared.local(shop, matter.began_at or matter.opened_at).date()


def line(matter: Matter, shop: Shop, now: date) -> str:
    """The same on one line of a list, after its name, which says of which models it is."""
    counted, _ = _instead(matter)
    more = "More" if (matter.size or 0.0) >= 0 else "Less"
    when = numbers.day(shared.local(shop, matter.began_at or matter.opened_at), now)
    return f"{more} than its last weeks would give{f': {counted}' if counted else ''}, since the week of {when}."


def had_been(matter: Matter, began: str) -> str:
    """Of what has ended: ` From the week of 27 Jul on 100 of 600 instruments (17 %) where some 26 ... expected.`"""
    counted, _ = _instead(matter)
    return f" From the week of {began} on {counted}." if counted else ""


def _when(matter: Matter, shop: Shop, now: date, *, new: bool) -> str:
    when = shared.local(shop, matter.began_at or matter.opened_at).date()
    since = "since about" if matter.began_at else "in" if new else "since"
    return f"{since} the week of {numbers.day(when, now)}"


def _instead(matter: Matter) -> tuple[str, str]:
    """`31 of 190 instruments (16 %) where some 12 (6 %) would be expected`, and `1.7 to 3.9 times as many`. Both ''
    where it was not counted.
    """
    back, size, expected, low, high = (
        matter.main.get(name) for name in ("came_back", "instruments", "expected", "times_low", "times_high")
    )
    if not isinstance(back, int) or not isinstance(size, int) or not isinstance(expected, float):
        return "", ""
    assert isinstance(low, float)
    assert isinstance(high, float)
    return rework.instead(back, size, expected), rework.times(low, high)
