"""Stages of which more, or less, came back than before up to some week, as Week tells it, for the page Rework."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from analysis.studies.drift.shares import Since
from analysis.studies.drift.shares_told import together, told
from analysis.studies.drift.signals import signals
from analysis.studies.drift.watching import SHARE
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True)
class Standing:
    """A stage of which more, or less, comes back than before, up to some week."""

    stage: str
    week: date  # since when
    since: Since
    models: tuple[str, ...] = ()  # on which alone; none: on all together


def standing(snapshot: Snapshot, *, week: date) -> list[Standing]:
    """Signals of weekly shares that were open at the end of a week (its first day) and that all weeks since their
    start still show, counted up to it; the surest first. Those of a stage and of its models are told as one.
    """
    judged = snapshot.once(signals)
    if judged is None or judged.weekly is None:
        return []
    found, days = judged.weekly, judged.weekly.rows["week"]
    of_week = dict(zip(zip(found.rows["stage"], found.taken, strict=True), range(len(days)), strict=True))
    until = {
        stage: int(np.flatnonzero(((found.rows["stage"] == stage) & (days <= week)).to_numpy())[-1])
        for stage in found.rows.filter(pl.col("week") <= week)["stage"].unique()
    }
    still = []
    for row in judged.others.filter(pl.col("chart") == SHARE).iter_rows(named=True):
        over = row["closed_at"]
        if days[of_week[row["stage"], row["opened_at"]]] > week:
            continue
        if over is None or over > found.taken[until[row["stage"]]]:
            still.append(row | {"closed_at": None})
    standing = []
    for group in together(still):
        stage = still[group[0]]["stage"]
        seen = told(found, [still[place] for place in group], until[stage])
        if seen.since.sure:
            standing.append(Standing(stage, days[seen.first], seen.since, seen.models))
    return sorted(standing, key=lambda one: -max(one.since.low, 1 / max(one.since.high, 1e-9)))
