"""Week by week: finished, judged, yields, loops, signals, what was set aside."""

import polars as pl

from analysis.studies.drift.signals import signals
from analysis.studies.rework import rework
from ingest.store.snapshot import Snapshot


def week_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`weeks` of the figures."""
    judged = snapshot.once(signals)
    opened = (
        None if judged is None else pl.concat([judged.found.select("opened_at"), judged.others.select("opened_at")])
    )
    return rework.weeks(snapshot, opened)
