"""Codes that may be two people: one code in two kinds of sheet that are written at other hours, day after day, more
hours of the day than anybody works.
"""

import re
from dataclasses import dataclass
from datetime import timedelta
from itertools import combinations

import polars as pl

from analysis.studies.story.calendar import of_late
from analysis.studies.story.of_visits import SEVERAL
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

WEEKS = timedelta(weeks=26)  # looked at, up to the last visit
HOUR = 0.03  # of a kind's visits: an hour in which it is written
TOGETHER, BOTH = 13, 2  # hours in which two kinds are written, at least; and of them in both, at most
VISITS, DAYS, OFTEN = 10, 5, 0.5  # of a code in each kind; days with both within a day; of the days of the rarer kind
_NUMBERS = re.compile(r"\d[\d\-_.]*\d|\d")


@dataclass(frozen=True)
class OneCode:
    """A code that stands in two kinds of sheet."""

    tech: str
    kinds: tuple[str, str]  # names of files, * for numbers; the one with fewer visits of the code second
    visits: tuple[int, int]
    days: int  # on which it stands in both, within a day of each other
    hours: int  # of the day in which the two kinds are written


def kind_of(name: str) -> str:
    """The kind of a file by its name: 'night_2026-08-24.csv' is 'night_*.csv'."""
    return _NUMBERS.sub("*", name)


def one_code(snapshot: Snapshot) -> list[OneCode]:
    """The codes to ask about, those of most visits first; none that a [[log]] explains under words.tech."""
    logs = snapshot.table("logs", "log_id", "name").unique("log_id")
    kinds = {log: kind_of(name) for log, name in logs.iter_rows()}
    if len(set(kinds.values())) < 2:
        return []
    told = snapshot.once(story).visits.select("log_id", "tech", "day", "taken_at", "time_known")
    clock = pl.col("taken_at").dt.convert_time_zone(snapshot.shop.shop.timezone).dt.hour()
    rows = tables.plain(told.filter(of_late(told["day"], WEEKS) & pl.col("time_known").fill_null(True))).with_columns(
        kind=pl.col("log_id").replace_strict(kinds, default=""), hour=clock
    )
    said = {word.casefold() for log in snapshot.shop.logs for word in log.words.get("tech", {})}
    found = []
    for first, second in _other_hours(rows):
        mine = rows.filter(pl.col("kind").is_in([first, second]) & (pl.col("tech") != ""))
        hours = _written(mine, first) | _written(mine, second)
        for tech in mine["tech"].unique().sort():
            own = mine.filter(pl.col("tech") == tech)
            if not re.search(SEVERAL, tech) and tech.casefold() not in said:
                found += _both(tech, own, (first, second), len(hours))
    return sorted(found, key=lambda one: (-sum(one.visits), one.tech))


def _other_hours(rows: pl.DataFrame) -> list[tuple[str, str]]:
    """Pairs of kinds that are written at other hours, together more than anybody works."""
    hours = {kind: _written(rows, kind) for kind in rows["kind"].unique().sort() if kind}
    return [
        (first, second)
        for first, second in combinations(hours, 2)
        if len(hours[first] | hours[second]) >= TOGETHER and len(hours[first] & hours[second]) <= BOTH
    ]


def _written(rows: pl.DataFrame, kind: str) -> set[int]:
    counts = rows.filter(pl.col("kind") == kind)["hour"].value_counts()
    return set(counts.filter(pl.col("count") >= HOUR * pl.col("count").sum())["hour"].to_list())


def _both(tech: str, own: pl.DataFrame, kinds: tuple[str, str], hours: int) -> list[OneCode]:
    n = {kind: own.filter(pl.col("kind") == kind).height for kind in kinds}
    more, fewer = sorted(kinds, key=lambda kind: -n[kind])
    if n[fewer] < VISITS:
        return []
    days = [own.filter(pl.col("kind") == kind).select("day").unique() for kind in (more, fewer)]
    near = pl.concat([days[0].with_columns(pl.col("day").dt.offset_by(by)) for by in ("-1d", "0d", "1d")]).unique()
    shared = days[1].join(near, on="day", how="semi").height
    if shared < DAYS or shared < OFTEN * min(each.height for each in days):
        return []
    return [OneCode(tech, (more, fewer), (n[more], n[fewer]), shared, hours)]
