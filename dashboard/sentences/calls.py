"""Did the tool's own calls hold, in words."""

from analysis.studies.matters.calls import Calls
from dashboard import numbers

CLEARLY = 2  # times as many as the budget allows, since false ones come in clusters


def calls(found: Calls) -> str:
    """Did the tool's own calls hold: the matters of the past quarter, and signals against what the budget allows."""
    if not found.matters:
        return "No matter opened in the last thirteen weeks."
    many = "matter" if found.matters == 1 else "matters"
    text = (
        f"{numbers.in_words(found.matters, capital=True)} {many} opened in the last thirteen weeks: {_became(found)}."
    )
    if found.allowed is None:
        return text
    return f"{text} {_opened(found, found.allowed)}"


def _opened(found: Calls, allowed: float) -> str:
    """Signals beside the false ones that the budget allows: fewer, as many as chance may make of them, or more. What
    opened again is no signal more in the figures, and an opening of the budget.
    """
    new = found.opened - found.again
    opened = f"{numbers.in_words(new, capital=True)} signal{'' if new == 1 else 's'} opened"
    if found.again:
        opened += f", and {numbers.in_words(found.again)} opened again: {numbers.count(found.opened)} openings"
    false = f"about {numbers.plain(allowed, 0)}"
    if found.by_chance is not None and found.opened > max(found.by_chance, CLEARLY * allowed):
        return f"{opened}; {false} are false by the budget, the others go with what moved."
    most = f", and chance makes up to {found.by_chance} of them" if found.by_chance and found.opened > allowed else ""
    return f"{opened}; the budget allows {false} false ones{most}."


def _became(found: Calls) -> str:
    """`two have a cause or an action in the book, one was closed as false`."""
    parts = [
        (found.confirmed, "has", "have", "a cause or an action in the book"),
        (found.false, "was", "were", "closed as false"),
        (found.known, "is", "are", "marked known"),
        (found.unanswered, "has", "have", "neither cause, action nor mark in the book yet"),
    ]
    told = [
        f"{numbers.in_words(count)} {one if count == 1 else more} {words}" for count, one, more, words in parts if count
    ]
    if found.closed_by_itself:
        back = "is back as it was" if found.closed_by_itself == 1 else "are back as they were"
        told[-1] += f", of which {numbers.in_words(found.closed_by_itself)} {back}"
    return "; ".join(told)
