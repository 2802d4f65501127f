"""Did the tool's own calls hold, in words."""

from analysis.studies.matters.calls import Calls
from dashboard import numbers


def calls(found: Calls) -> str:
    """Did the tool's own calls hold: the matters of the past quarter, and signals against what the budget allows."""
    if not found.matters:
        return "No matter opened in the last thirteen weeks."
    parts = [(found.confirmed, "got a cause or an action"), (found.false, "somebody closed as false"),
             (found.known, "marked known"), (found.unanswered, "nobody has answered")]  # fmt: skip
    told = ", ".join(f"{numbers.in_words(count)} {words}" for count, words in parts if count)
    many = "matter" if found.matters == 1 else "matters"
    back = (
        f" ({numbers.in_words(found.closed_by_itself)} of them came back of themselves)"
        if found.closed_by_itself
        else ""
    )
    text = f"Of {numbers.in_words(found.matters)} {many} of the last thirteen weeks {told}{back}."
    if found.allowed is None:
        return text
    allowed = numbers.plain(found.allowed, 0)
    opened = f"{numbers.in_words(found.opened, capital=True)} signal{'' if found.opened == 1 else 's'} opened"
    return f"{text} {opened}; up to {allowed} would be false by the budget."
