"""Did what comes back to a stage rise because one of those who catch it sends more back than before?

Of the instruments that each tester first tried at the stage that catches most of it (`people/who_tried`): the share
that came back to the stage, before a week and since, that week in which the tester parts most from before. Told is one
tester whose share rose beyond chance while that of the others did not, and lies apart from theirs since then.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.segments import Flags, Floats
from analysis.studies.people.techs import exposure
from analysis.studies.people.who_tried import who_tried
from ingest.store.snapshot import Snapshot

LEAST = 30  # instruments of the tester, and of the others, before and since
RISK = 0.001  # of one tester in one week: some tens of weeks and testers are looked at
ALIKE = 0.05
SURE, SAME = (float(stats.chi2.isf(chance, 1)) for chance in (RISK, ALIKE))


@dataclass(frozen=True)
class Caught:
    """What one of several testers caught of a stage since a week, and the others."""

    stage: str  # that catches
    of: int  # testers
    since: date  # first day of the week
    back: int  # of theirs since
    tried: int
    back_before: int
    tried_before: int
    others_back: int
    others_tried: int
    others_back_before: int
    others_tried_before: int


def caught_by_one(snapshot: Snapshot, stage: str, *, until: date | None = None) -> Caught | None:
    """Of the send-backs to a stage, up to a week (its first day); None where testers do not part so, or nobody says who
    tried it.
    """
    tried = snapshot.once(who_tried).filter(pl.col("stage") == stage, pl.col("caught_at") != "")
    rows = snapshot.once(exposure).join(tried, on=["serial", "stage"], how="semi")
    rows = rows if until is None else rows.filter(pl.col("week") <= until)
    cells = rows.group_by("inspector", "week").agg(pl.len().alias("n"), pl.col("came_back").sum().alias("k"))
    testers, weeks = sorted(cells["inspector"].unique()), sorted(cells["week"].unique())
    if len(testers) < 2:
        return None
    n, k = np.zeros((2, len(testers), len(weeks)))
    for who, week, size, back in cells.select("inspector", "week", "n", "k").iter_rows():  # testers times weeks
        place = testers.index(who), weeks.index(week)
        n[place], k[place] = size, back
    best, found = 0.0, None
    for tester in range(len(testers)):
        mine: Flags = np.arange(len(testers)) == tester
        for week in range(1, len(weeks)):
            table = _table(n, k, mine, week)
            told = _told(table)
            if told > best:
                best, found = told, (table, week)
    if found is None:
        return None
    table, week = found
    numbers = [int(one) for one in table.ravel()]
    return Caught(tried["caught_at"][0], len(testers), weeks[week], *numbers)


def _table(n: Floats, k: Floats, mine: Flags, week: int) -> Floats:
    """Came back and tried: the tester's since and before, the others' since and before; shape (4, 2)."""
    parts = [(who, span) for who in (mine, np.logical_not(mine)) for span in (slice(week, None), slice(0, week))]
    return np.array([[part[who, span].sum() for part in (k, n)] for who, span in parts])


def _told(table: Floats) -> float:
    """How far the tester's share rose, as a likelihood ratio, where that and all else holds; else 0."""
    since, before, others, others_before = table
    if table[:, 1].min() < LEAST or since[0] * before[1] <= before[0] * since[1]:
        return 0.0
    rose, apart, moved = _apart(since, before), _apart(since, others), _apart(others, others_before)
    if since[0] * others[1] <= others[0] * since[1]:
        return 0.0
    return rose if rose > SURE and apart > SURE and moved < SAME else 0.0


def _apart(one: Floats, other: Floats) -> float:
    """Twice the log likelihood ratio of two shares against one, of (came back, tried) each."""

    def fit(back: float, tried: float) -> float:
        parts = np.array([back, tried - back])
        return float(parts[parts > 0] @ np.log(parts[parts > 0] / tried))

    return 2 * (fit(*one) + fit(*other) - fit(*(one + other)))
