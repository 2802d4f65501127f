"""Which week a page, a paper or a command was asked for, and as of when it is told: a past week as it stood at its
end.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import polars as pl

from analysis.methods.problems import UnusableData
from analysis.studies.story.calendar import first_day, last_moment
from analysis.studies.story.story import story
from analysis.studies.story.waiting import waiting
from analysis.studies.week.arrived import review_week
from dashboard.desk import desk


@dataclass(frozen=True)
class Asked:
    """A week to review."""

    first: date | None  # its first day; None: the last whole one
    end: datetime | None  # UTC, its last moment where there is work on file after it; None: all that is on file
    latest: date | None  # first day of the week under review by all that is on file


def asked(day: date | None) -> Asked:
    """The week that holds `day`. UnusableData where no work of that week or before it is on file."""
    snapshot, latest = desk.here().snapshot(), desk.ask(review_week)
    if day is None or latest is None:
        return Asked(None, None, latest)
    first = first_day(max(day, date(1, 1, 8)), snapshot.shop)
    weeks: list[date] = desk.ask(story).visits["week"].unique().to_list()
    begin, last = min(weeks), max(weeks)
    if not begin <= first <= last:
        raise UnusableData(
            f"no work of the week of {first} is on file; wanted a day from {begin} to {last + timedelta(days=6)}"
            f"{_waiting()}"
        )
    end = last_moment(first + timedelta(days=6), snapshot.shop)
    return Asked(first, end if end < snapshot.as_of else None, latest)


def _waiting() -> str:
    """Rows that may be of that week, set aside whole."""
    rows = desk.ask(waiting).filter(pl.col("column") == "").height
    return f"; {rows:,} rows on file wait for an answer in Logs" if rows > 1 else ""
