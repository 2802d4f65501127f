"""What came back after it was packed: of the week and of the four before, with the work that it took. No figure of
rework counts it, which is of round 1.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from analysis.studies.story.story import story
from analysis.studies.week.not_passed import main_fault
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

WEEKS = 4  # before the one under review, that it is held against


@dataclass(frozen=True)
class Returned:
    """Returns whose first visit lies in a week, and in the weeks before it."""

    count: int = 0  # of the week
    before: int = 0  # of the four weeks before
    minutes: float = 0.0  # of both together, so far
    fault: str = ""  # that most of both have


def returned(snapshot: Snapshot, *, week: date) -> Returned:
    """The returns of the week under review."""
    told = snapshot.once(story)
    later = told.visits.at((told.visits["round"] > 1).arg_true(), "serial", "round", "week", "visit", "minutes")
    rounds = (
        tables.plain(later)
        .group_by("serial", "round", maintain_order=True)
        .agg(pl.col("week", "visit").first(), pl.col("minutes").sum())
        .filter(pl.col("week").is_between(week - timedelta(weeks=WEEKS), week))
    )
    here = rounds.filter(pl.col("week") == week).height
    fault = main_fault(told.faults, rounds["visit"]) if len(rounds) else ""
    return Returned(here, len(rounds) - here, float(rounds["minutes"].sum()), fault)
