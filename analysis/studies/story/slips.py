"""Readings so far from all others of their series, and alone (`methods/far_readings`), that they are slips of the pen
or of another instrument, until somebody corrects them.
"""

import numpy as np
import polars as pl

from analysis.methods.far_readings import lonely
from analysis.methods.segments import Flags, Ints, segment_ids
from analysis.studies.story.conformity import halves
from ingest.shopfiles.shop import Shop

SERIES = ["characteristic", "position", "setup"]
LEAST = 20  # others of its series from which on a reading is taken for one


def slips(shop: Shop, readings: pl.DataFrame) -> Flags:
    """Which rows of `conformity.judged_readings` are slips, shape (n,); each against its own target, in time order."""
    far = np.zeros(readings.height, dtype=np.bool_)
    if readings.is_empty():
        return far
    place = readings.select(pl.arg_sort_by(*SERIES, "taken_at", "serial", maintain_order=True)).to_series().to_numpy()
    rows = readings.select(*SERIES, "gauge", "value", "target")[place]
    key = rows.select(pl.struct(SERIES).rle_id()).to_series().to_numpy()
    starts: Ints = np.flatnonzero(np.diff(key, prepend=-1) != 0).astype(np.int64)
    below, above = halves(shop, rows)
    off = (rows["value"] - rows["target"].fill_null(0.0)).to_numpy().astype(np.float64)
    found = lonely(off, starts, step=np.maximum.reduceat(below + above, starts))
    ids = segment_ids(starts, len(off))
    others = np.bincount(ids) - np.bincount(ids, found)
    far[place[found & (others[ids] >= LEAST)]] = True
    return far
