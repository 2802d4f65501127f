"""Readings of the week that may be slips of the pen: so far from all others of their series, and alone, that a point
was lost, a digit doubled or another instrument read. They count like any other until somebody corrects them.
"""

from datetime import date, timedelta

import numpy as np
import polars as pl

from analysis.methods.segments import lengths
from analysis.studies.drift.streams import KEY, lonely_ones, streams
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from ingest.terms.tables import TIME

BEFORE = timedelta(weeks=26)  # so much of a series says what is usual
LEAST = 20  # others of its series from which on one is told
SLIPS: dict[str, pl.DataType] = {
    "serial": pl.String(),
    **{name: pl.String() for name in KEY},
    "taken_at": TIME,
    "value": pl.Float64(),
    "low": pl.Float64(),  # the others lie from here
    "high": pl.Float64(),  # to here
    "others": pl.Int64(),
}


def slips(snapshot: Snapshot, *, week: date) -> pl.DataFrame:
    """SLIPS of the seven days from `week` on, in the order they were taken; each as the series stood at their end."""
    held = snapshot.once(streams)
    if held is None:
        return pl.DataFrame(schema=SLIPS)
    last = week + timedelta(days=6)
    seen = held.of_all_within(last - BEFORE, last)
    stream = held.readings.stream[seen].astype(np.int64)
    starts = np.flatnonzero(np.diff(stream, prepend=-1) != 0)
    if len(starts) == 0:
        return pl.DataFrame(schema=SLIPS)
    values, size = held.values[seen], lengths(starts, len(seen))
    far = lonely_ones(held, seen)
    low, high = (
        edge.reduceat(np.where(far, at, values), starts) for edge, at in ((np.minimum, np.inf), (np.maximum, -np.inf))
    )
    others = size - np.add.reduceat(far.astype(np.int64), starts)
    row = np.repeat(np.arange(len(starts)), size)
    since = (held.readings.at(seen, "day")["day"] >= week).to_numpy()
    at = np.flatnonzero(far & since & (others[row] >= LEAST))
    told = tables.plain(
        held.readings.at(seen[at], "serial", "characteristic", "position", "setup", "stage", "taken_at")
    )
    return tables.shaped(
        told.rename({"setup": "model"}).with_columns(
            value=pl.Series(values[at]),
            low=pl.Series(low[row[at]]),
            high=pl.Series(high[row[at]]),
            others=pl.Series(others[row[at]]),
        ),
        SLIPS,
    ).sort("taken_at", "serial", *KEY)
