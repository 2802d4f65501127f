"""Week by week: finished, judged, yields, loops, signals, what was set aside."""

from datetime import date

import polars as pl

from analysis.methods.problems import NotWorkedOut
from analysis.studies.drift import states
from analysis.studies.drift.signals import signals
from analysis.studies.rework import rework
from ingest.store.snapshot import Snapshot


def week_rows(snapshot: Snapshot, since: date | None = None) -> pl.DataFrame:
    """`weeks` of the figures, no week before `since`; signals_opened null where no stream has readings enough to be
    judged.
    """
    try:
        judged = snapshot.once(signals)
    except NotWorkedOut:  # every other figure of the week stands
        return rework.weeks(snapshot, None, since=since).with_columns(signals_opened=pl.lit(None, dtype=pl.Int64()))
    if judged is None or (snapshot.once(states.stream_rows)["state"] == states.THIN).all():
        return rework.weeks(snapshot, None, since=since).with_columns(signals_opened=pl.lit(None, dtype=pl.Int64()))
    opened = pl.concat([judged.found.select("opened_at"), judged.others.select("opened_at")])
    return rework.weeks(snapshot, opened, since=since)
