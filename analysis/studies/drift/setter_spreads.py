"""How far apart the readings of each setter lie, beside all readings of the streams they stand in.

Who has too few readings for limits of their own is held against those of all techs. Of somebody whose readings lie
twice as far apart these would tell ten false signals for one, so that the sigma is theirs there: told by all streams of
the same characteristic and stage whose baselines were complete when that of the stream was, which nothing that comes
later moves.
"""

import numpy as np
import polars as pl

from analysis.methods.own_spreads import own_spreads
from analysis.methods.segments import Floats, Ints, Rows, places_in, spans
from analysis.studies.drift.parents import parents
from analysis.studies.drift.setters import setter_codes
from analysis.studies.drift.streams import Streams
from ingest.terms import tables


def wider_than_all(held: Streams, wanted: Ints, *, baseline_readings: int) -> Floats:
    """Of some techs' streams, what the sigma of all techs there is to be multiplied by, 1 or more (k,); 1 where the
    baseline of all techs is not complete.
    """
    rows, own = held.rows, held.own
    whole = (rows["tech"] == "").to_numpy() & (own.n >= baseline_readings) & (own.sigma > 0)
    every = np.flatnonzero(whole)
    factor = np.ones(len(wanted))
    code = setter_codes(held)
    if len(every) == 0 or code.max(initial=-1) < 0:
        return factor
    unit = tables.plain(rows.select("characteristic", "stage"))[every]
    group = unit.select(pl.struct(pl.all()).rank("dense").cast(pl.Int64)).to_series().to_numpy()
    complete = held.readings["taken_at"].gather(held.starts[every] + own.n[every] - 1).cast(pl.Int64).to_numpy()
    order = np.lexsort((complete, group))
    every, group = every[order], group[order]
    setters, sums = _sums(held, every, code)
    first = np.searchsorted(group, group)  # of its characteristic and stage
    so_far = [np.cumsum(one, axis=0) for one in sums]
    wide = own_spreads(*(one - one[first] + each[first] for one, each in zip(so_far, sums, strict=True))).wide
    place = np.full(len(rows), -1)
    place[every] = np.arange(len(every))
    at, who = place[parents(rows)[wanted]], places_in(setters, np.maximum(code[held.starts[wanted]], 0))
    who = np.where(code[held.starts[wanted]] >= 0, who, -1)
    known = (at >= 0) & (who >= 0)
    factor[known] = np.sqrt(np.maximum(wide[at[known], who[known]], 1.0))
    return factor


def _sums(held: Streams, every: Ints, code: Rows) -> tuple[Ints, tuple[Floats, Floats, Floats]]:
    """The setters whom baselines know, and of each stream and setter readings within its baseline, and sums of their
    squares and fourth powers about the setter's mean there, in the stream's sigma (streams, setters).
    """
    n = held.own.n[every]
    at, stream = spans(held.starts[every], held.starts[every] + n), np.repeat(np.arange(len(every)), n)
    told = code[at] >= 0
    at, stream = at[told], stream[told]
    setters, who = np.unique(code[at], return_inverse=True)
    kinds = len(setters)
    cell, cells = stream * kinds + who, len(every) * kinds
    z = (held.values[at] - held.own.centre[every][stream]) / held.own.sigma[every][stream]
    count = np.bincount(cell, minlength=cells).astype(np.float64)
    off = z - (np.bincount(cell, z, minlength=cells) / np.maximum(count, 1))[cell]
    square = off**2 * (count / np.maximum(count - 1, 1))[cell]
    count[count < 2] = 0.0
    each = count, *(np.bincount(cell, by, minlength=cells).astype(np.float64) for by in (square, square**2))
    shape = (len(every), kinds)
    return setters.astype(np.int64), (each[0].reshape(shape), each[1].reshape(shape), each[2].reshape(shape))
