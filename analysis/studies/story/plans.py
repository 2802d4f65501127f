"""Clocks and planned minutes against each other: which clocks are not believed, and which plans clocks contradict."""

from datetime import timedelta

import numpy as np
import polars as pl

from analysis.studies.story.calendar import of_late
from analysis.studies.story.clocked import STAMPS, clock_of, usual_of
from analysis.studies.story.story import Story
from ingest.shopfiles.shop import Shop

WEEKS = timedelta(weeks=26)  # looked at, up to the last visit
MANY = 100  # clocked visits of a stage and family from which on they are held against its plan
FAR_OFF = 2.0  # times the planned minutes, or as far below: the plan is told


def not_believed(told: Story) -> list[tuple[int, int, int]]:
    """How many visits with two stamps count as planned, since the clock ran backwards or too long; of how many; in how
    many logs. Nothing where every clock is believed.
    """
    both = pl.col("started_at").is_not_null() & pl.col("finished_at").is_not_null()
    held = told.visits.select("started_at", "finished_at", "time_known", "minutes_from", "role", "log_id").filter(
        both & pl.col("time_known").fill_null(True) & (pl.col("role") != "rest") & (pl.col("minutes_from") != "typed")
    )
    mine = held.filter(pl.col("minutes_from") == "planned")
    return [] if mine.is_empty() else [(mine.height, held.height, mine["log_id"].n_unique())]


def contradicted(told: Story, shop: Shop) -> list[tuple[str, int, int, int]]:
    """Stages whose planned minutes hundreds of clocks contradict, along the bench: stage, visits with a clock, the
    minutes that half of them take at most, those planned; of families the one with most visits. Of the last weeks.
    """
    late = np.flatnonzero(of_late(told.visits["day"], WEEKS).to_numpy())
    visits = told.visits.at(late, *STAMPS, "minutes_from", "role").filter(pl.col("role") != "rest")
    rows = usual_of(visits, clock_of(visits, shop), visits["minutes_from"] == "typed")
    rows = rows.filter(pl.col("visits") >= MANY).sort("visits", "stage", "family", descending=[True, False, False])
    found: dict[str, tuple[str, int, int, int]] = {}
    for stage, family, n, median in rows.select("stage", "family", "visits", "median").iter_rows():
        planned = shop.by_stage[stage].planned_minutes(family)
        if planned and max(median / planned, planned / median) >= FAR_OFF:
            found.setdefault(stage, (stage, n, max(round(median), 1), max(round(planned), 1)))
    return sorted(found.values(), key=lambda row: shop.bench_order[row[0]])
