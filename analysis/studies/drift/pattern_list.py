"""Instruments whose every number may pass and whose pattern is wrong: the newest first, with what drives each."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from analysis.studies.drift.signals import signals
from analysis.studies.drift.watching import TOGETHER
from ingest.store.snapshot import Snapshot

DRIVERS = 3


@dataclass(frozen=True)
class OddPattern:
    serial: str
    model: str
    stage: str
    taken_at: datetime
    t2: float
    drivers: pl.DataFrame  # characteristic, position, value, usual and how far each goes, the largest first


def pattern_list(snapshot: Snapshot, *, weeks: int = 13) -> list[OddPattern]:
    """Openings of the chart of all characteristics together in the last weeks, newest first."""
    judged = snapshot.once(signals)
    if judged is None or judged.single is None:
        return []
    since = snapshot.as_of - timedelta(weeks=weeks)
    rows = judged.others.filter((pl.col("chart") == TOGETHER) & (pl.col("opened_at") >= since)).sort(
        "opened_at", descending=True
    )
    charts = {(one.model, one.stage): one for one in judged.single.patterns}
    found = []
    for row in rows.iter_rows(named=True):  # a loop over signals, not over readings
        chart = charts.get((row["model"], row["stage"]))
        places = (
            []
            if chart is None
            else chart.points.with_row_index("place").filter(pl.col("serial") == row["serial"])["place"].to_list()
        )
        if chart is None or not places:
            continue
        odd = chart.drivers(places[-1]).filter(pl.col("odd_alone") | pl.col("odd_given_others")).head(DRIVERS)
        found.append(
            OddPattern(row["serial"], row["model"], row["stage"], row["opened_at"], float(chart.t2[places[-1]]), odd)
        )
    return found
