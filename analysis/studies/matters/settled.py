"""What a person closed in one deed: signals that were told as one matter then, and stay one."""

from datetime import timedelta

import polars as pl

from analysis.studies.drift.entries import tied
from analysis.studies.drift.streams import STREAM
from analysis.studies.matters.units import every_signal
from ingest.store.snapshot import Snapshot

AT_ONCE = timedelta(seconds=10)  # between two lines of one deed: one is written a signal


def settled(snapshot: Snapshot) -> list[frozenset[int]]:
    """Numbers of the signals of each deed, the latest deed that closed a signal; without what is open, as it is where
    somebody opened it again.
    """
    lines = tied(snapshot, snapshot.lines("close")).filter(~pl.col("gone"))
    if lines.is_empty():
        return []
    places: dict[tuple[object, ...], list[int]] = {}
    for one in snapshot.once(every_signal):
        if one.row["closed_at"] is not None:
            key = (*(one.row[name] for name in STREAM), one.row["chart"], one.row["opened_at"])
            places.setdefault(key, []).append(one.number)
    deeds: list[set[int]] = []
    before = None
    for row in lines.sort("sequence").iter_rows(named=True):
        same = before is not None and row["at"] - before["at"] <= AT_ONCE
        if before is None or not same or (row["who"], row["text"]) != (before["who"], before["text"]):
            deeds.append(set())
        before = row
        mine = places.get((*(row[name] for name in STREAM), row["chart"], row["now_opened_at"]), [])
        for earlier in deeds[:-1]:
            earlier.difference_update(mine)
        deeds[-1].update(mine)
    return [frozenset(deed) for deed in deeds if deed]
