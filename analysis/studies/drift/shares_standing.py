"""Stages of which more, or less, came back than before up to some week, as Week tells it, for the page Rework."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from analysis.studies.drift.shares import Since, since
from analysis.studies.drift.signals import signals
from analysis.studies.drift.watching import SHARE
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True)
class Standing:
    """A stage of which more, or less, comes back than before, up to some week."""

    stage: str
    week: date  # since when
    since: Since


def standing(snapshot: Snapshot, *, week: date) -> list[Standing]:
    """Signals of weekly shares that were open at the end of a week (its first day) and that all weeks since their
    start still show, counted up to it; the surest first.
    """
    judged = snapshot.once(signals)
    if judged is None or judged.weekly is None:
        return []
    found, told = judged.weekly, []
    days = found.rows["week"]
    of_week = dict(zip(zip(found.rows["stage"], found.taken, strict=True), range(len(days)), strict=True))
    for row in judged.others.filter(pl.col("chart") == SHARE).iter_rows(named=True):
        opened, first = (of_week[row["stage"], row[name] or row["opened_at"]] for name in ("opened_at", "began_at"))
        if days[opened] > week:
            continue
        mine = (found.rows["stage"] == row["stage"]) & (days <= week)
        last = int(np.flatnonzero(mine.to_numpy())[-1])
        if row["closed_at"] is not None and row["closed_at"] <= found.taken[last]:
            continue
        seen = since(found, first, last)
        if seen.sure:
            told.append(Standing(row["stage"], days[first], seen))
    return sorted(told, key=lambda one: -max(one.since.low, 1 / max(one.since.high, 1e-9)))
