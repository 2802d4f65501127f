"""Readings as set that lie so far from all others of their series, and alone (`methods/far_readings`), that they are
slips of the pen or of another instrument: nobody's spread and nobody's mean, until somebody corrects them. They are
left out and counted.
"""

import numpy as np
import polars as pl

from analysis.methods.far_readings import lonely
from analysis.methods.segments import Ints, segment_ids
from analysis.studies.story.conformity import as_set, halves
from ingest.store.snapshot import Snapshot

SERIES = ["characteristic", "position", "setup"]
LEAST = 20  # others of its series from which on a reading is left out


def near_and_far(snapshot: Snapshot) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows of `as_set` without those left out, in its order; and those left out."""
    readings = snapshot.once(as_set)
    far = np.zeros(readings.height, dtype=bool)
    place = readings.select(pl.arg_sort_by(*SERIES, "taken_at", "serial", maintain_order=True)).to_series().to_numpy()
    if len(place):
        rows = readings.select(*SERIES, "gauge", "value", "target")[place]
        key = rows.select(pl.struct(SERIES).rle_id()).to_series().to_numpy()
        starts: Ints = np.flatnonzero(np.diff(key, prepend=-1) != 0).astype(np.int64)
        below, above = halves(snapshot.shop, rows)
        off = (rows["value"] - rows["target"].fill_null(0.0)).to_numpy().astype(np.float64)
        found = lonely(off, starts, step=np.maximum.reduceat(below + above, starts))
        ids = segment_ids(starts, len(off))
        others = np.bincount(ids) - np.bincount(ids, found)
        far[place[found & (others[ids] >= LEAST)]] = True
    mask = pl.Series(far)
    return readings.filter(~mask), readings.filter(mask)


def near(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `as_set` without those left out."""
    return snapshot.once(near_and_far)[0]


def far(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `as_set` that are left out."""
    return snapshot.once(near_and_far)[1]
