"""What goes with the air in the readings of a stream that was shown to follow it: `[judging] air = true` judges on the
rest.

Shown within the stream's own baseline, so that later readings undo nothing that was judged: the slope on relative
humidity at the likeliest of several lags leaves 0 out at 99 %, weeks' means taken off and the choice of the lag paid
for (`methods/lagged_slope.py`). Beyond what the baseline saw of the air nothing is known: damper or drier days count as
its dampest or driest. A tech's own readings go by the slope of the stream of all.
"""

import numpy as np
import polars as pl

from analysis.methods.lagged_slope import lagged_slopes
from analysis.methods.segments import Floats, Ints, lengths, places, segment_ids
from analysis.studies.drift.parents import parents
from analysis.studies.story.damp import humidity
from ingest.store.snapshot import Snapshot

SURE = 0.99


def with_air(snapshot: Snapshot, rows: pl.DataFrame, readings: pl.DataFrame, starts: Ints, baseline: Ints) -> Floats:
    """The part of each reading that goes with the air (n,), of mean 0 over the stream's baseline; 0 in streams that are
    not shown to follow it and where nobody looked at the hygrometer.

    rows, readings : of Streams. baseline (s,) : readings of each stream's own baseline.
    """
    n, s = len(readings), len(starts)
    ids = segment_ids(starts, n)
    _, damp = humidity(snapshot, readings)
    known = np.isfinite(damp).all(axis=1)
    inside = known & (places(starts, n) < np.repeat(baseline, lengths(starts, n)))
    full = (rows["tech"] == "").to_numpy() & (baseline >= snapshot.shop.judging.baseline_readings)
    at = np.flatnonzero(inside & full[ids])
    part = np.zeros(n)
    if len(at) == 0:
        return part
    stream, row = np.unique(ids[at], return_inverse=True)
    day = readings["day"].cast(pl.Int32).to_numpy().astype(np.int64)
    values = readings["value"].to_numpy().astype(np.float64)
    found = lagged_slopes(values[at], damp[at], row, day[at], least=snapshot.shop.judging.least_readings, level=SURE)
    begins = np.flatnonzero(np.diff(row, prepend=-1))
    chosen = damp[at, found.lag[row]]
    slope, lag, low, high = np.zeros(s), np.zeros(s, dtype=np.int64), np.zeros(s), np.zeros(s)
    slope[stream] = np.where(found.shown, found.slope, 0.0)
    lag[stream] = found.lag
    low[stream], high[stream] = np.minimum.reduceat(chosen, begins), np.maximum.reduceat(chosen, begins)
    parent = parents(rows)[ids]
    air = np.clip(damp[np.arange(n), lag[parent]], low[parent], high[parent])
    count = np.maximum(np.bincount(ids[inside], minlength=s), 1)
    centre = np.bincount(ids[inside], air[inside], minlength=s) / count
    some = known & (slope[parent] != 0)
    part[some] = slope[parent][some] * (air - centre[ids])[some]
    return part
