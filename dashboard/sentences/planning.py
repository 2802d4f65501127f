"""How many to measure, in words."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.studies.necks.planning import EACH, TellApart
from analysis.studies.room.planning import ASKED, GOOD, POOR, GaugePlan, PpkPlan, ShiftPlan
from dashboard import numbers
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop


def ppk(plans: Sequence[PpkPlan]) -> str:
    """What it takes to show a Ppk above 1.33."""
    first = plans[0]
    return (
        f"To show a Ppk above {numbers.plain(ASKED)}, that is to have its 95 % bound there: where it truly is "
        f"{numbers.plain(first.ppk)}, {numbers.count(first.nine_in_ten)} instruments do so in nine cases of ten. "
        "Readings must be independent and steady; where lots and days differ, only the independent ones count."
    )


def shift(plans: Sequence[ShiftPlan], shop: Shop, characteristic: str) -> str:
    """What it takes to see a shift of this stream's mean."""
    told = [f"{sentences.amount(shop, characteristic, one.shift, mean=True)} in {one.readings}" for one in plans]
    return (
        f"To see whether the mean has moved by {', by '.join(told[:-1])} and by {told[-1]} readings (seen in nine of "
        "ten, a false alarm in one of twenty)."
    )


def gauges(plans: Sequence[GaugePlan]) -> str:
    """What a gauge study can say."""
    last = plans[-1]
    return (
        f"A study of {last.parts} parts, {numbers.in_words(last.people)} people and {numbers.in_words(last.trials)} "
        f"trials passes a gauge that takes {numbers.share(GOOD, 100)} of the spread in "
        f"{numbers.share(last.good, 100)} of cases, and one that takes {numbers.share(POOR, 100)} in "
        f"{numbers.share(last.poor, 100)}. More people help most: much of it lies between hands."
    )


def apart(found: TellApart, shop: Shop, name: str) -> str:
    """What it takes to tell two suppliers apart."""
    row = found.rows[0]
    few, many = row.plans[0], row.plans[-1]
    return (
        f"Necks of one lot spread by {sentences.amount(shop, name, found.within)}, lots of one supplier by "
        f"{sentences.amount(shop, name, found.between)}. To tell two suppliers apart by "
        f"{sentences.amount(shop, name, row.difference)} in nine of ten takes {numbers.count(few.lots)} lots of each "
        f"at {numbers.in_words(EACH[0])} necks, or {numbers.count(many.lots)} at {EACH[-1]}: more lots tell more than "
        "more necks of one."
    )
