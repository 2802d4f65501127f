"""What came back after it was packed, as a finding of a week: told where it is much, or takes more than send-backs."""

from __future__ import annotations

from analysis.review import Review
from dashboard import numbers
from dashboard.address import address
from dashboard.sentences.shared import Sentence

SOME, MANY = 3, 10  # in the week: told where they take more work than what was sent back; told whatever it took


def returned(found: Review) -> Sentence | None:
    """The returns of the week; None where they are few."""
    told = found.returned
    sent = float(found.flows["minutes"].sum()) + float(found.flows_before["minutes"].sum())
    if told.count < SOME or (told.count < MANY and told.minutes <= sent):
        return None
    before = (
        f"{numbers.count(told.before)} in the four weeks before" if told.before else "none in the four weeks before"
    )
    took = f", {numbers.hours_of(told.minutes)} of work in all" if told.minutes else ""
    why = ["No figure of rework counts them.", f"Most with {told.fault}." if told.fault else ""]
    lead = f"{numbers.count(told.count)} instruments came back after packing"
    rest = f"; {before}{took}."
    link = address("/rework", weeks=4)
    return Sentence("came-back", "returned", lead, rest, " ".join(filter(None, why)), link, "Rework")
