"""What the readings of rows of streams carry: as many independent ones, by lots, days and neighbours; and how surely
their mean is known.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.independent_number import Carried, carried
from analysis.methods.segments import Floats, Ints, dense, lengths, means
from analysis.studies.drift.streams import Streams
from ingest.terms import tables


def carrying(held: Streams, at: Ints, values: Floats, starts: Ints, stream: Ints) -> Carried:
    """Tested and measured per characteristic and stage over the rows of all techs.

    at (n,) : readings of the streams, row after row, with their values; starts, stream (g,) : where each row begins and
    whose it is.
    """
    heads = held.rows
    pool = heads.select(pl.struct("characteristic", "stage").rank("dense").cast(pl.Int64) - 1).to_series().to_numpy()
    everyone = (heads["tech"] == "").to_numpy()
    return carried(
        values,
        starts,
        pool=pool[stream],
        lot=_lots(held, at),
        day=held.readings.at(at, "day")["day"].cast(pl.Int32).to_numpy(),
        asked=everyone[stream],
    )


def _lots(held: Streams, at: Ints) -> np.ndarray:
    """A number for the lot of each of some readings, -1 where none is named; int32 (n,)."""
    told = held.readings.at(at, "supplier", "lot")
    lot = tables.rank(told["lot"])
    code = dense(tables.rank(told["supplier"]) * (int(lot.max(initial=0)) + 1) + lot).code.astype(np.int32)
    code[(told["lot"] == "").to_numpy()] = -1
    return code


@dataclass(frozen=True)
class Mean:
    """Of each row (g,), in the unit of its readings."""

    n: Ints
    mean: Floats
    variance: Floats  # of the readings
    of_mean: Floats  # variance of the mean: the square of its standard error
    freedom: Floats  # degrees of freedom behind it, at least 1
    carry: Carried


def mean_of(held: Streams, at: Ints, starts: Ints, stream: Ints) -> Mean:
    """The mean of each row, as surely as independent readings tell it; at, starts, stream : as for `carrying`."""
    values, size = held.values[at], lengths(starts, len(at))
    mean = means(values, starts)
    variance = np.add.reduceat((values - np.repeat(mean, size)) ** 2, starts) / (size - 1)
    carry = carrying(held, at, values, starts, stream)
    of_mean = variance * carry.mean_variance / carry.short
    return Mean(size, mean, variance, of_mean, np.maximum(1 / carry.mean_variance - 1, 1.0), carry)
