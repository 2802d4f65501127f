"""Findings on the only person of a shop in words: there is nobody to hold them against. Pure functions."""

from __future__ import annotations

from analysis.studies.people.alone import UNKNOWN, Back
from analysis.studies.people.targets import Stand
from dashboard import numbers
from dashboard.sentences import shared as sentences
from dashboard.sentences.drift import small
from dashboard.sentences.targets import hold
from ingest.shopfiles.shop import Shop


def came_back(shop: Shop, back: Back) -> str:
    """What came back in a shop of one: `32 of 480 judged instruments came back: 17 of a cause not known, 15 to nut
    slotting. Nobody else works here, so all of it is theirs to look at.`
    """
    n = back.judged
    if not back.by_cause:
        return f"{numbers.of(0, n)} judged instruments came back."
    told = [
        f"{numbers.count(many)} {'of a cause not known' if cause == UNKNOWN else 'to ' + small(shop.stage_name(cause))}"
        for cause, many in back.by_cause
    ]
    return (
        f"{numbers.of(back.came_back, n)} judged instruments came back: {', '.join(told)}. Nobody else works here, so "
        "all of it is theirs to look at, whatever it is charged to."
    )


def spread(shop: Shop, stand: Stand) -> str:
    """Level and spread of somebody whom nobody can be held against: `Action bass, LARK: 2.51 mm on average, spread
    (standard deviation) 0.11 mm (0.10 to 0.12), band 2.20 to 2.80 mm.` '' of fewer than two readings.
    """
    if stand.mean is None or stand.sd is None or stand.sd_low is None or stand.sd_high is None:
        return ""
    row, key = stand.band, str(stand.band["characteristic"])

    def amount(value: float) -> str:
        return sentences.amount(shop, key, value, mean=True)

    name = f"{sentences.characteristic(shop, key, str(row['position']))}, {row['model']}"
    low, high = amount(stand.sd_low), amount(stand.sd_high)
    return (
        f"{name}: {amount(stand.mean)} on average, spread (standard deviation) {amount(stand.sd)} ({low} to {high}); "
        f"the band is {hold(shop, row)}."
    )
