"""Did the tool's own calls hold: what became of the matters of the past quarter, and its false signals against the
budget.
"""

from dataclasses import dataclass
from datetime import timedelta

import polars as pl
from scipy.stats import poisson

from analysis.studies.drift.entries import entries_for
from analysis.studies.drift.signals import signals
from analysis.studies.matters.matters import matters_told
from ingest.store.snapshot import Snapshot

QUARTER = timedelta(weeks=13)
MOSTLY = 0.975  # of such times, false openings being a Poisson number
ANSWERS = ("cause", "action")  # somebody wrote what it was, or did something about it


@dataclass(frozen=True)
class Calls:
    """Of the matters that opened in the thirteen weeks up to as_of."""

    matters: int
    confirmed: int  # somebody wrote a cause or an action
    false: int  # a person closed it and wrote neither
    known: int  # marked known, and no more
    unanswered: int  # nobody wrote anything
    closed_by_itself: int  # of those nobody answered: the readings came back
    opened: int  # openings of signals, as the budget counts them
    allowed: float | None  # false ones the budget allows on the average in that time; None: classical charts
    by_chance: int | None = None  # and so many at most in thirty-nine of forty such times
    again: int = 0  # of the openings, those of a signal that goes on under its first start


def calls(snapshot: Snapshot) -> Calls:
    """What became of them, from the bench book."""
    since = snapshot.as_of - QUARTER
    judged = snapshot.once(signals)
    if judged is None:
        return Calls(0, 0, 0, 0, 0, 0, 0, snapshot.shop.judging.budget)
    recent = [one for one in snapshot.once(matters_told) if one.opened_at > since]
    tied = snapshot.once(entries_for)
    confirmed = false = known = itself = 0
    for one in recent:  # a few dozen
        kinds = set(tied.filter(pl.col("sequence").is_in(one.lines))["kind"])
        if kinds & set(ANSWERS):
            confirmed += 1
        elif "close" in kinds:
            false += 1
        elif "known" in kinds:
            known += 1
        elif not one.open:
            itself += 1
    opened = len(judged.openings.filter(pl.col("opened_at") > since))
    begun = sum(len(some.filter(pl.col("opened_at") > since)) for some in (judged.found, judged.others))
    weeks = min(QUARTER, snapshot.as_of - judged.streams.readings["taken_at"].min()) / timedelta(weeks=1)  # type: ignore[operator]
    budget = snapshot.shop.judging.budget
    unanswered = len(recent) - confirmed - false - known
    allowed = None if budget is None else budget * weeks
    by_chance = None if allowed is None else int(poisson.ppf(MOSTLY, allowed))
    again = max(opened - begun, 0)
    return Calls(len(recent), confirmed, false, known, unanswered, itself, opened, allowed, by_chance, again)
